"""Closed surfaces: a bar as it is made, and what is swept through rings of points."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.tree.bar import face_height, height, inside_outline, roll_rise
from fitsim.tree.openings import beside_slot
from fitsim.tree.plan import plan_of, top_round

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.tree.bar import Bar

    Surface = tuple[NDArray[np.float64], NDArray[np.int32]]

#: Spacing of a drawn bar's points, m, and rings over each of its roundings.
DRAWN, RINGS = 0.008, 5


def bar_solid(bar: Bar, spacing: float = DRAWN, rings: int = RINGS) -> Surface:
    """Left bar as a closed surface in its own frame.

    Parameters
    ----------
    bar : its measures.
    spacing : m, between points.
    rings : over each rounded edge.

    Returns
    -------
    vertices : (n, 3) array, m.
    triangles : (m, 3) int array, outward.

    Notes
    -----
    One plan, cut into triangles, carries both faces, and a wall joins them along every edge. The
    upper face lies above the lower one everywhere, so that the surface cannot cut itself.
    """
    plan = plan_of(bar, spacing, rings)
    xi, eta = plan.points.T
    below = height(bar, xi, eta)
    above = face_height(bar, xi, eta) + bar.thickness
    above -= roll_rise(inside_outline(bar, xi, eta), top_round(bar))
    for slot in bar.slots:
        above -= roll_rise(beside_slot(slot, xi, eta), bar.edge_roll)
    count = len(xi)
    triangles = [plan.triangles[:, ::-1], plan.triangles + count]
    for rim in plan.rims:
        ahead = np.roll(rim, -1)
        triangles.append(np.column_stack([rim, ahead, ahead + count]))
        triangles.append(np.column_stack([rim, ahead + count, rim + count]))
    vertices = np.column_stack([np.tile(plan.points, (2, 1)), np.concatenate([below, above])])
    return vertices, np.concatenate(triangles).astype(np.int32)


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
