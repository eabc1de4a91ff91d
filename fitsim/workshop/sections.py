"""Cross-sections of a tree square to its length, seen from behind, in true size."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fitsim.tree.bar import height
from fitsim.tree.outline import half_width
from fitsim.tree.placed import placed
from fitsim.workshop.built import upper, wood
from fitsim.workshop.drawing import Drawing, Label, Line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fitsim.tree.bar import Bar
    from fitsim.workshop.built import Built

    Array = NDArray[np.float64]

#: Points across a section.
ACROSS = 401

#: How far the level and middle lines run beyond what they pass, m.
BEYOND = 0.012


def usual_stations(made: Built) -> tuple[float, ...]:
    """Where sections are usually taken: both arches, amid them, and where the flares start.

    Parameters
    ----------
    made : the tree.

    Returns
    -------
    Tuple of float, m, behind the front tip, ascending, no two within 15 mm.
    """
    arches, bar = made.settings.arches, made.bar
    front, rear = arches.front.at, arches.rear.at
    starts = (bar.front_flare.length, bar.length - bar.rear_flare.length)
    wanted = [front, rear, (front + rear) / 2.0, *starts]
    kept: list[float] = []
    for at in wanted:
        if all(abs(at - other) > 0.015 for other in kept):  # noqa: PLR2004 - as said above
            kept.append(at)
    return tuple(sorted(kept))


def cross_section(made: Built, behind_front: float) -> Drawing:
    """Both bars cut square to the tree's length, where the inner edge has a station.

    Parameters
    ----------
    made : the tree.
    behind_front : m, along the bar from its front tip.

    Returns
    -------
    Drawing
        The tree's left to the left; up is up; the origin lies on the middle line, level with the
        inner edges of the faces.
    """
    bar, T = made.bar, made.T_tree_left
    xi = np.array([bar.front - behind_front])
    eta = -half_width(xi, bar.rear, bar.front, bar.widths)
    corner = placed(T, np.column_stack([xi, eta, height(bar, xi, eta)]))[0]
    lines: list[Line] = []
    for piece in _pieces(bar, T, corner[0]):
        left = np.column_stack([-piece[:, 1], piece[:, 2] - corner[2]])
        lines += [Line("CUT", left, closed=True), Line("CUT", left * (-1.0, 1.0), closed=True)]
    points = np.concatenate([line.points for line in lines])
    low, high = points.min(axis=0) - BEYOND, points.max(axis=0) + BEYOND
    angle, face = _face(_whole(bar), T, corner, low[0])
    lines += [
        Line("MIDDLE", np.array([[0.0, low[1]], [0.0, high[1]]])),
        Line("LEVEL", np.array([[low[0], 0.0], [high[0], 0.0]])),
        Line("FACE", face),
    ]
    mm = f"{behind_front * 1e3:.0f} mm"
    labels = (
        Label((0.002, high[1] - 0.004), "middle: the spine"),
        Label((low[0], 0.0015), "level"),
        Label((low[0], low[1] + 0.002), f"face {np.degrees(angle):.1f} deg from level"),
        Label(
            (0.004, low[1] + 0.002),
            f"inner edge {corner[1] * 1e3:.1f} mm from the middle",
        ),
    )
    title = f"Cross-section {mm} behind the front tip, seen from behind"
    return Drawing(f"section-{round(behind_front * 1e3)}", title, tuple(lines), labels)


def face_angle(made: Built, behind_front: float) -> float:
    """Angle of the face from level at the middle of the bar's width, square to the tree, rad.

    Parameters
    ----------
    made : the tree.
    behind_front : m, along the bar from its front tip.

    Returns
    -------
    float
    """
    bar, T = _whole(made.bar), made.T_tree_left
    xi = np.array([bar.front - behind_front])
    x = placed(T, np.column_stack([xi, np.zeros(1), height(bar, xi, np.zeros(1))]))[0, 0]
    return _angle(bar, T, x)


def _whole(bar: Bar) -> Bar:
    """The bar without what is taken out of it: its face has an angle there too."""
    return replace(bar, pockets=(), slots=())


def _angle(bar: Bar, T: Array, x: float) -> float:
    eta = np.array([-5e-4, 5e-4])
    points = placed(T, _on_plane(bar, T, x, eta))
    across, up = points[1, 1:] - points[0, 1:]
    return float(np.arctan2(-up, across))


def _face(bar: Bar, T: Array, corner: Array, left: float) -> tuple[float, Array]:
    """Angle of the left face at its middle, and a line along it out to the left."""
    angle = _angle(bar, T, corner[0])
    middle = placed(T, _on_plane(bar, T, corner[0], np.zeros(1)))[0]
    start = np.array([-middle[1], middle[2] - corner[2]])
    reach = left - start[0]
    return angle, np.array([start, start + np.array([reach, np.tan(angle) * reach])])


def _pieces(bar: Bar, T: Array, x: float) -> list[Array]:
    """Closed outlines of the left bar cut at a place, (n, 3) m, tree frame."""
    reach = max(bar.widths) / 2.0 + 0.004
    eta = np.linspace(-reach, reach, ACROSS)
    inside = _wood(bar, T, x, eta)
    ends = np.flatnonzero(np.diff(np.sign(inside)) != 0)
    edges = _edges(bar, T, x, eta[ends], eta[ends + 1])
    pieces = []
    for low, high in zip(edges[::2], edges[1::2], strict=True):
        # Closer together at both edges, where the face rolls away.
        across = low + (high - low) * (1.0 - np.cos(np.linspace(0.0, np.pi, ACROSS))) / 2.0
        under = _on_plane(bar, T, x, across)
        over = under.copy()
        for _ in range(4):
            over[:, 2] = upper(bar, over[:, 0], over[:, 1])
            over[:, 0] += (x - placed(T, over)[:, 0]) / T[0, 0]
        pieces.append(placed(T, np.concatenate([under, over[::-1]])))
    return pieces


def _wood(bar: Bar, T: Array, x: float, eta: Array) -> Array:
    place = _on_plane(bar, T, x, eta)
    return wood(bar, place[:, 0], eta)


def _edges(bar: Bar, T: Array, x: float, low: Array, high: Array) -> Array:
    """Places across at which the wood ends, each between two that differ, m."""
    share = np.linspace(0.0, 1.0, 65)
    eta = low[:, None] + (high - low)[:, None] * share
    inside = _wood(bar, T, x, eta.ravel()).reshape(eta.shape)
    found = []
    for place, value in zip(eta, inside, strict=True):
        order = slice(None) if value[-1] > value[0] else slice(None, None, -1)
        found.append(np.interp(0.0, value[order], place[order]))
    return np.array(found)


def _on_plane(bar: Bar, T: Array, x: float, eta: Array) -> Array:
    """Points of the underside in the plane square to the tree's length at x, bar frame (n, 3)."""
    xi = np.full_like(eta, (x - T[0, 3]) / T[0, 0])
    # Bars stand nearly lengthwise: what the height adds to x shrinks a hundredfold each time.
    for _ in range(4):
        xi = (x - T[0, 1] * eta - T[0, 2] * height(bar, xi, eta) - T[0, 3]) / T[0, 0]
    return np.column_stack([xi, eta, height(bar, xi, eta)])


def cross_sections(made: Built, stations: Sequence[float]) -> list[Drawing]:
    """One `cross_section` for each station, m behind the front tip."""
    return [cross_section(made, at) for at in stations]
