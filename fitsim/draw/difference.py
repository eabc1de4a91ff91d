"""Where one tree presses more than another: a map of the back, seen from above and laid flat."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw.flat_map import coloured, flat_map, png_of
from fitsim.draw.quantity import shown
from fitsim.measure.pressure import on_grid

if TYPE_CHECKING:
    from fitsim.draw.quantity import System
    from fitsim.study.fit import FitSet

_HEIGHT = 4.6  # inches
_MARGIN = 0.04  # m about all that is pressed


def difference(first: FitSet, second: FitSet, case: str, system: System = "metric") -> bytes:
    """Draw the pressure under the first tree less that under the second.

    Parameters
    ----------
    first, second : two trees on one back, the case solved for both.
    case : name.
    system : {"metric", "inch"}

    Returns
    -------
    bytes
        Of a PNG.
    """
    chart, how = first.back.chart, shown("pressure", system)
    pressure = [on_grid(chart, one.fits[case].equilibrium.pressure) for one in (first, second)]
    change = (pressure[0] - pressure[1]) * how.per_si
    most = float(np.quantile(np.abs(change[change != 0.0]), 0.98)) if change.any() else 1.0
    figure, axes = flat_map(_HEIGHT)
    label = f"{how.unit}\norange: {first.tree.name} presses more\npurple: {second.tree.name} does"
    shape = np.where(chart.valid, change, np.nan)
    coloured(figure, axes, first.back, shape, most, colours="PuOr_r", label=label)
    pressed = np.argwhere((pressure[0] > 0.0) | (pressure[1] > 0.0))
    if len(pressed):
        low, high = pressed.min(axis=0), pressed.max(axis=0)
        axes.set_xlim(chart.x[low[0]] - _MARGIN, chart.x[high[0]] + _MARGIN)
        axes.set_ylim(chart.t[low[1]] - _MARGIN, chart.t[high[1]] + _MARGIN)
    return png_of(figure)
