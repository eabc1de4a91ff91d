"""Closed surfaces swept through rings of points: bars as made, and arches, for drawing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.tree.bar import face_height, inside_outline, roll_rise
from fitsim.tree.outline import half_width

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.tree.bar import Bar

    Surface = tuple[NDArray[np.float64], NDArray[np.int32]]

#: Points across the underside and the top of a bar, and stations along one rounded tip.
ACROSS, TIP = 29, 14

#: Spacing of stations between the tips, m.
ALONG = 0.008

#: Share of the thickness over which a bar's top edge is rounded.
TOP_ROUND = 0.45


def bar_solid(bar: Bar) -> Surface:
    """Left bar as a closed surface in its own frame.

    Parameters
    ----------
    bar : its measures.

    Returns
    -------
    vertices : (n, 3) array, m.
    triangles : (m, 3) int array, outward.
    """
    xi = _stations(bar)
    edge = _rounded_half_width(bar, xi)
    across = np.sin(np.linspace(-np.pi / 2.0, np.pi / 2.0, ACROSS))
    along, eta = np.broadcast_arrays(xi[:, None], edge[:, None] * across)
    inside = np.maximum(inside_outline(bar, along, eta), 0.0)
    face = face_height(bar, along, eta)
    lower = face + roll_rise(inside, bar.edge_roll)
    upper = face + bar.thickness - roll_rise(inside, TOP_ROUND * bar.thickness)
    below = np.stack([along, eta, lower], axis=-1)
    above = np.stack([along, eta, upper], axis=-1)[:, ::-1]
    return swept(np.concatenate([below, above], axis=1))


def swept(rings: NDArray[np.float64]) -> Surface:
    """Closed surface through rings of points, both ends capped.

    Parameters
    ----------
    rings : (k, n, 3) array, m; n points round each ring, not repeated.

    Returns
    -------
    vertices : (k*n + 2, 3) array, m.
    triangles : (m, 3) int array.
    """
    count, around = rings.shape[:2]
    vertices = np.concatenate(
        [rings.reshape(-1, 3), rings[:1].mean(axis=1), rings[-1:].mean(axis=1)]
    )
    index = np.arange(count * around).reshape(count, around)
    turned = np.roll(index, -1, axis=1)
    a, b = index[:-1].ravel(), turned[:-1].ravel()
    c, d = turned[1:].ravel(), index[1:].ravel()
    first, last = count * around, count * around + 1
    caps = [
        np.column_stack([np.full(around, first), turned[0], index[0]]),
        np.column_stack([np.full(around, last), index[-1], turned[-1]]),
    ]
    sides = [np.column_stack([a, b, c]), np.column_stack([a, c, d])]
    return vertices, np.concatenate(sides + caps).astype(np.int32)


def mirrored_surface(surface: Surface) -> Surface:
    """Mirror image in y, still outward.

    Parameters
    ----------
    surface : vertices (m) and triangles.

    Returns
    -------
    vertices, triangles
    """
    vertices, triangles = surface
    return vertices * (1.0, -1.0, 1.0), triangles[:, ::-1]


def joined(surfaces: list[Surface]) -> Surface:
    """Put several surfaces into one pair of arrays.

    Parameters
    ----------
    surfaces : each vertices (m) and triangles.

    Returns
    -------
    vertices, triangles
    """
    starts = np.cumsum([0] + [len(vertices) for vertices, _ in surfaces[:-1]])
    vertices = np.concatenate([vertices for vertices, _ in surfaces])
    triangles = [t + start for (_, t), start in zip(surfaces, starts, strict=True)]
    return vertices, np.concatenate(triangles).astype(np.int32)


def volume_and_centroid(surface: Surface) -> tuple[float, NDArray[np.float64]]:
    """Volume inside a closed surface and its centroid, by the divergence theorem.

    Parameters
    ----------
    surface : vertices (m) and outward triangles.

    Returns
    -------
    volume : m3.
    centroid : (3,) array, m.
    """
    corners = surface[0][surface[1]]
    parts = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6.0
    volume = float(parts.sum())
    return volume, (corners.sum(axis=1) / 4.0 * parts[:, None]).sum(axis=0) / volume


def _stations(bar: Bar) -> NDArray[np.float64]:
    """Places along the bar, close together where the tips are rounded."""
    tip = bar.corner * (1.0 - np.sin(np.linspace(0.0, np.pi / 2.0, TIP)))
    rear, front = bar.rear + bar.corner, bar.front - bar.corner
    count = int(np.ceil((front - rear) / ALONG - 1e-9)) + 1
    between = np.linspace(rear, front, count)[1:-1]
    return np.concatenate([bar.rear + tip[::-1], between, bar.front - tip])


def _rounded_half_width(bar: Bar, xi: NDArray[np.float64]) -> NDArray[np.float64]:
    """Half the width along the bar with the outline's corners rounded off."""
    core_rear, core_front = bar.rear + bar.corner, bar.front - bar.corner
    core = half_width(np.clip(xi, core_rear, core_front), bar.rear, bar.front, bar.widths)
    beyond = np.maximum(np.maximum(core_rear - xi, xi - core_front), 0.0)
    return core - bar.corner + np.sqrt(np.maximum(bar.corner**2 - beyond**2, 0.0))
