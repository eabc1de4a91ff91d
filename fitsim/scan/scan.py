"""The noun `Scan`: geometry as read, with where it came from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

Unit = Literal["m", "cm", "mm", "inch"]


@dataclass(frozen=True)
class Provenance:
    """Where a scan came from and what was done to it on the way in.

    Attributes
    ----------
    name : file name without its folder.
    sha256 : hex digest of the file as it lay on the disk.
    triangles, points : counts as read, before anything was removed.
    unit : unit of the coordinates in the file, after it was found or told.
    unit_evidence : one sentence, how the unit is known and how sure that is.
    notes : sentences for the user: what was removed, filled, flipped, thinned.
    metres_per_unit : what the file's coordinates were multiplied by; 1 while they stand as read.
    """

    name: str
    sha256: str
    triangles: int
    points: int
    unit: Unit | None = None
    unit_evidence: str = ""
    notes: tuple[str, ...] = ()
    metres_per_unit: float = 1.0


@dataclass(frozen=True)
class Paint:
    """Colours of a surface where its picture shows more than its corners do.

    Attributes
    ----------
    points : (k, 3) float64 array, strewn over the triangles, in the scan's frame and unit.
    colours : (k, 3) uint8 array.
    """

    points: NDArray[np.float64]
    colours: NDArray[np.uint8]


@dataclass(frozen=True)
class Scan:
    """A surface or point cloud in the scanner's own frame.

    Attributes
    ----------
    vertices : (n, 3) float64 array; metres once the unit is settled (``provenance.unit`` set),
        the file's own unit before that.
    triangles : (m, 3) int32 array; m = 0 for a point cloud.
    provenance : see `Provenance`.
    colours : (n, 3) uint8 array or None.
    normals : (n, 3) float64 array or None; only where the file carried them.
    marks : places the file itself names, by name: (k, 3) arrays in the vertices' frame and unit.
    sheets : (k, 4) array: floors and walls that were taken away, as unit normal n and offset d in
        the vertices' frame and unit, n . p = d; the sign of n is arbitrary.
    paint : colours between the corners, room and all; None where the corners have all there is.
    """

    vertices: NDArray[np.float64]
    triangles: NDArray[np.int32]
    provenance: Provenance
    colours: NDArray[np.uint8] | None = None
    normals: NDArray[np.float64] | None = None
    marks: Mapping[str, NDArray[np.float64]] = field(default_factory=dict)
    sheets: NDArray[np.float64] = field(default_factory=lambda: np.empty((0, 4)))
    paint: Paint | None = None

    @property
    def is_points(self) -> bool:
        """Whether the scan has no triangles."""
        return len(self.triangles) == 0
