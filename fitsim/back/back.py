"""The noun `Back`: a scan in the body frame, charted, with zones, marks and tissue."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from fitsim.back.coat import Coat
    from fitsim.back.stack import Stack
    from fitsim.back.sticker_words import Meanings
    from fitsim.back.stickers import Sticker
    from fitsim.scan.scan import Provenance, Scan

ZoneName = Literal[
    "spine", "withers",
    "scapula_left", "scapula_right",
    "fat_pocket_left", "fat_pocket_right",
    "long_muscle_left", "long_muscle_right",
    "loin_left", "loin_right",
    "ribs_left", "ribs_right",
]  # fmt: skip


@dataclass(frozen=True)
class Chart:
    """The back's surface on a regular grid: stations along the spine by arc length across.

    Rows run along x (forward), columns along t, the arc length across from the spine line
    (positive to the animal's left). Spacing is the same both ways, so that distances along
    the surface are grid distances and the compliance is a convolution.

    Attributes
    ----------
    x : (nx,) array, m, ascending, even spacing.
    t : (nt,) array, m, ascending, even spacing, symmetric about 0.
    points : (nx, nt, 3) array, m, body frame.
    normals : (nx, nt, 3) array, unit, outward.
    area : (nx, nt) array, m2, true surface area of each cell.
    curvature : (nx, nt) array, 1/m, across, positive where convex outward.
    valid : (nx, nt) bool array, the surface exists here (measured or filled).
    filled : (nx, nt) bool array, a hole was filled here: pressure is unsure.
    colours : (nx, nt, 3) uint8 array or None.
    """

    x: NDArray[np.float64]
    t: NDArray[np.float64]
    points: NDArray[np.float64]
    normals: NDArray[np.float64]
    area: NDArray[np.float64]
    curvature: NDArray[np.float64]
    valid: NDArray[np.bool_]
    filled: NDArray[np.bool_]
    colours: NDArray[np.uint8] | None = None

    @property
    def spacing(self) -> float:
        """Grid spacing, m."""
        return float(self.x[1] - self.x[0])


@dataclass(frozen=True)
class Mark:
    """One place on the back, pointed at or estimated.

    Attributes
    ----------
    points : (k, 3) array, m, body frame: one point, a line or an outline.
    source : "marked", "sticker" or "estimated".
    sd_m : standard deviation of the place, m.
    basis : one phrase: who marked it, or the rule and its source.
    """

    points: NDArray[np.float64]
    source: Literal["marked", "sticker", "estimated"]
    sd_m: float
    basis: str


@dataclass(frozen=True)
class Zone:
    """A named region of the back.

    Attributes
    ----------
    name : see `ZoneName`.
    outline : (k, 2) array, m: closed polygon in chart coordinates (x, t).
    """

    name: ZoneName
    outline: NDArray[np.float64]


@dataclass(frozen=True)
class Tissue:
    """What lies under the skin, as a palette of layer stacks blended over the chart.

    Attributes
    ----------
    palette : K stacks, each from skin to bone (see `fitsim.back.stack.Stack`).
    weights : (nx, nt, K) array, >= 0, summing to one over K at every node.
    """

    palette: tuple[Stack, ...]
    weights: NDArray[np.float64]


@dataclass(frozen=True)
class Barrel:
    """Cross-sections of the trunk, for the way straps run.

    Attributes
    ----------
    x : (ns,) array, m, stations, ascending.
    sections : ns arrays (k, 2) of (y, z), m: convex, closed girth polygon at each station.
    extrapolated : (ns,) bool array, the scan ended early and the belly side was extrapolated.
    """

    x: NDArray[np.float64]
    sections: tuple[NDArray[np.float64], ...]
    extrapolated: NDArray[np.bool_]


@dataclass(frozen=True)
class Back:
    """The scan in the body frame with its spine line, zones, marks and tissue.

    Attributes
    ----------
    T_body_scan : (4, 4) array; point_body = T_body_scan @ point_scan (scan in metres).
    chart : the surface on its grid.
    zone_code : (nx, nt) int array, index into `zones` of the zone each node belongs to, -1 none.
        Where zones overlap, the one that must stay free wins (spine, scapula, fat pocket first).
    zones : every zone with its outline.
    marks : by name: "spine", "withers", "scapula_edge_left", "scapula_edge_right",
        "last_rib_left", "last_rib_right", "fat_pocket_left", "fat_pocket_right"; and those that
        only record what was seen, see `fitsim.back.noted`.
    tissue : layers under each node.
    barrel : girth for straps.
    withers_height : m, of the animal, told or assumed.
    provenance : of the scan.
    cautions : sentences about the back that a reader of any result must see.
    stickers : coloured spots that were found, used as marks or not, in the body frame.
    coat : the hair that was told; the surface is then the skin's, under what a load leaves of it.
    """

    T_body_scan: NDArray[np.float64]
    chart: Chart
    zone_code: NDArray[np.int_]
    zones: tuple[Zone, ...]
    marks: Mapping[str, Mark]
    tissue: Tissue
    barrel: Barrel
    withers_height: float
    provenance: Provenance
    cautions: tuple[str, ...] = ()
    stickers: tuple[Sticker, ...] = ()
    coat: Coat | None = None

    @staticmethod
    def from_scan(
        scan: Scan,
        marks: Mapping[str, NDArray[np.float64]] | str | Path | None = None,
        withers_height: float | None = None,
        spacing: float = 0.010,
        stickers: Meanings | None = None,
        *,
        coat: float | None = None,
    ) -> Back:
        """Find the back in a scan: see `fitsim.back.from_scan.back_from_scan`."""
        from fitsim.back.from_scan import back_from_scan

        return back_from_scan(scan, marks, withers_height, spacing, stickers, coat=coat)
