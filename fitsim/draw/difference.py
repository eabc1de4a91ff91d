"""Where one tree presses more than another: a map of the back, seen from above and laid flat."""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw.quantity import shown
from fitsim.draw.words import zone_words
from fitsim.measure.pressure import on_grid

if TYPE_CHECKING:
    from fitsim.draw.quantity import System
    from fitsim.study.fit import FitSet

_SIZE, _DOTS = (11.0, 4.6), 130  # inches, per inch
_MARGIN = 0.04  # m about all that is pressed
_NAMED = ("scapula", "fat_pocket", "spine")


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
    from matplotlib.figure import Figure

    chart, how = first.back.chart, shown("pressure", system)
    pressure = [on_grid(chart, one.fits[case].equilibrium.pressure) for one in (first, second)]
    change = (pressure[0] - pressure[1]) * how.per_si
    most = float(np.quantile(np.abs(change[change != 0.0]), 0.98)) if change.any() else 1.0
    figure = Figure(figsize=_SIZE, dpi=_DOTS, layout="constrained")
    axes = figure.add_subplot()
    shape = np.where(chart.valid, change, np.nan)
    # forward to the right, the animal's left up
    mesh = axes.pcolormesh(
        chart.x, chart.t, shape.T, cmap="PuOr_r", vmin=-most, vmax=most, shading="nearest"
    )
    for zone in first.back.zones:
        kind = zone.name.removesuffix("_left").removesuffix("_right")
        if kind in _NAMED:
            ring = np.vstack([zone.outline, zone.outline[:1]])
            axes.plot(ring[:, 0], ring[:, 1], color="#26221e", linewidth=1.1)
            if kind != "spine":
                middle = zone.outline.mean(axis=0)
                axes.annotate(zone_words(kind), (middle[0], middle[1]), ha="center", fontsize=9)
    pressed = np.argwhere((pressure[0] > 0.0) | (pressure[1] > 0.0))
    if len(pressed):
        low, high = pressed.min(axis=0), pressed.max(axis=0)
        axes.set_xlim(chart.x[low[0]] - _MARGIN, chart.x[high[0]] + _MARGIN)
        axes.set_ylim(chart.t[low[1]] - _MARGIN, chart.t[high[1]] + _MARGIN)
    axes.set_aspect("equal")
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_xlabel("rear                                        front", fontsize=11)
    axes.set_ylabel("right          left", fontsize=11)
    bar = figure.colorbar(mesh, ax=axes, shrink=0.9)
    bar.set_label(
        f"{how.unit}\norange: {first.tree.name} presses more\npurple: {second.tree.name} does",
        fontsize=10,
    )
    page = BytesIO()
    figure.savefig(page, format="png", metadata={"Software": None})
    return page.getvalue()
