"""The numbers of one case, each defined once in the module that computes it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True)
class ZoneLoad:
    """What one zone carries: force (N), peak (Pa, 20 x 20 mm patch mean), area (m2)."""

    force: float
    peak: float
    area: float


@dataclass(frozen=True)
class Hotspot:
    """A local peak of the patch-mean pressure, strongest first.

    number : 1, 2, ... as drawn on the pictures; zone, side : where ("scapula", "left");
    x, y : m, body frame; z : m; peak : Pa (patch mean); area : m2 above half its peak;
    unsure : a hole of the scan was filled within its patch.
    """

    number: int
    zone: str
    side: str
    x: float
    y: float
    z: float
    peak: float
    area: float
    unsure: bool = False


@dataclass(frozen=True)
class BarGap:
    """Bridging of one bar: the longest lengthwise gap between two contact runs.

    length_share : -, of the bar's length; depth : m, largest clearance in it.
    """

    length_share: float
    depth: float


@dataclass(frozen=True)
class Rocking:
    """Pitch per test moment and where it pivots.

    rad_per_nm : rad/(N*m); pivot_along : -, station along the bar it pivots about (0 front);
    free_play : rad, pitch between -10 and +10 N*m beyond what the contact stiffness explains.
    """

    rad_per_nm: float
    pivot_along: float
    free_play: float


@dataclass(frozen=True)
class Margins:
    """How far the tree is from leaving: what more it bears, the lesser of both directions.

    Attributes
    ----------
    friction_used : -, net sideways force on the skin as a share of Coulomb's limit.
    push_along, push_across : N, a push fore or aft, or sideways, at the middle of the bars.
    side_weight : kg, hung 0.40 m to one side of the tree's middle.
    end_weight : kg, on the ends of the bars, both alike.
    leaves : how it leaves under the push or weight it bears least of, beside what it carries.
    """

    friction_used: float
    push_along: float | None = None
    push_across: float | None = None
    side_weight: float | None = None
    end_weight: float | None = None
    leaves: str | None = None


@dataclass(frozen=True)
class Measures:
    """Headline numbers of one case. SI throughout.

    Attributes
    ----------
    normal_force : N, sum of pressure times area.
    vertical_force : N, z component of what the back carries.
    peak : Pa, highest mean over a 20 x 20 mm patch of skin.
    point_max : Pa, highest single node (mesh-dependent at bar edges; never judged).
    p95 : Pa, 95th percentile over the contact patch (nodes above 0.5 kPa), area-weighted.
    mean : Pa, over the contact patch.
    area : m2, of the contact patch.
    share : of normal force, -, by "front", "middle", "rear" third of the bar and "left", "right".
    lift : m, clearance at each tip: "front_left", "front_right", "rear_left", "rear_right"; nan
        where no skin lies below the tip, and `cautions` says so.
    zones : by zone name.
    hotspots : strongest first.
    bridging : by side, "left" and "right".
    rocking : None where it was not asked for.
    cautions : sentences.
    margins : how far it is from leaving; in a fit the friction used alone, the rest where it was
        asked for (`fitsim.study.margins.margins`).
    """

    normal_force: float
    vertical_force: float
    peak: float
    point_max: float
    p95: float
    mean: float
    area: float
    share: Mapping[str, float]
    lift: Mapping[str, float]
    zones: Mapping[str, ZoneLoad]
    hotspots: tuple[Hotspot, ...]
    bridging: Mapping[str, BarGap]
    rocking: Rocking | None
    cautions: tuple[str, ...]
    margins: Margins | None = None
