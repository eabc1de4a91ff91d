"""The plane an animal's left and right mirror each other in, wherever the scan lies in space."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import minimize
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from numpy.typing import NDArray

KEPT = 0.7
"""Share of the points that must match: a turned head and a resting leg may not."""

LONGEST_TILT = 0.6
"""The plane's normal may lean by this cosine at most towards the scan's longest direction."""

STARTS = 3

REACH = 0.2
"""Over the scan's longest standard deviation: where mirror images are first looked for."""

LEVEL_TILT, LEVEL_DENSER = 0.10, 3
"""How far (cosine) the plane may lean where up is known, and how much denser it is looked for."""


def mirror_plane(
    points: NDArray[np.float64], level: NDArray[np.float64] | None = None
) -> tuple[NDArray[np.float64], float, float]:
    """The plane in which the points mirror best.

    Directions over the half sphere are scored by the mean distance between the mirrored points
    and the points (the best 70 % of them), and the best few are refined.

    Parameters
    ----------
    points : (n, 3) array, any unit; evenly spread over the surface.
    level : (3,) array, unit, or None
        Up, or the way to a wall: the plane is looked for among those that contain it.

    Returns
    -------
    normal : (3,) array, unit.
    offset : float
        Points on the plane have ``normal @ p == offset``.
    misfit : float
        Mean distance of the matched points over the scan's longest standard deviation.

    Notes
    -----
    The longest direction of an animal or of its trunk lies in the plane, so normals near it
    are left out: the front half of a barrel mirrors its rear half nearly as well as the left
    its right.
    """
    centre = points.mean(axis=0)
    local = points - centre
    spread, axes = np.linalg.eigh(np.cov(local.T))
    size = float(np.sqrt(spread[-1]))
    tree = cKDTree(local)
    few = local[:: max(1, len(local) // 400)]

    def score(parameters: NDArray[np.float64], frame: NDArray[np.float64]) -> float:
        normal = frame @ np.array([1.0, parameters[0], parameters[1]])
        normal /= np.linalg.norm(normal)
        mirrored = few - 2.0 * np.outer(few @ normal - parameters[2] * size, normal)
        return _matched(mirrored, tree, REACH * size) / size

    normals = _half_sphere(160) @ axes.T
    normals = normals[np.abs(normals @ axes[:, -1]) < LONGEST_TILT]
    if level is not None:
        normals = _half_sphere(160 * LEVEL_DENSER) @ axes.T
        normals = normals[np.abs(normals @ level) < LEVEL_TILT]
        normals = normals[np.abs(normals @ axes[:, -1]) < LONGEST_TILT]
        if not len(normals):
            return mirror_plane(points)
    near = _most_like(few, normals, tree, size)
    frames = [_completed(normal) for normal in normals[near]]
    best = [
        minimize(
            score, np.zeros(3), args=(frame,), method="Nelder-Mead",
            options={"initial_simplex": _simplex(0.12), "xatol": 2e-3, "fatol": 1e-5,
                     "maxfev": 150},
        )
        for frame in frames
    ]  # fmt: skip
    winner = min(range(len(best)), key=lambda k: float(best[k].fun))
    normal = frames[winner] @ np.array([1.0, *best[winner].x[:2]])
    normal /= np.linalg.norm(normal)
    offset = float(normal @ centre + best[winner].x[2] * size)
    return normal, offset, float(best[winner].fun)


def _matched(mirrored: NDArray[np.float64], tree: cKDTree, reach: float) -> float:
    """Mean distance of the mirror images that lie nearest the points; the rest may lie anywhere."""
    count = int(KEPT * len(mirrored))
    while True:
        far = np.asarray(tree.query(mirrored, distance_upper_bound=reach)[0])
        near = np.partition(far, count)[:count]
        if np.isfinite(near).all():
            return float(near.mean())
        reach *= 2.0


def _most_like(
    few: NDArray[np.float64], normals: NDArray[np.float64], tree: cKDTree, size: float
) -> NDArray[np.intp]:
    """The few normals in whose planes through the middle the points mirror best, best first.

    How far off the worst mirror images lie need not be known: within a reach that holds all of
    the matched points of the best few, the others only count as lying beyond it.
    """
    mirrored = few - 2.0 * (normals @ few.T)[:, :, None] * normals[:, None, :]
    count, reach = int(KEPT * len(few)), REACH * size
    while True:
        far = np.asarray(tree.query(mirrored, distance_upper_bound=reach)[0])
        far = np.sort(np.minimum(far, reach), axis=1)[:, :count]
        best = np.argsort(far.mean(axis=1))[:STARTS]
        if (far[best, -1] < reach).all():
            return best
        reach *= 2.0


def _half_sphere(count: int) -> NDArray[np.float64]:
    """Directions spread over a half sphere (Fibonacci lattice), (count, 3)."""
    k = np.arange(count) + 0.5
    height = k / count
    angle = np.pi * (1.0 + np.sqrt(5.0)) * k
    flat = np.sqrt(1.0 - height**2)
    return np.column_stack([flat * np.cos(angle), flat * np.sin(angle), height])


def _completed(normal: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rotation whose first column is `normal`."""
    other = np.eye(3)[np.argmin(np.abs(normal))]
    second = np.cross(normal, other)
    second /= np.linalg.norm(second)
    return np.column_stack([normal, second, np.cross(normal, second)])


def _simplex(width: float) -> NDArray[np.float64]:
    """Start simplex of the refinement, (4, 3)."""
    return np.vstack([np.zeros(3), width * np.eye(3)]) - width / 4.0
