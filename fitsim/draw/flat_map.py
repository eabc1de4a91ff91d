"""A map of the back laid flat, front to the right and the animal's left on top, with its zones."""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.marks import chart_places
from fitsim.back.noted import noted_kind
from fitsim.back.tissue import zone_kind
from fitsim.draw.words import zone_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from fitsim.back.back import Back

INK = "#26221e"
_DOTS = 130  # per inch
_RING = 3  # places that enclose an area
_NAMED = ("scapula", "fat_pocket", "spine")


def flat_map(height: float) -> tuple[Figure, Axes]:
    """Return an empty map.

    Parameters
    ----------
    height : inches.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11.0, height), dpi=_DOTS, layout="constrained")
    return figure, figure.add_subplot()


def coloured(
    figure: Figure,
    axes: Axes,
    back: Back,
    values: NDArray[np.float64],
    most: float,
    *,
    colours: str,
    label: str,
) -> None:
    """Colour the map, outline the zones that matter, and put the key beside it.

    Parameters
    ----------
    figure, axes : from `flat_map`.
    back : whose chart and zones are drawn.
    values : (nx, nt) array, nan where there is no colour.
    most : either end of the scale, about 0.
    colours : name of a diverging colour map.
    label : of the key.
    """
    chart = back.chart
    mesh = axes.pcolormesh(
        chart.x, chart.t, values.T, cmap=colours, vmin=-most, vmax=most, shading="nearest"
    )
    for zone in back.zones:
        kind = zone_kind(zone.name)
        if kind not in _NAMED:
            continue
        ring = np.vstack([zone.outline, zone.outline[:1]])
        axes.plot(ring[:, 0], ring[:, 1], color=INK, linewidth=1.1)
        if kind != "spine":
            x, t = zone.outline.mean(axis=0)
            axes.annotate(zone_words(kind), (x, t), ha="center", fontsize=9)
    _draw_noted(axes, back)
    axes.set_aspect("equal")
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_xlabel("rear                                        front", fontsize=11)
    axes.set_ylabel("right          left", fontsize=11)
    figure.colorbar(mesh, ax=axes, shrink=0.9).set_label(label, fontsize=10)


def _draw_noted(axes: Axes, back: Back) -> None:
    """Draw what was seen or felt on the animal: a cross for a place, a dashed ring for an area."""
    chart = back.chart
    for name, mark in back.marks.items():
        kind = noted_kind(name)
        inside = (mark.points[:, 0] >= chart.x[0]) & (mark.points[:, 0] <= chart.x[-1])
        if not kind or not inside.all():
            continue  # a hip may lie behind the map
        places = chart_places(chart, mark.points)
        ring = np.vstack([places, places[:1]])
        area = len(places) >= _RING
        axes.plot(
            ring[:, 0], ring[:, 1], color=INK, linewidth=1.4, gid=name,
            linestyle="--" if area else "", marker="" if area else "x",
        )  # fmt: skip
        axes.annotate(
            kind.replace("_", " "), (places[:, 0].mean(), places[:, 1].max()),
            xytext=(0, 4), textcoords="offset points", ha="center", fontsize=9,
        )  # fmt: skip


def png_of(figure: Figure) -> bytes:
    """Return a figure as a PNG that is the same bytes each time."""
    page = BytesIO()
    figure.savefig(page, format="png", metadata={"Software": None})
    return page.getvalue()
