"""A bar lengthwise, and from above, in true size."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.tree.bar import height
from fitsim.tree.outline import half_width
from fitsim.tree.plan import outline_rim, slot_rim
from fitsim.workshop.built import upper, wood
from fitsim.workshop.drawing import Drawing, Label, Line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fitsim.tree.bar import Bar
    from fitsim.workshop.built import Built

#: Points along a profile, and distance of the outline's points, m.
ALONG, FINE = 1601, 0.001


def profile(made: Built, stations: Sequence[float]) -> Drawing:
    """The bar cut along its middle line, front to the right.

    Parameters
    ----------
    made : the tree.
    stations : m, behind the front tip, marked.

    Returns
    -------
    Drawing
        The origin lies amid the bearing length, on the face.
    """
    bar = made.bar
    lines = [Line("CUT", piece, closed=True) for piece in _cut(bar)]
    low = float(min(line.points[:, 1].min() for line in lines)) - 0.006
    high = float(max(line.points[:, 1].max() for line in lines)) + 0.006
    lines.append(Line("LEVEL", np.array([[bar.rear, 0.0], [bar.front, 0.0]])))
    marks = [(bar.front - at, f"{at * 1e3:.0f}") for at in stations]
    for xi, _ in marks:
        lines.append(Line("STATION", np.array([[xi, low], [xi, high]])))
    labels = [Label((xi + 0.001, high - 0.003), text) for xi, text in marks]
    labels.append(Label((bar.rear + 0.01, 0.001), "line through the bar's own level"))
    title = "Lengthwise profile along the bar's middle line, front to the right"
    return Drawing("profile", title, tuple(lines), tuple(labels))


def plan(made: Built, stations: Sequence[float]) -> Drawing:
    """The left bar square to its face, seen from above, front to the right.

    Parameters
    ----------
    made : the tree.
    stations : m, behind the front tip, marked.

    Returns
    -------
    Drawing
        The right bar is its mirror image: turn the sheet over.
    """
    bar = made.bar
    lines = [Line("CUT", outline_rim(bar, FINE).points, closed=True)]
    lines += [Line("SLOT", slot_rim(slot, FINE / 2.0).points, closed=True) for slot in bar.slots]
    turn = np.linspace(0.0, 2.0 * np.pi, 181)[:-1]
    round_about = np.column_stack([np.cos(turn), np.sin(turn)])
    for pocket in bar.pockets:
        around = round_about * (pocket.length / 2.0, pocket.width / 2.0) + (pocket.xi, pocket.eta)
        lines.append(Line("POCKET", around, closed=True))
    lines.append(Line("MIDDLE", np.array([[bar.rear, 0.0], [bar.front, 0.0]])))
    labels = [
        Label((pocket.xi, pocket.eta), f"pocket {pocket.depth * 1e3:.1f} mm deep here")
        for pocket in bar.pockets
    ]
    for at in stations:
        xi = bar.front - at
        half = half_width(np.array([xi]), bar.rear, bar.front, bar.widths)[0]
        lines.append(Line("STATION", np.array([[xi, -half], [xi, half]])))
        labels.append(Label((xi + 0.001, -half + 0.012), f"{at * 1e3:.0f}"))
    labels.append(Label((-0.060, 0.0015), "middle line"))
    reach = half_width(np.zeros(1), bar.rear, bar.front, bar.widths)[0]
    labels.append(Label((0.030, reach - 0.014), "outer edge"))
    labels.append(Label((0.030, -reach + 0.006), "inner edge, beside the spine"))
    title = "Left bar from above, square to its face, front to the right (right bar: turn over)"
    return Drawing("plan", title, tuple(lines), tuple(labels))


def _cut(bar: Bar) -> list[NDArray[np.float64]]:
    """Closed outlines of the bar along its middle line, a piece between slots each, (n, 2) m."""
    even = np.linspace(-1.0, 1.0, ALONG)
    # Closer together at the tips.
    xi = (bar.front + bar.rear) / 2.0 + bar.length / 2.0 * np.sin(even * np.pi / 2.0)
    edges = [bar.rear]
    for slot in bar.slots:
        edges += _through(bar, slot.xi, slot.length)
    edges = sorted([*edges, bar.front])
    pieces = []
    for low, high in zip(edges[::2], edges[1::2], strict=True):
        along = np.concatenate([[low], xi[(xi > low) & (xi < high)], [high]])
        middle = np.zeros_like(along)
        under = np.column_stack([along, height(bar, along, middle)])
        over = np.column_stack([along, upper(bar, along, middle)])
        pieces.append(np.concatenate([under, over[::-1]]))
    return pieces


def _through(bar: Bar, xi: float, length: float) -> list[float]:
    """Where the middle line enters and leaves a slot, m; empty where it passes beside it."""
    from scipy.optimize import brentq

    def inside(at: float) -> float:
        return float(wood(bar, np.array([at]), np.zeros(1))[0])

    if inside(xi) >= 0.0:
        return []
    reach = length / 2.0 + 0.001
    return [
        float(brentq(inside, xi - reach, xi, xtol=1e-7)),
        float(brentq(inside, xi, xi + reach, xtol=1e-7)),
    ]
