"""The spine line: the trunk's dorsal crest."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import solveh_banded

from fitsim.back.trunk import SEEN

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.trunk import TrunkSurface

HALF_WIDTH = 0.05
"""m: the spine is looked for as the middle of the section's top, this far to each side."""

STIFFNESS, FREE_STIFFNESS = 3e4, 2e3
"""Against bending of the spine line: keeps it straight over about 0.2 m where the top is flat or
was not scanned."""

MIDDLE, FREE_MIDDLE = 1.0, 0.02
"""Pull towards the mirror plane: leads where the top is nearly flat (a crest rounded at 0.5 m
weighs 0.15, a sharp withers above 3). On backs with 3 mm of noise a pull of 0.02 let the line
wander 12 mm off at the loin, 1.0 less than 4 mm.

The second of each while the roll is not settled yet: a line held to the mirror plane then drags the
roll with it (a horse cut at half its height came to lie on its side)."""


@dataclass(frozen=True)
class Crest:
    """The spine line in the frame it was found in.

    Attributes
    ----------
    x : (n,) array, m, ascending, even.
    y, z : (n,) arrays, m.
    seen : (n,) bool array: the surface was measured here.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    z: NDArray[np.float64]
    seen: NDArray[np.bool_]

    def moved(self, x: float, z: float) -> Crest:
        """The same crest with its origin shifted by x and z, m."""
        return replace(self, x=self.x + x, z=self.z + z)


def crest_of(
    surface: TrunkSurface, scale: float = 1.0, plane: tuple[float, float] | None = None
) -> Crest:
    """Find the spine line as the line about which the top of every section mirrors itself.

    On a sharp withers that is the highest line; on a fleshy back, where the spine lies in a
    groove between two rolls of muscle, it is the groove.

    Parameters
    ----------
    surface : TrunkSurface
    scale : float
        Size of the animal over one of 1.5 m.
    plane : (float, float) or None
        Slope (rad) and offset (m) of the trunk's mirror plane, y = slope x + offset, once it has
        settled: the line is held to it.

    Returns
    -------
    Crest

    Notes
    -----
    Minimises, over the line y0(x), the sum of (z(y0 + s) - z(y0 - s))^2 for s up to 50 mm plus
    a bending penalty (Whittaker smoothing), by Gauss-Newton. Pairs of which one side was not
    measured say nothing: the smooth surface's guess in a gap would draw the line aside.
    """
    y, z = surface.sections()
    top = len(surface.grid.b) // 2
    reach = np.linspace(0.005, HALF_WIDTH * scale, 10)
    lateral = np.arange(-0.12, 0.1201, 0.004) * max(scale, 0.7)
    heights, cover = _on_lateral_grid(y, (z, surface.cover), lateral)
    heights[cover <= SEEN] = np.nan
    slope = np.gradient(heights, lateral, axis=1)
    seen = (surface.cover[:, top - 2 : top + 3].mean(axis=1) > SEEN) & np.isfinite(
        heights[:, len(lateral) // 2]
    )
    slope_x, offset = plane or (0.0, 0.0)
    line = middle = slope_x * surface.grid.a + offset
    rows = np.arange(len(y))
    for _ in range(6):
        left, right = line[:, None] + reach, line[:, None] - reach
        uneven = _lookup(heights, lateral, left) - _lookup(heights, lateral, right)
        change = _lookup(slope, lateral, left) - _lookup(slope, lateral, right)
        good = np.isfinite(uneven) & np.isfinite(change) & seen[:, None]
        uneven, change = np.where(good, uneven, 0.0), np.where(good, change, 0.0)
        line = middle + _bent(
            line - middle, (change**2).sum(axis=1), (uneven * change).sum(axis=1),
            surface.grid.cell, settled=plane is not None,
        )  # fmt: skip
        line = np.clip(line, 0.6 * lateral[0], 0.6 * lateral[-1])
    height = _lookup(heights, lateral, line[:, None])[:, 0]
    seen = seen & np.isfinite(height)
    if seen.any():
        height = np.interp(rows, rows[seen], height[seen])
    return Crest(surface.grid.a, line, height, seen)


def _on_lateral_grid(
    y: NDArray[np.float64], fields: tuple[NDArray[np.float64], ...], lateral: NDArray[np.float64]
) -> list[NDArray[np.float64]]:
    """Each field of every section (height, cover) over an even grid of y; NaN beyond its ends."""
    laid = [np.full((len(y), len(lateral)), np.nan) for _ in fields]
    near = np.isfinite(y) & (np.abs(y) < 2.5 * lateral[-1])
    order = np.argsort(np.where(near, y, np.inf), axis=1)
    for row, known in enumerate(near.sum(axis=1)):
        if known > 3:  # noqa: PLR2004 - a curve
            chosen = order[row, :known]
            for values, field in zip(laid, fields, strict=True):
                values[row] = np.interp(
                    lateral, y[row, chosen], field[row, chosen], left=np.nan, right=np.nan
                )
    return laid


def _lookup(
    field: NDArray[np.float64], lateral: NDArray[np.float64], places: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Values of each row at its own places, linear."""
    step = lateral[1] - lateral[0]
    index = np.clip((places - lateral[0]) / step, 0.0, len(lateral) - 1.001)
    left = index.astype(int)
    part = index - left
    rows = np.arange(len(field))[:, None]
    return np.asarray(field[rows, left] * (1 - part) + field[rows, left + 1] * part)


def _bent(
    line: NDArray[np.float64],
    weight: NDArray[np.float64],
    pull: NDArray[np.float64],
    cell: float,
    *,
    settled: bool,
) -> NDArray[np.float64]:
    """One Gauss-Newton step of the spine line with its bending penalty."""
    count = len(line)
    middle = MIDDLE if settled else FREE_MIDDLE
    stiffness = (STIFFNESS if settled else FREE_STIFFNESS) * (0.01 / cell) ** 4 * (cell / 0.01)
    weight = (weight + middle) * (cell / 0.01)
    pull = pull + middle * line
    # Of the bending penalty: the square of second differences has the rows 1, -4, 6, -4, 1.
    bands = np.zeros((3, count))
    for first, second in ((0, 0), (1, 1), (2, 2), (0, 1), (1, 2), (0, 2)):
        part = _DIFFERENCE[first] * _DIFFERENCE[second]
        bands[first - second + 2, second : count - 2 + second] += stiffness * part
    bands[2] += weight
    right = weight * line - pull * (cell / 0.01)
    return np.asarray(solveh_banded(bands, right))


_DIFFERENCE = (1.0, -2.0, 1.0)
