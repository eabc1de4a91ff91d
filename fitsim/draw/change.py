"""What changed between two scans: gain and loss in mm on a map of the back, noise left grey."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from fitsim.back.change import SMALLEST
from fitsim.draw.flat_map import INK, coloured, flat_map, png_of

if TYPE_CHECKING:
    from fitsim.back.back import Back
    from fitsim.back.change import Change
    from fitsim.units import System

_HEIGHT = 6.2  # inches
_NOISE, _UNSEEN = "#dcd8d2", "#ffffff"


def draw_change(before: Back, found: Change, system: System = "metric") -> bytes:
    """Draw a change map on the earlier back, seen from above and laid flat.

    Parameters
    ----------
    before : the earlier back.
    found : what changed.
    system : {"metric", "inch"}

    Returns
    -------
    bytes
        Of a PNG.
    """
    from matplotlib.patches import Patch as Swatch

    unit, per_m = ("mm", 1e3) if system == "metric" else ("inch", 1 / 0.0254)
    chart, change = before.chart, found.height * per_m
    floor = found.floor * per_m
    seen = np.isfinite(change)
    most = max(2.0 * floor, float(np.quantile(np.abs(change[seen]), 0.995)))
    figure, axes = flat_map(_HEIGHT)
    axes.set_facecolor(_UNSEEN)
    quiet = np.where(seen, 0.0, np.nan)
    axes.contourf(chart.x, chart.t, quiet.T, levels=[-1.0, 1.0], colors=[_NOISE])
    parts, count = ndimage.label(seen & (np.abs(change) > floor))
    size = ndimage.sum_labels(chart.area, parts, np.arange(count + 1))
    loud = np.where((parts > 0) & (size >= SMALLEST)[parts], change, np.nan)
    label = f"{unit}, purple: gained, orange: lost"
    coloured(figure, axes, before, loud, most, colours="PuOr", label=label)
    for patch in found.patches[:6]:
        axes.annotate(
            f"{patch.most * per_m:+.{1 if unit == 'mm' else 2}f} {unit}",
            (patch.x, patch.t), ha="center", va="center", fontsize=11, fontweight="bold",
            bbox={"boxstyle": "round,pad=0.2", "facecolor": "white", "edgecolor": INK, "lw": 0.6},
        )  # fmt: skip
    noise = f"less than {floor:.1f} mm: not told from noise"
    if system == "inch":
        noise = f"less than {floor:.2f} in: not told from noise"
    axes.legend(
        handles=[Swatch(facecolor=_NOISE, edgecolor=INK, label=noise)],
        loc="upper center", bbox_to_anchor=(0.5, -0.04), frameon=False, fontsize=10,
    )  # fmt: skip
    return png_of(figure)
