"""The strip that shows daylight: each bar's underside over the back, seen from the side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw.bars import Daylight, daylight
from fitsim.draw.layout import STRIPS
from fitsim.draw.palette import (
    DAYLIGHT,
    DAYLIGHT_INK,
    FAINTEST,
    FELT,
    HIDE,
    INK,
    LINE,
    QUIET,
    painted,
)
from fitsim.draw.quantity import System, quantity

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from numpy.typing import NDArray

    Array = NDArray[np.float64]

    from fitsim.draw.lettering import Pen
    from fitsim.study.fit import FitSet

Edges = tuple[float, float, float, float]
_NUMBERED = 0.004
"""m: daylight at a tip is written from here."""
_FLOOR = 22
"""Sheet units of back drawn below a strip."""
_HEADROOM = 16
"""Sheet units an arrow needs for two heads."""
_STEEPEST = 4.0
"""Most that heights are stretched against lengths."""


def heights(
    under: Daylight,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return heights along one bar, levelled: its underside, the back, the unpressed back.

    The back is drawn below the bar by the clearance square to the skin, so that daylight on the
    strip is the daylight a feeler would find.

    Returns
    -------
    bar, back, unpressed : (n,) arrays, m.
    """
    bar = under.bar[:, 2] - under.slope * under.along
    back = bar - under.gap
    return bar, back, back + under.indentation


@dataclass(frozen=True)
class Look:
    """How all strips of a set are drawn, so that they compare.

    Attributes
    ----------
    top : Pa, dark end of the scale.
    steep : how much heights are stretched against lengths.
    padded : a pad lies on the back.
    system : units people chose.
    """

    top: float
    steep: float
    padded: bool
    system: System


def stretch(drawn: Iterable[Daylight]) -> float:
    """Return how much heights can be stretched against lengths to fill the strips of a set.

    Parameters
    ----------
    drawn : what is drawn with the same stretch.

    Returns
    -------
    A multiple of one half between 1 and 4.
    """
    left, upper, right, lower = STRIPS[0]
    length, tall = 0.0, 1e-3
    for under in drawn:
        bar, back, unpressed = heights(under)
        length = max(length, float(under.along[-1]))
        tall = max(tall, float(max(bar.max(), unpressed.max()) - back.min()))
    fits = ((lower - upper - 24) / tall) / ((right - left) / max(length, 1e-3))
    return float(np.clip(np.floor(fits * 2) / 2, 1.0, _STEEPEST))


def draw_strip(
    pen: Pen, edges: Edges, under: Daylight, lift: tuple[float, float], look: Look
) -> None:
    """Draw one bar's strip.

    Parameters
    ----------
    pen : to draw with.
    edges : left, top, right, bottom of the strip, sheet units.
    under : what lies below the bar.
    lift : clearance at the front and rear tip, m, as measured.
    look : how it is drawn.
    """
    left, upper, right, lower = edges
    bar, back, unpressed = heights(under)
    wide = right - left
    per_m = wide / float(under.along[-1])
    # The head is on the left, as in the view from the left.
    across = left + under.along * per_m
    middle = 0.5 * (max(bar.max(), unpressed.max()) + back.min())

    def down(height: NDArray[np.float64]) -> NDArray[np.float64]:
        place = 0.5 * (upper + lower) - (height - middle) * per_m * look.steep
        return np.asarray(np.clip(place, upper, lower + 60))

    bar_y, back_y, free_y = down(bar), down(back), down(unpressed)
    floor = lower + _FLOOR
    pen.shape([(left, floor), *_pairs(across, back_y), (right, floor)], (*HIDE, 150))
    if look.padded:
        felt = _pairs(across, back_y) + _pairs(across, np.minimum(back_y + 11, floor))[::-1]
        pen.shape(felt, (*FELT, 255))
    pen.shape(_pairs(across, bar_y) + _pairs(across, back_y)[::-1], (*DAYLIGHT, 120))
    _pressed_edge(pen, across, back_y, under.pressure, look.top)
    for start in range(0, len(across) - 2, 4):
        pen.line(_pairs(across[start : start + 3], free_y[start : start + 3]), (*QUIET, 190), 1.4)
    body = _pairs(across, bar_y) + _pairs(across, bar_y - 15)[::-1]
    pen.shape(body, (*INK, 46))
    pen.line(_pairs(across, bar_y), (*INK, 255), 2.6)
    ends = ((0, lift[0], 1), (len(across) - 1, lift[1], -1))
    for index, clear, inward in ends:
        if np.isfinite(clear) and clear >= _NUMBERED:
            _measured(pen, across[index] + 6 * inward, bar_y[index], back_y[index])
            pen.chip(
                across[index] + 16 * inward, 0.5 * (bar_y[index] + back_y[index]),
                quantity(clear, "length", look.system), 20, colour=DAYLIGHT_INK,
                anchor="left" if inward > 0 else "right",
            )  # fmt: skip


def _pairs(x: NDArray[np.float64], y: NDArray[np.float64]) -> list[tuple[float, float]]:
    return [(float(a), float(b)) for a, b in zip(x, y, strict=True)]


def _pressed_edge(pen: Pen, x: Array, y: Array, pressure: Array, top: float) -> None:
    """Paint the back's edge in the colour of its pressure where it is touched."""
    colours = painted(pressure, top)[0].astype(int)
    for start in np.flatnonzero(pressure[:-1] > FAINTEST):
        run = x[start : start + 2], y[start : start + 2]
        red, green, blue = (int(part) for part in colours[start])
        pen.shape(_pairs(*run) + _pairs(run[0], run[1] + 10)[::-1], (red, green, blue))


def _measured(pen: Pen, x: float, upper: float, lower: float) -> None:
    """Draw a measuring arrow with two heads, or a bar where there is no room for heads."""
    if lower - upper < _HEADROOM:
        pen.line([(x, upper), (x, lower)], DAYLIGHT_INK, 2.4)
        return
    middle = 0.5 * (upper + lower)
    pen.arrow((x, middle), (x, upper), DAYLIGHT_INK, 2.0, 8.0)
    pen.arrow((x, middle), (x, lower), DAYLIGHT_INK, 2.0, 8.0)


def daylights(fitset: FitSet) -> dict[str, tuple[Daylight, Daylight]]:
    """Return what lies under the left and the right bar in each case that holds, by case name."""
    chart, tree = fitset.back.chart, fitset.tree
    return {
        name: (daylight(chart, tree, fit.equilibrium, 0), daylight(chart, tree, fit.equilibrium, 1))
        for name, fit in fitset.fits.items()
        if fit.measures is not None
    }


def strips(
    pen: Pen, lift: Mapping[str, float], both: tuple[Daylight, Daylight], look: Look
) -> None:
    """Draw both strips of a sheet, with their captions.

    Parameters
    ----------
    pen : to draw with.
    lift : m, clearance at each tip, by tip.
    both : what lies under the left and the right bar.
    look : how they are drawn.
    """
    for edges, under in zip(STRIPS, both, strict=True):
        base = edges[1] - 48
        wide = pen.text(edges[0], base, f"Under the {under.side} bar", 25, face="bold")
        high = f"heights stretched {look.steep:g} times" if look.steep > 1 else "true heights"
        how = f"head on the left; levelled, {high}"
        pen.quiet(edges[0] + wide + 14, base, how)
        ends = lift.get(f"front_{under.side}", np.nan), lift.get(f"rear_{under.side}", np.nan)
        draw_strip(pen, edges, under, ends, look)
        pen.line([(edges[0], edges[3] + _FLOOR), (edges[2], edges[3] + _FLOOR)], (*LINE, 255), 1.0)
