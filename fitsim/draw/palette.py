"""Colours: one sequential map for pressure, and the calm paper tones around it."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw.inferno import inferno

if TYPE_CHECKING:
    from numpy.typing import NDArray

PAPER = (250, 248, 244)
PANEL = (241, 237, 230)
INK = (38, 34, 30)
QUIET = (98, 90, 81)
LINE = (205, 198, 188)
DAYLIGHT = (132, 177, 196)
DAYLIGHT_INK = (24, 84, 107)
TAN = (207, 197, 183)
HIDE = (181, 171, 160)
FELT = (214, 203, 186)

FAINTEST = 500.0
"""Pa below which the hide shows through: the edge of the contact patch."""


@lru_cache(maxsize=1)
def pressure_map() -> NDArray[np.uint8]:
    """Return the colours of pressure, from a light touch to the top of the scale.

    The light-to-dark part of inferno, reversed: perceptually uniform, readable with
    every common colour blindness and in grey print, where darker means more.

    Returns
    -------
    (256, 3) uint8 array.

    Examples
    --------
    >>> lightness = pressure_map().astype(float) @ [0.2126, 0.7152, 0.0722]
    >>> bool((np.diff(lightness) <= 0.51).all())
    True
    """
    at = np.linspace(0.985, 0.13, 256)
    return np.asarray(inferno()[(at * 256).astype(int)])


_DIVERGING = (
    (45, 0, 75), (84, 39, 136), (128, 115, 172), (178, 171, 210), (216, 218, 235), (247, 247, 247),
    (254, 224, 182), (253, 184, 99), (224, 130, 20), (179, 88, 6), (127, 59, 8),
)  # fmt: skip


@lru_cache(maxsize=1)
def difference_map() -> NDArray[np.uint8]:
    """Return the colours of a difference in pressure, from much less to much more.

    Purple through white to orange, told apart with every common colour blindness: the eleven
    colours of PuOr reversed (Brewer, ColorBrewer 2.0), straight lines between them. The same as
    matplotlib's of that name, whose import would delay the app.

    Returns
    -------
    (256, 3) uint8 array.

    Examples
    --------
    >>> ends = difference_map()[[0, -1]]
    >>> ends.tolist()  # purple presses less, orange harder
    [[45, 0, 75], [127, 59, 8]]
    """
    rows = np.array(_DIVERGING, dtype=float)
    place, at = np.linspace(0.0, 1.0, len(rows)), np.linspace(0.0, 1.0, 256)
    mixed = np.column_stack([np.interp(at, place, rows[:, k]) for k in range(3)])
    return np.round(mixed).astype(np.uint8)


def scale_top(peak: float, usual: float) -> float:
    """Return a round top for the one scale that all cases of a set share, Pa.

    A single hard spot would leave everything else pale, so the scale may end below it: at 0.6 of
    the hardest pressure or a quarter above the 95th percentile, whichever is more. What lies over
    is drawn in the last colour, and the scale says so.

    Parameters
    ----------
    peak : Pa, hardest pressure of any case.
    usual : Pa, largest 95th percentile of any case.

    Examples
    --------
    >>> scale_top(71e3, 30e3), scale_top(23e3, 20e3), scale_top(0.0, 0.0)
    (50000.0, 25000.0, 10000.0)
    """
    wanted = max(0.6 * peak, 1.25 * usual)
    steps = (1e4, 1.5e4, 2e4, 2.5e4, 3e4, 4e4, 5e4, 6e4, 8e4, 1e5, 1.5e5, 2e5, 3e5, 5e5)
    return next((step for step in steps if step >= wanted), float(wanted))


def painted(
    pressure: NDArray[np.floating], top: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return colour and cover of a pressure field.

    Parameters
    ----------
    pressure : array of any shape, Pa.
    top : Pa, pressure at the dark end of the scale; more is drawn in the same colour.

    Returns
    -------
    colour : array of the same shape + (3,), red, green, blue, 0-255.
    cover : array of the same shape, 0-1, rising from 0 at `FAINTEST` to 1 at twice that, so that
        the hide shows where nothing presses.
    """
    level = np.clip(pressure * (255 / top), 0, 255)
    colour = pressure_map()[np.round(level).astype(np.uint8)].astype(np.float32)
    return colour, np.clip(pressure / FAINTEST - 1.0, 0.0, 1.0).astype(np.float32)
