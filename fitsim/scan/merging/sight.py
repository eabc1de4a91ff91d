"""What a camera saw in each direction, and what can therefore not lie in its way.

A surface that would lie between another view's camera and what that camera saw is placed wrong,
however well it fits there: the camera would have seen it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.ndimage import minimum_filter
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from numpy.typing import NDArray

IN_THE_WAY: Final = 0.025
"""m: so far in front of what was seen is not noise, nor the animal's breath."""

_MOST_PIXELS: Final = 700  # across
_WIDEST: Final = 1.5  # tangent of the angle off the axis up to which directions are kept
_PIXELS_PER_POINT: Final = 2.0  # spacings of points to a pixel: no pixel on a surface stays empty

_RIM: Final = 5  # pixels


@dataclass(frozen=True, eq=False)
class Sight:
    """The nearest distance seen, by direction.

    Attributes
    ----------
    camera : (3,) array, m.
    axes : (3, 3) array, rows right, down and forward.
    pixel : float, tangent of the angle that one pixel spans.
    nearest : (k, k) array, m, distance to the nearest thing in or beside a pixel; inf where
        something beside it was not seen, which tells nothing.
    """

    camera: NDArray[np.float64]
    axes: NDArray[np.float64]
    pixel: float
    nearest: NDArray[np.float64]


def sight_of(
    seen: NDArray[np.float64], camera: NDArray[np.float64], points: NDArray[np.float64]
) -> Sight:
    """Draw what a camera saw.

    Parameters
    ----------
    seen : (n, 3) array, m
        Everything it saw.
    camera : (3,) array, m
        Where it stood, in the same frame.
    points : (m, 3) array, m
        What it looked at: the middle of the picture.

    Returns
    -------
    Sight
    """
    forward = points.mean(axis=0) - camera
    axes = _axes(forward)
    across, distance = _projected(seen, camera, axes)
    ahead = distance > 0.0
    kept = ahead & (np.abs(across) < _WIDEST).all(axis=1)
    across, distance = across[kept], distance[kept]
    some = across[:: max(1, len(across) // 2000)]
    spacing = float(np.median(np.asarray(cKDTree(across).query(some, k=2)[0])[:, 1]))
    pixel = max(_PIXELS_PER_POINT * spacing, 2.0 * _WIDEST / _MOST_PIXELS)
    size = int(np.ceil(2.0 * _WIDEST / pixel))
    nearest = np.full((size, size), np.inf)
    u, v = ((across + _WIDEST) / pixel).astype(np.intp).T
    np.minimum.at(nearest, (u, v), distance)
    # At the rim of a thing its own distance stands for what was seen past it, and beside pixels
    # without a reading nothing is known: readings at edges are left out
    known = minimum_filter(np.isfinite(nearest), size=3, mode="nearest")
    nearest = minimum_filter(nearest, size=_RIM, mode="nearest")
    return Sight(camera, axes, pixel, np.where(known, nearest, np.inf))


def in_the_way(
    sight: Sight, points: NDArray[np.float64], tolerance: float = IN_THE_WAY
) -> NDArray[np.bool_]:
    """Which points lie where the camera looked through.

    Parameters
    ----------
    sight : Sight
    points : (n, 3) array, m
        In the sight's frame.
    tolerance : float, m
        Less than this in front of what was seen is left be.

    Returns
    -------
    (n,) bool array

    Examples
    --------
    >>> import numpy as np
    >>> u, v = (g.ravel() for g in np.meshgrid(*2 * [np.linspace(-1, 1, 100)]))
    >>> wall = np.c_[u, v, np.full(len(u), 2.0)]
    >>> sight = sight_of(wall, np.zeros(3), wall)
    >>> in_the_way(sight, np.array([[0, 0, 1.0], [0, 0, 1.99], [0, 0, 3.0], [9, 0, 1]])).tolist()
    [True, False, False, False]
    """
    across, distance = _projected(points, sight.camera, sight.axes)
    place = np.floor((across + _WIDEST) / sight.pixel).astype(np.intp)
    size = len(sight.nearest)
    inside = (distance > 0.0) & (place >= 0).all(axis=1) & (place < size).all(axis=1)
    found = np.zeros(len(points), dtype=bool)
    limit = sight.nearest[tuple(place[inside].T)]
    found[inside] = np.isfinite(limit) & (distance[inside] < limit - tolerance)
    return found


def _axes(forward: NDArray[np.float64]) -> NDArray[np.float64]:
    z = forward / np.linalg.norm(forward)
    x = np.cross(z, np.eye(3)[np.argmin(np.abs(z))])
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(z, x), z])


def _projected(
    points: NDArray[np.float64], camera: NDArray[np.float64], axes: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Tangents of the angles off the axis, (n, 2), and distances, m; 0 for what lies behind."""
    local = (points - camera) @ axes.T
    depth = local[:, 2]
    ahead = depth > 1e-3  # noqa: PLR2004 - a millimetre from the camera nothing is seen
    across = local[:, :2] / np.where(ahead, depth, 1.0)[:, None]
    return across, np.where(ahead, np.linalg.norm(local, axis=1), 0.0)
