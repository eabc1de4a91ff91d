"""Closed surfaces: a bar as it is made, and what is swept through rings of points."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.tree.bar import face_height, height, roll_rise
from fitsim.tree.openings import beside_slot
from fitsim.tree.plan import plan_of, top_round

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.tree.bar import Bar
    from fitsim.tree.tree import Surface, Underside

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
    below = height(bar, xi, eta, plan.inside)
    above = _upper_height(bar, xi, eta, plan.inside)
    count = len(xi)
    triangles = [plan.triangles[:, ::-1], plan.triangles + count]
    for rim in plan.rims:
        ahead = np.roll(rim, -1)
        triangles.append(np.column_stack([rim, ahead, ahead + count]))
        triangles.append(np.column_stack([rim, ahead + count, rim + count]))
    vertices = np.column_stack([np.tile(plan.points, (2, 1)), np.concatenate([below, above])])
    return vertices, np.concatenate(triangles).astype(np.int32)


def bar_volume(bar: Bar, face: Underside) -> tuple[float, NDArray[np.float64]]:
    """Volume of a bar and its centroid, added up over the grid of its underside.

    Parameters
    ----------
    bar : its measures.
    face : its underside.

    Returns
    -------
    volume : m3.
    centroid : (3,) array, m, bar frame.

    Notes
    -----
    A cell that the outline crosses counts by how far it lies inside. On a grid of 5 mm this is
    within 0.1 mm of the closed surface's centroid, and takes a tenth of the time.
    """
    xi, eta = np.meshgrid(face.xi, face.eta, indexing="ij")
    spacing = face.xi[1] - face.xi[0]
    covered = np.clip(face.inside / spacing + 0.5, 0.0, 1.0)
    above = _upper_height(bar, xi, eta, face.inside)
    part = covered * (above - face.height)
    middle = np.stack([xi, eta, (above + face.height) / 2.0])
    centroid = np.einsum("kij,ij->k", middle, part) / part.sum()
    return float(part.sum() * spacing**2), centroid


def _upper_height(
    bar: Bar, xi: NDArray[np.float64], eta: NDArray[np.float64], inside: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Height of the upper face, m, given how far inside the outline each point lies."""
    above = face_height(bar, xi, eta) + bar.thickness - roll_rise(inside, top_round(bar))
    for slot in bar.slots:
        above = above - roll_rise(beside_slot(slot, xi, eta), bar.edge_roll)
    return above


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
