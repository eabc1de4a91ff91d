"""Daylight under the bars: lift at the tips, and bridging between two contact runs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.measure.measures import BarGap
from fitsim.measure.pressure import CONTACT

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fitsim.back.back import Chart
    from fitsim.contact.equilibrium import Equilibrium

    Array = NDArray[np.float64]
    Mask = NDArray[np.bool_]

TIP = 0.020  # m of the bar's end over which its lift is the mean
SIDES = {"left": 1, "right": -1}


@dataclass(frozen=True)
class Daylight:
    """Clearance along one bar, station by station.

    Attributes
    ----------
    along : (k,) array, -, ascending: 0 at the bar's front end, 1 at its rear.
    gap : (k,) array, m: mean clearance over the middle half of the bar's width; nan where no
        node of the back lies below it (a hole, or a tip that only a corner of a cell reaches).
    pressure : (k,) array, Pa: highest node anywhere across the bar.
    """

    along: Array
    gap: Array
    pressure: Array


def daylight(chart: Chart, equilibrium: Equilibrium, side: str, length: float) -> Daylight:
    """Clearance along one bar.

    Parameters
    ----------
    chart : Chart
        Its n valid nodes carry the equilibrium.
    equilibrium : Equilibrium
        Its `gap`, `pressure`, `bar` and `along` are used.
    side : "left" or "right"
        The bar.
    length : float, m
        Of the bar.

    Returns
    -------
    Daylight
        One station for each grid spacing that has nodes under the bar.
    """
    under = np.flatnonzero((equilibrium.bar == SIDES[side]) & np.isfinite(equilibrium.gap))
    across = np.broadcast_to(chart.t, chart.valid.shape)[chart.valid][under]
    stations = max(round(length / chart.spacing), 1)
    bins = np.clip((equilibrium.along[under] * stations).astype(int), 0, stations - 1)
    middle = _middle_half(across, bins, stations, chart.spacing)
    highest = np.zeros(stations)
    np.maximum.at(highest, bins, equilibrium.pressure[under])
    found = np.unique(bins)
    return Daylight(
        along=_means(equilibrium.along[under], bins, stations)[found],
        gap=_means(equilibrium.gap[under][middle], bins[middle], stations)[found],
        pressure=highest[found],
    )


def _middle_half(across: Array, bins: NDArray[np.int_], stations: int, spacing: float) -> Mask:
    """Which nodes (n,) lie below the middle half of the bar's width.

    The width is taken over a station and its two neighbours: where rows of the chart run askew
    to the bar, a station may hold nothing but a node at either edge.
    """
    low, high = np.full(stations + 2, np.inf), np.full(stations + 2, -np.inf)
    np.minimum.at(low, bins + 1, across - 0.5 * spacing)
    np.maximum.at(high, bins + 1, across + 0.5 * spacing)
    low = np.minimum(np.minimum(low[:-2], low[1:-1]), low[2:])[bins]
    high = np.maximum(np.maximum(high[:-2], high[1:-1]), high[2:])[bins]
    return np.asarray(np.abs(across - 0.5 * (low + high)) <= 0.25 * (high - low) + 1e-9)


def _means(values: Array, bins: NDArray[np.int_], stations: int) -> Array:
    """Mean of the values in each of the stations, nan where there are none."""
    count = np.bincount(bins, minlength=stations)
    total = np.bincount(bins, values, minlength=stations)
    return np.asarray(np.divide(total, count, out=np.full(stations, np.nan), where=count > 0))


def tip_lift(daylight_of: Daylight, length: float) -> tuple[float, float]:
    """Clearance of a bar's front and rear tip.

    Parameters
    ----------
    daylight_of : Daylight
        Along one bar.
    length : float, m
        Of the bar.

    Returns
    -------
    front, rear : float, m
        Mean over the last `TIP` of the bar along its middle; nan where nothing of the back lies
        below that.

    Examples
    --------
    >>> along = np.linspace(0.0, 1.0, 51)
    >>> rising = Daylight(along, 0.020 * along, np.zeros(51))  # 20 mm over a bar of 500 mm
    >>> front, rear = tip_lift(rising, 0.500)
    >>> round(1e3 * front, 2), round(1e3 * rear, 2)
    (0.4, 19.6)
    """
    known = np.isfinite(daylight_of.gap)
    along, gap = daylight_of.along[known], daylight_of.gap[known]
    if along.size == 0:
        return float("nan"), float("nan")
    # The outermost station stands for the tip only if it is on it, give or take a cell.
    stride = float(np.median(np.diff(daylight_of.along))) if daylight_of.along.size > 1 else 0.0
    tip = max(TIP / length, 1.5 * stride)
    within = (np.arange(20) + 0.5) / 20 * min(TIP / length, 0.5)
    front, rear = (float(np.interp(places, along, gap).mean()) for places in (within, 1.0 - within))
    return (
        front if along[0] <= tip else float("nan"),
        rear if 1.0 - along[-1] <= tip else float("nan"),
    )


def bridging(daylight_of: Daylight) -> BarGap:
    """The longest stretch without contact that has contact on both sides of it along the bar.

    A station is in contact when any node across the bar is pressed by more than 0.5 kPa.

    Parameters
    ----------
    daylight_of : Daylight
        Along one bar.

    Returns
    -------
    BarGap
        0 and 0 where the bar does not bridge. Stations whose clearance is not known do not count
        towards the depth.

    Examples
    --------
    >>> along = (np.arange(10) + 0.5) / 10
    >>> gap = np.array([0.0, 0.0, 1e-3, 4e-3, 1e-3, 0.0, 0.0, 2e-3, 9e-3, 20e-3])
    >>> bridging(Daylight(along, gap, np.where(gap == 0.0, 5e3, 0.0)))
    BarGap(length_share=0.3..., depth=0.004)
    """
    touching = np.flatnonzero(daylight_of.pressure > CONTACT)
    if touching.size <= 1:
        return BarGap(0.0, 0.0)
    stride = float(np.median(np.diff(daylight_of.along)))
    spans = np.diff(daylight_of.along[touching]) - stride
    widest = int(np.argmax(np.where(np.diff(touching) > 1, spans, 0.0)))
    first, last = touching[widest] + 1, touching[widest + 1]
    if first == last:
        return BarGap(0.0, 0.0)
    inside = daylight_of.gap[first:last]
    return BarGap(float(spans[widest]), float(inside[np.isfinite(inside)].max(initial=0.0)))


def lifts(daylights: Mapping[str, Daylight], length: float) -> Mapping[str, float]:
    """Clearance at the four tips.

    Parameters
    ----------
    daylights : by "left" and "right".
    length : float, m
        Of the bars.

    Returns
    -------
    dict, m
        "front_left", "front_right", "rear_left", "rear_right"; nan as in `tip_lift`.
    """
    ends = {side: tip_lift(daylights[side], length) for side in SIDES}
    places = enumerate(("front", "rear"))
    return {f"{end}_{side}": ends[side][k] for k, end in places for side in SIDES}
