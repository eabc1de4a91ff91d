"""What each viewer has on the bench: a back, and the files they brought."""

from __future__ import annotations

import os
import secrets
import shutil
import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from fitsim.app.bench import SPACING, Bench
from fitsim.draw.palette import scale_top
from fitsim.errors import BadScan
from fitsim.files import write_text
from fitsim.study.job import ScanFile, read_back

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitsim.back.quality import QualityCard

MOST_VIEWERS = 12
"""Backs kept at once; the one longest unused goes first."""
LARGEST = 400 * 1024 * 1024
"""Bytes of a scan that is taken."""
_FOLDER = "fitsim-app-"
SUFFIXES = (".ply", ".obj", ".stl", ".glb", ".gltf", ".off", ".pcd", ".xyz", ".csv")


@dataclass(frozen=True)
class Place:
    """A back on the bench, with its one pressure scale.

    Attributes
    ----------
    name : of the scan, as it was brought.
    file : where it lies.
    bench : ready to solve.
    top : Pa, dark end of the scale, the same whatever is set.
    card : of the scan's quality.
    """

    name: str
    file: ScanFile
    bench: Bench
    top: float
    card: QualityCard


def placed(file: ScanFile, name: str = "") -> Place:
    """Read a scan and put its back on the bench.

    Parameters
    ----------
    file : ScanFile
    name : of the scan, where it is not its file's.

    Returns
    -------
    Place

    Raises
    ------
    BadScan, BadSettings
        See `fitsim.study.job.read_back`.
    """
    from fitsim.app.scenario import Scenario
    from fitsim.back.quality import quality_of

    scan, back = read_back(replace(file, spacing=file.spacing or SPACING))
    bench = Bench.on(back)
    m = bench.shown(Scenario(load="rider")).fit.measures
    top = scale_top(m.peak, m.p95) if m else scale_top(40e3, 30e3)
    return Place(name or file.path.name, file, bench, top, quality_of(scan, back))


@dataclass
class Sessions:
    """Every viewer's place, and a folder for what they brought, gone when the app ends.

    What is here is not kept: the page keeps what its viewer brought, and sends it again.

    Attributes
    ----------
    first : the place of whoever brought nothing.
    start : tells one start of the app from another.
    """

    first: Place
    start: str = field(default_factory=lambda: secrets.token_hex(8))
    places: dict[str, Place] = field(default_factory=dict)
    folder: tempfile.TemporaryDirectory[str] = field(
        default_factory=lambda: tempfile.TemporaryDirectory(prefix=f"{_FOLDER}{os.getpid()}-")
    )

    def close(self) -> None:
        """Take away what the viewers brought."""
        self.folder.cleanup()

    def of(self, viewer: str) -> Place:
        """A viewer's place; the scan the app was started with where they brought none."""
        place = self.places.pop(viewer, None)
        if place is None:
            return self.first
        self.places[viewer] = place  # the last used stands last
        return place

    def put(self, viewer: str, place: Place) -> None:
        """Put a place before a viewer."""
        gone = [self.places.pop(viewer, None)]
        while len(self.places) >= MOST_VIEWERS:
            gone.append(self.places.pop(next(iter(self.places))))
        self.places[viewer] = place
        self._take_away(gone)

    def forget(self, viewer: str) -> None:
        """Take away what a viewer brought, its file and its marks too."""
        self._take_away([self.places.pop(viewer, None)])

    def drop(self, file: ScanFile) -> None:
        """Delete a scan's files that were brought and that no viewer has before them."""
        needed = {path for place in self.places.values() for path in _files(place.file)}
        for path in _files(file) - needed:
            if path.parent == Path(self.folder.name):
                path.unlink(missing_ok=True)

    def _take_away(self, gone: Sequence[Place | None]) -> None:
        for place in gone:
            if place is not None:
                self.drop(place.file)

    def brought(self, name: str) -> Path:
        """A new file for a scan that was brought: of its name only the ending is used.

        Raises
        ------
        BadScan
            The ending is none of a scan's.
        """
        suffix = Path(name.replace("\\", "/")).suffix.lower()
        if suffix not in SUFFIXES:
            raise BadScan(
                Path(name.replace("\\", "/")).name[:60] or "the file",
                "is not a kind of scan that is read",
                f"bring one of {', '.join(SUFFIXES)}",
            )
        return Path(self.folder.name) / f"scan-{secrets.token_hex(8)}{suffix}"

    def brought_marks(self, text: str) -> Path:
        """Write a marks file that a page kept; what it holds is checked where it is read."""
        path = Path(self.folder.name) / f"marks-{secrets.token_hex(8)}.json"
        write_text(path, text)
        return path

    def marks_file(self, place: Place, picks: Mapping[str, Sequence[Sequence[float]]]) -> Path:
        """Write picks on the shown back (body frame, m) as a marks file in the scan's numbers."""
        import json

        import numpy as np

        back = place.bench.back
        to_scan = np.linalg.inv(back.T_body_scan)
        marks = {}
        for name, points in picks.items():
            places = np.asarray(points, dtype=float).reshape(-1, 3) @ to_scan[:3, :3].T
            places = (places + to_scan[:3, 3]) / back.provenance.metres_per_unit
            marks[name] = places.tolist()
        return self.brought_marks(json.dumps(marks, indent=2) + "\n")


def sweep() -> None:
    """Take away what an app that was killed could not: folders of processes that are gone.

    Where a process cannot be asked whether it lives (Windows), nothing is done.
    """
    if os.name == "nt":
        return
    for folder in Path(tempfile.gettempdir()).glob(f"{_FOLDER}*-*"):
        owner = folder.name.removeprefix(_FOLDER).split("-")[0]
        if owner.isdecimal() and not _lives(int(owner)):
            shutil.rmtree(folder, ignore_errors=True)


def _lives(process: int) -> bool:
    """Whether a process is there; one of another user is."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _files(file: ScanFile) -> set[Path]:
    """What a back was read from."""
    return {Path(file.path)} | ({Path(file.marks)} if file.marks else set())
