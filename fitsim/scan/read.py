"""Any scan file into a `Scan` in metres."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from fitsim.errors import BadScan
from fitsim.scan.declared import check_declared
from fitsim.scan.depth.manifest import MANIFEST
from fitsim.scan.formats import Format, file_format
from fitsim.scan.mesh_file import read_mesh_file
from fitsim.scan.point_file import read_pcd, read_point_text
from fitsim.scan.scale import Known, settled
from fitsim.scan.scan import Provenance, Scan, Unit
from fitsim.scan.tracings import read_tracings
from fitsim.scan.weld import welded

if TYPE_CHECKING:
    import os

    from numpy.typing import NDArray

    from fitsim.scan.raw import Raw

MIN_POINTS: Final = 2_000
"""Fewest points of a cloud: about one in 25 x 25 mm of a back, the least that shows its shape."""
MIN_TRIANGLES: Final = 200
"""Fewest triangles of a mesh; what lies between is coarse, and the back says so."""
MAX_BYTES: Final = 1_000_000_000

_LOOSE_END: Final = 0.01


def read_scan(
    path: str | os.PathLike[str],
    unit: Unit | None = None,
    withers_height: float | None = None,
    known: Known | None = None,
) -> Scan:
    """Read a scan, check it, weld it, and bring it to metres.

    Nothing is removed from the surface here; `fitsim.scan.clean.cleaned` does that.

    Parameters
    ----------
    path : path
        PLY, OBJ, STL, GLB, GLTF, OFF, PCD, points as XYZ, CSV or TXT, cross-section tracings
        as CSV (see `fitsim.scan.tracings`), or depth frames: their ``depth.json`` or its folder.
    unit : {"m", "cm", "mm", "inch"}, optional
        Unit of the file; found from the size if not given.
    withers_height : float, optional
        Height of the withers above the ground, m, for files of arbitrary scale: these are
        returned in the file's own numbers with ``provenance.unit`` None, and the body frame
        settles them.
    known : Known, optional
        A known distance, ``(length_in_file, metres)`` or ``(point, point, metres)``.

    Returns
    -------
    Scan
        Vertices in metres (but see `withers_height`), with name, hash, counts as read, unit and
        notes in its provenance.

    Raises
    ------
    BadScan
        If the file is missing, empty, cut off, of another kind than its name says, has too few
        points or coordinates that are not numbers, or its size fits no unit or two.
    BadSettings
        If an option makes no sense.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> import numpy as np
    >>> points = np.random.default_rng(0).uniform(0, [1200, 500, 100], (3000, 3))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder, "back.xyz")
    ...     np.savetxt(path, points, fmt="%.2f")
    ...     scan = read_scan(path)
    >>> scan.provenance.unit, scan.provenance.points
    ('mm', 3000)
    """
    path = _manifest_in(Path(path))
    content = _content(path)
    if path.suffix.lower() == ".json":
        return _from_depth(path, content, unit, withers_height, known)
    format_ = file_format(path.name, content)
    if format_ == "tracings":
        return read_tracings(path.name, content, unit, withers_height, known)
    check_declared(path.name, format_, content)
    raw = _raw(path, format_, content)
    counts = len(raw.triangles), len(raw.vertices)
    _check(path.name, raw)
    if format_ == "obj":
        raw = _checked_end(path.name, raw, content)
    whole = welded(raw)
    _check_count(path.name, whole)
    scan = Scan(
        vertices=whole.vertices,
        triangles=whole.triangles.astype(np.int32),
        colours=_told_apart(whole.colours),
        normals=whole.normals,
        paint=whole.paint,
        provenance=Provenance(
            path.name, hashlib.sha256(content).hexdigest(), *counts, notes=whole.notes
        ),
    )
    standard: Unit | None = "m" if format_ in {"glb", "gltf"} else None
    return settled(scan, unit, withers_height, known, standard)


def _manifest_in(path: Path) -> Path:
    """The manifest of a folder of depth frames; any other path as it is."""
    inside = path / MANIFEST
    return inside if inside.is_file() else path


def _from_depth(
    path: Path,
    content: bytes,
    unit: Unit | None,
    withers_height: float | None,
    known: Known | None,
) -> Scan:
    """Depth frames say their unit themselves; a known distance may correct it."""
    from fitsim.scan.depth.read import read_depth

    raw = read_depth(path, content)
    if unit is None and known is None:
        unit = "m"
    scan = settled(raw, unit, withers_height, known)
    told = scan.provenance.unit_evidence.replace("Told: m.", "Told by the depth frames.", 1)
    return replace(scan, provenance=replace(scan.provenance, unit_evidence=told))


def _content(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise _folder(path)
        if path.stat().st_size > MAX_BYTES:
            raise BadScan(
                path.name, "it is larger than 1 GB", "export it with less than a million triangles"
            )
        return path.read_bytes()
    except FileNotFoundError as error:
        raise BadScan(str(path), "there is no such file", "check the name and folder") from error
    except OSError as error:
        reason = error.strerror or "it cannot be opened"
        raise BadScan(str(path), reason, "check that the file can be read") from error


def _folder(path: Path) -> BadScan:
    """What to do with a folder: of pictures, of partial scans, or of something else."""
    endings = {one.suffix.lower() for one in path.iterdir()}
    if ".png" in endings:
        fault = f"there are pictures in it but no {MANIFEST} that says what they are"
        mend = f"write {MANIFEST} as docs/scan-files.md shows, or give scan files to fitsim merge"
        return BadScan(str(path), fault, mend)
    return BadScan(
        str(path), "it is a folder", "name the scan file in it, or give several to fitsim merge"
    )


def _raw(path: Path, format_: Format, content: bytes) -> Raw:
    if format_ == "pcd":
        return read_pcd(path, content)
    if format_ == "xyz":
        return read_point_text(path.name, content)
    return read_mesh_file(path, format_, content)


def _check(name: str, raw: Raw) -> None:
    again = "export the scan again"
    bad = np.flatnonzero(~np.isfinite(raw.vertices).all(axis=1))
    if len(bad):
        raise BadScan(
            name,
            f"{len(bad):,} of {len(raw.vertices):,} points have coordinates that are not numbers "
            f"(NaN), the first is point {bad[0] + 1:,}",
            f"{again} without them",
        )
    if len(raw.triangles) == 0 and len(raw.vertices) < MIN_POINTS:
        raise _too_few(name, f"{len(raw.vertices):,} points", f"{MIN_POINTS:,} points")
    if len(raw.triangles) and not (
        raw.triangles.min() >= 0 and raw.triangles.max() < len(raw.vertices)
    ):
        raise BadScan(name, "it has triangles on points that are not in the file", again)
    if not 0.0 < float(np.ptp(raw.vertices, axis=0).max()) < 1e9:  # noqa: PLR2004 - no unit makes that an animal
        raise BadScan(name, "all its points lie in one place or out of all measure", again)


def _checked_end(name: str, raw: Raw, content: bytes) -> Raw:
    """Look for signs that an OBJ, which declares no counts, was cut off."""
    if len(raw.triangles) and raw.triangles.max() + 1 < (1.0 - _LOOSE_END) * len(raw.vertices):
        loose = len(raw.vertices) - 1 - int(raw.triangles.max())
        fault = f"the file seems cut off: its last {loose:,} points are in no triangle"
        raise BadScan(name, fault, "export or copy the scan again")
    if content.endswith(b"\n"):
        return raw
    note = "The file ends without a line end: if parts are missing, it was cut off."
    return raw._replace(notes=(*raw.notes, note))


def _check_count(name: str, whole: Raw) -> None:
    if len(whole.triangles) == 0 and len(whole.vertices) < MIN_POINTS:
        raise _too_few(name, f"{len(whole.vertices):,} different points", f"{MIN_POINTS:,} points")
    if 0 < len(whole.triangles) < MIN_TRIANGLES:
        raise _too_few(name, f"{len(whole.triangles):,} triangles", f"{MIN_TRIANGLES:,} triangles")


def _told_apart(colours: NDArray[np.uint8] | None) -> NDArray[np.uint8] | None:
    """Colours, unless all are one: that is a program's default, not the animal's hide."""
    if colours is None or not np.ptp(colours, axis=0).any():
        return None
    return colours


def _too_few(name: str, has: str, needs: str) -> BadScan:
    fault = f"it has only {has}, too few to show a back"
    return BadScan(name, fault, f"scan or export it with {needs} or more")
