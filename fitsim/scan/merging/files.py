"""View files in, one scan out."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

from fitsim.errors import BadScan, BadSettings
from fitsim.scan.declared import pcd_header
from fitsim.scan.merging.merge import merge_notes
from fitsim.scan.merging.placing import moved_by
from fitsim.scan.merging.sheet import one_sheet
from fitsim.scan.merging.start_file import read_start
from fitsim.scan.merging.view import View, view_of
from fitsim.scan.read import read_scan
from fitsim.scan.scan import Provenance, Scan

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fitsim.scan.merging.merge import Merged
    from fitsim.scan.scan import Unit

MOST_VIEWS = 12
"""Each is laid on each: twelve make 66 pairs."""


def read_views(files: Sequence[str], unit: Unit | None = None) -> list[View]:
    """Read and clean partial scans.

    Parameters
    ----------
    files : sequence of str
        Scan files. Where a PCD was seen from stands in it; of other kinds it is not known.
    unit : {"m", "cm", "mm", "inch"}, optional
        Of their numbers; found from the size of each if not given.

    Returns
    -------
    list of View
        In metres.

    Raises
    ------
    BadScan
        If one cannot be read, or has nothing in it but a room.
    BadSettings
        If there are fewer than two, or more than `MOST_VIEWS`.
    """
    if not 1 < len(files) <= MOST_VIEWS:
        fault = f"{len(files)} view{'s' * (len(files) != 1)} cannot be merged"
        raise BadSettings("merge", fault, f"name two to {MOST_VIEWS} files")
    views = []
    for name in files:
        scan = read_scan(name, unit)
        if len(scan.vertices) == 0:
            raise BadScan(name, "it is empty", "leave it out")
        views.append(view_of(scan, _camera(Path(name), scan)))
    return views


def read_poses(start: str | None, files: Sequence[str]) -> list[NDArray[np.float64]] | None:
    """Rough poses of the views, if a file of them is named."""
    return None if start is None else read_start(Path(start), [Path(name).stem for name in files])


def joined_scan(views: Sequence[View], result: Merged) -> Scan:
    """Merged views as one cloud, in metres, in the first view's frame.

    Parameters
    ----------
    views : sequence of View
    result : Merged

    Returns
    -------
    Scan
        One sheet where views overlap.
    """
    points, normals, colours = [], [], []
    for view, T in zip(views, result.T_first_view, strict=True):
        nearest = np.asarray(view.fine.tree.query(view.points)[1])
        points.append(moved_by(T, view.points))
        colours.append(view.colours)
        normals.append(view.fine.normals[nearest] @ T[:3, :3].T)
    sheet = one_sheet(points, normals)
    shown = _colours(sheet, points, colours)
    digest = hashlib.sha256(np.ascontiguousarray(sheet).tobytes()).hexdigest()
    name = " + ".join(view.name for view in views)
    notes = tuple(merge_notes(views, result))
    provenance = Provenance(name, digest, 0, len(sheet), unit="m", notes=notes)
    return Scan(sheet, np.empty((0, 3), np.int32), provenance, shown)


def _colours(
    sheet: NDArray[np.float64],
    points: Sequence[NDArray[np.float64]],
    colours: Sequence[NDArray[np.uint8] | None],
) -> NDArray[np.uint8] | None:
    """Colours of the merged points, of the nearest that was seen; None if a view has none."""
    shown = [one for one in colours if one is not None]
    if len(shown) < len(colours):
        return None
    _, place = cKDTree(np.concatenate(points)).query(sheet, workers=2)
    return np.concatenate(shown)[place]


def _camera(path: Path, scan: Scan) -> NDArray[np.float64] | None:
    """Where a PCD says it was seen from, m: its header's viewpoint."""
    if path.suffix.lower() != ".pcd":
        return None
    header, _ = pcd_header(path.name, path.read_bytes())
    try:
        place = np.array([float(word) for word in header.get("VIEWPOINT", ["0"] * 7)[:3]])
    except ValueError:
        return None
    if place.shape != (3,) or not np.isfinite(place).all():
        return None
    return place * scan.provenance.metres_per_unit
