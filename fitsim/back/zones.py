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

_ON_LINE = 1e-9
"""m: a place this near to an outline is on it."""

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
    code = np.full((len(x), len(t)), -1)
    for k in reversed(range(len(zones))):
        code[inside_on_grid(zones[k].outline, x, t)] = k
    return code


def inside_on_grid(
    outline: NDArray[np.float64], x: NDArray[np.float64], t: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Which points of a grid lie inside a closed outline; those on it count.

    Every plausible back asks this of a fine grid for every zone: only the lines within the
    outline's box are looked at.

    Parameters
    ----------
    outline : (k, 2) array, m.
    x, t : (nx,) and (nt,) arrays, m, ascending.

    Returns
    -------
    (nx, nt) bool array

    Examples
    --------
    >>> square = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
    >>> inside_on_grid(square, np.array([-0.5, 0.5]), np.array([0.5, 1.0, 1.5])).tolist()
    [[False, False, False], [True, True, False]]
    """
    low, high = outline.min(axis=0), outline.max(axis=0)
    box = tuple(
        slice(np.searchsorted(axis, low[i]), np.searchsorted(axis, high[i], side="right"))
        for i, axis in enumerate((x, t))
    )
    inside = np.zeros((len(x), len(t)), dtype=bool)
    part = np.stack(np.meshgrid(x[box[0]], t[box[1]], indexing="ij"), axis=-1)
    inside[box] = inside_outline(outline, part.reshape(-1, 2)).reshape(part.shape[:2])
    return inside


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
    >>> square = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
    >>> inside_outline(square, np.array([[0.5, 0.5], [2.0, 0.5]])).tolist()
    [True, False]
    """
    x, t = np.ascontiguousarray(places.T)
    odd = np.zeros(len(places), dtype=bool)
    on = np.zeros(len(places), dtype=bool)
    above = t >= outline[-1, 1]
    for start, end in zip(np.roll(outline, 1, axis=0), outline, strict=True):
        edge, below = end - start, above
        above = t >= end[1]
        if not edge.any():
            continue
        # Twice the area of the triangle that edge and place span: its sign tells the side.
        side = (x - start[0]) * edge[1] - (t - start[1]) * edge[0]
        if edge[1] != 0:
            odd ^= (below != above) & ((side < 0.0) == (edge[1] > 0.0))
        near = np.flatnonzero(np.abs(side) <= _ON_LINE * np.hypot(*edge))
        along = (x[near] - start[0]) * edge[0] + (t[near] - start[1]) * edge[1]
        on[near] |= (along >= 0.0) & (along <= edge @ edge)
    return np.asarray(odd | on)


def _box(rear: float, front: float, inner: float, outer: float) -> NDArray[np.float64]:
    """Rectangle in (x, t), anticlockwise for the left side."""
    return np.array([[rear, inner], [front, inner], [front, outer], [rear, outer]])
