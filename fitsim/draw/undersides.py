"""Two trees' undersides against each other, as a map in millimetres."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw.flat_map import png_of
from fitsim.draw.quantity import shown

if TYPE_CHECKING:
    from fitsim.draw.quantity import System
    from fitsim.tree.against import Against

_SIZE, _DOTS = (11.0, 6.4), 150  # inches, per inch


def undersides(found: Against, system: System = "metric") -> bytes:
    """Draw where the other tree's undersides are nearer to the back, and where farther.

    Parameters
    ----------
    found : Against
    system : {"metric", "inch"}

    Returns
    -------
    bytes
        Of a PNG. Both bars from above, front to the right, the animal's left on top.
    """
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator

    how = shown("length", system)
    figure = Figure(figsize=_SIZE, dpi=_DOTS, layout="constrained")
    axes = figure.add_subplot()
    known = np.concatenate([one[np.isfinite(one)] for one in found.lower])
    # Rolled edges stand out by far more than faces differ: they would leave the rest pale.
    top = max(float(np.quantile(np.abs(known), 0.98)), 0.5e-3) * how.per_si
    levels = MaxNLocator(16, symmetric=True).tick_values(-top, top)
    drawn = None
    for bar, lower in zip(found.tree.bars, found.lower, strict=True):
        face = bar.underside
        xi, eta = np.meshgrid(face.xi, face.eta, indexing="ij")
        T = bar.T_tree_bar
        x, y = ((T[k, 0] * xi + T[k, 1] * eta + T[k, 3]) * how.per_si for k in range(2))
        values = np.ma.masked_invalid(lower * how.per_si)
        drawn = axes.contourf(x, y, values, levels, cmap="PuOr", extend="both")
        lines = axes.contour(x, y, values, levels[::2], colors="#262220", linewidths=0.7)
        axes.clabel(lines, fmt="%g", fontsize=11)
        axes.contour(x, y, face.inside, [0.0], colors="#262220", linewidths=1.2)
    axes.axhline(0.0, color="#626059", linewidth=0.8, linestyle="-.")
    axes.annotate("spine", (0.0, 0.0), (4, 4), textcoords="offset points", fontsize=12)
    axes.set_aspect("equal")
    axes.set_xlabel(f"forward of the front end of bearing ({how.unit})", fontsize=12)
    axes.set_ylabel(f"to the animal's left ({how.unit})", fontsize=12)
    axes.tick_params(labelsize=11)
    rms = found.rms * how.per_si
    axes.set_title(
        f"{found.other.name} laid on {found.tree.name}\n"
        f"apart by {rms:.2f} {how.unit} (root mean square, without edges), "
        f"turned {abs(np.degrees(found.pitch)):.1f} deg "
        f"{'front down' if found.pitch > 0 else 'rear down'}",
        loc="left",
        fontsize=13,
    )
    assert drawn is not None  # noqa: S101 - a tree has bars
    bar_of_colours = figure.colorbar(drawn, ax=axes, shrink=0.75)
    bar_of_colours.ax.tick_params(labelsize=11)
    bar_of_colours.set_label(
        f"the one laid on: nearer to the back (+), farther (-), {how.unit}", fontsize=11
    )
    return png_of(figure)
