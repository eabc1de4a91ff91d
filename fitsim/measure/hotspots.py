"""Hotspots: places where the patch-mean pressure peaks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import label

from fitsim.measure.measures import Hotspot
from fitsim.measure.pressure import CONTACT

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Back

    Array = NDArray[np.float64]
    Whole = NDArray[np.int_]

APART = 0.040  # m: closer peaks are one hotspot, the stronger
PROMINENCE = 0.10  # of the highest peak: a lesser rise above its saddle is a ripple
WEAKEST = 0.20  # of the highest peak: anything lower is not worth a number on a picture
MOST = 9
HALF_PATCH = 0.010  # m, of the patch that a peak is a mean over


def hotspots(back: Back, peaks: Array, means: Array) -> tuple[Hotspot, ...]:
    """Local peaks of the patch-mean pressure, strongest first and numbered so.

    Parameters
    ----------
    back : Back
        Its chart and zones.
    peaks : (nx, nt) array, Pa
        Highest patch mean within each cell (`fitsim.measure.pressure.patch_peak`).
    means : (nx, nt) array, Pa
        Patch mean about each node (`fitsim.measure.pressure.patch_mean`); the area of a hotspot
        is where it stays above half the peak, without a break.

    Returns
    -------
    tuple of Hotspot
        At most `MOST`. The first is the highest mean over any 20 x 20 mm of skin.
    """
    chart = back.chart
    field = np.where(chart.valid, peaks, 0.0)
    # Whatever is kept stands clear of this: a saddle below it need not be known better.
    lowest = max(CONTACT, (WEAKEST - PROMINENCE) * float(field.max()))
    tops, prominence = prominent_peaks(field, lowest)
    if tops.size == 0:
        return ()
    height = field.ravel()[tops]
    keep = (prominence >= PROMINENCE * height.max()) & (height >= WEAKEST * height.max())
    points = chart.points.reshape(-1, 3)
    # Equal peaks, as on a mirrored back, are told apart by place: front first, then left.
    rank = np.lexsort((-points[tops, 1], -points[tops, 0], -np.rint(height)))
    order = [int(tops[k]) for k in rank if keep[k]]
    kept: list[int] = []
    for node in order:
        if all(np.linalg.norm(points[node] - points[other]) >= APART for other in kept):
            kept.append(node)
    return tuple(
        _hotspot(back, field, means, node, number)
        for number, node in enumerate(kept[:MOST], start=1)
    )


def prominent_peaks(field: Array, lowest: float) -> tuple[Whole, Array]:
    """Peaks of a field and how far each stands above the saddle to a higher one.

    Parameters
    ----------
    field : (nx, nt) array
        Any unit.
    lowest : float
        Only what is above counts; the prominence of the highest peak of an island is measured
        from here.

    Returns
    -------
    peaks : (k,) int array
        Flat indices, highest first.
    prominence : (k,) array
        In the field's unit.

    Notes
    -----
    The field is flooded from the top: nodes join in falling order, a node that joins two islands
    is the saddle of the lower one (zero-dimensional persistence; Edelsbrunner, Letscher and
    Zomorodian 2002, doi:10.1007/s00454-002-2885-2).

    Examples
    --------
    >>> peaks, prominence = prominent_peaks(np.array([[1.0, 5.0, 2.0, 4.0, 1.0]]), 0.0)
    >>> peaks.tolist(), prominence.tolist()
    ([1, 3], [5.0, 2.0])
    """
    # A rim of unflooded cells all round: every node then has eight neighbours, a step away.
    padded = np.pad(field, 1, constant_values=-np.inf)
    columns = padded.shape[1]
    around = [r * columns + c for r in (-1, 0, 1) for c in (-1, 0, 1) if (r, c) != (0, 0)]
    flat = padded.ravel()
    order = np.argsort(-flat, kind="stable")[: int((flat > lowest).sum())]
    island: dict[int, int] = {}  # node to a node of the same island nearer its peak
    saddle: dict[int, float] = {}
    for node in order.tolist():
        near = [node + step for step in around if node + step in island]
        tops = {_top(island, other) for other in near}
        if not tops:
            island[node] = node
            saddle[node] = lowest
            continue
        highest = max(tops, key=lambda top: (flat[top], -top))
        island[node] = highest
        for top in tops - {highest}:
            island[top] = highest
            saddle[top] = float(flat[node])
    peaks = np.array(list(saddle), dtype=np.int_)
    rows, place = np.divmod(peaks, columns)
    prominence = flat[peaks] - np.array(list(saddle.values()))
    return (rows - 1) * field.shape[1] + place - 1, prominence


def _top(island: dict[int, int], node: int) -> int:
    """Peak of the island a node is on, shortening the way for the next to ask."""
    while island[node] != node:
        island[node] = island[island[node]]
        node = island[node]
    return node


def _hotspot(back: Back, field: Array, means: Array, node: int, number: int) -> Hotspot:
    chart = back.chart
    row, column = divmod(node, field.shape[1])
    peak = float(field[row, column])
    high = means >= 0.5 * peak
    high[row, column] = True
    islands, _ = label(high)
    area = float(chart.area[(islands == islands[row, column]) & chart.valid].sum())
    zone, side = _whereabouts(back, row, column)
    x, y, z = (float(value) for value in chart.points[row, column])
    reach = max(1, round(HALF_PATCH / chart.spacing))
    near = tuple(slice(max(k - reach, 0), k + reach + 1) for k in (row, column))
    unsure = bool(chart.filled[near].any())
    return Hotspot(number, zone, side, x, y, z, peak, area, unsure)


def _whereabouts(back: Back, row: int, column: int) -> tuple[str, str]:
    """Zone without its side, and side: "left", "right" or, on the spine line, "middle"."""
    code = int(back.zone_code[row, column])
    name = str(back.zones[code].name) if code >= 0 else "elsewhere"
    for side in ("left", "right"):
        if name.endswith(f"_{side}"):
            return name.removesuffix(f"_{side}"), side
    t = float(back.chart.t[column])
    if abs(t) < 0.5 * back.chart.spacing:
        return name, "middle"
    return name, "left" if t > 0.0 else "right"
