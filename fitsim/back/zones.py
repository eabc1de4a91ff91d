"""Named regions of the back, as outlines on the chart."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.back import Zone
from fitsim.back.marks import chart_places

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from fitsim.back.back import Chart, Mark, ZoneName

SPINE_HALF = 0.025
"""m, on an animal of 1.5 m: bars 25 mm off the spine work (common practice, no source)."""

WITHERS = (-0.02, 0.20, 0.05)
"""m, on an animal of 1.5 m: rear, front, half width of the withers (from memory)."""

BLADE_WIDTH = 0.17
"""m, on an animal of 1.5 m: from the blade's rear edge to its front edge (from memory)."""

UNDER_BLADE = 0.03
"""m, on an animal of 1.5 m: long muscle and ribs run forward to here, under the blade."""

LONG_MUSCLE = (0.025, 0.130)
"""m, on an animal of 1.5 m: the long muscle lies beside the spine, out to here (from memory)."""

FIRST_TO_STAY_FREE: tuple[ZoneName, ...] = (
    "spine", "scapula_left", "scapula_right", "fat_pocket_left", "fat_pocket_right", "withers",
    "long_muscle_left", "long_muscle_right", "loin_left", "loin_right", "ribs_left", "ribs_right",
)  # fmt: skip
"""Where zones overlap a node belongs to the earliest of these."""


def zones_of(chart: Chart, marks: Mapping[str, Mark], scale: float) -> tuple[Zone, ...]:
    """Outline every zone, from the marks.

    Parameters
    ----------
    chart : Chart
    marks : mapping of name to Mark
    scale : float
        Size of the animal over one of 1.5 m.

    Returns
    -------
    tuple of Zone
        In the order in which they must stay free.
    """
    first, last, side_t = chart.x[0], chart.x[-1], chart.t[-1]
    spine = _box(first, last, -SPINE_HALF * scale, SPINE_HALF * scale)
    rear, front, half = np.array(WITHERS) * scale
    outlines = {"spine": spine, "withers": _box(rear, front, -half, half)}
    covered = min(UNDER_BLADE * scale, last)
    inner, outer = np.array(LONG_MUSCLE) * scale
    for side, sign in (("left", 1.0), ("right", -1.0)):
        edge = chart_places(chart, marks[f"scapula_edge_{side}"].points)
        edge = edge[np.argsort(np.abs(edge[:, 1]))]
        blade = np.vstack([edge, (edge + np.array([BLADE_WIDTH * scale, 0.0]))[::-1]])
        pocket = chart_places(chart, marks[f"fat_pocket_{side}"].points)
        rib = float(np.median(marks[f"last_rib_{side}"].points[:, 0]))
        outlines |= {
            f"scapula_{side}": blade,
            f"fat_pocket_{side}": pocket,
            f"long_muscle_{side}": _box(rib, covered, sign * inner, sign * outer),
            f"loin_{side}": _box(first, rib, sign * inner, sign * outer),
            f"ribs_{side}": _box(rib, covered, sign * outer, sign * side_t),
        }
    return tuple(Zone(name, outlines[name]) for name in FIRST_TO_STAY_FREE)


def zone_codes(
    x: NDArray[np.float64], t: NDArray[np.float64], zones: Sequence[Zone]
) -> NDArray[np.int_]:
    """Index of the zone each point of a grid in the chart belongs to.

    Parameters
    ----------
    x, t : (nx,) and (nt,) arrays, m, chart coordinates.
    zones : sequence of Zone, the first to stay free first.

    Returns
    -------
    (nx, nt) int array
        -1 where no zone lies.
    """
    nodes = np.stack(np.meshgrid(x, t, indexing="ij"), axis=-1).reshape(-1, 2)
    code = np.full(len(nodes), -1)
    for k in reversed(range(len(zones))):
        code[inside_outline(zones[k].outline, nodes)] = k
    return code.reshape(len(x), len(t))


def inside_outline(outline: NDArray[np.float64], places: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which places lie inside a closed outline; those on it count.

    Parameters
    ----------
    outline : (k, 2) array, m.
    places : (n, 2) array, m.

    Returns
    -------
    (n,) bool array

    Examples
    --------
    >>> import numpy as np
    >>> square = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
    >>> inside_outline(square, np.array([[0.5, 0.5], [2.0, 0.5]])).tolist()
    [True, False]
    """
    # Column by column: every plausible back asks this of a fine grid for every zone.
    (x, t), low, high = places.T, outline.min(axis=0), outline.max(axis=0)
    inside: NDArray[np.bool_] = (x >= low[0]) & (x <= high[0]) & (t >= low[1]) & (t <= high[1])
    boxed = np.flatnonzero(inside)
    inside[boxed] = _inside_box(outline, places[boxed])
    return inside


def _inside_box(outline: NDArray[np.float64], places: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which of the places in an outline's box lie inside it, by counting crossings."""
    x, t = np.ascontiguousarray(places.T)
    crossings = np.zeros(len(places), dtype=int)
    nearest = np.full(len(places), np.inf)
    for start, end in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        edge = end - start
        rel_x, rel_t = x - start[0], t - start[1]
        over = (start[1] <= t) != (end[1] <= t)
        if edge[1] != 0:
            crossings += over & (rel_x < rel_t * edge[0] / edge[1])
        along = (rel_x * edge[0] + rel_t * edge[1]) / max(float(edge @ edge), 1e-30)
        along = np.clip(along, 0.0, 1.0)
        off = (rel_x - along * edge[0]) ** 2 + (rel_t - along * edge[1]) ** 2
        nearest = np.minimum(nearest, off)
    return np.asarray((crossings % 2 == 1) | (nearest < 1e-18))  # noqa: PLR2004 - a nanometre: on the line


def _box(rear: float, front: float, inner: float, outer: float) -> NDArray[np.float64]:
    """Rectangle in (x, t), anticlockwise for the left side."""
    return np.array([[rear, inner], [front, inner], [front, outer], [rear, outer]])
