"""The ground a standing animal stands on, from the lowest points of its feet."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from fitsim.back.zones import inside_outline

if TYPE_CHECKING:
    from numpy.typing import NDArray

STEEPEST = np.cos(np.radians(25.0))
"""The rough frame's up is at most this far off the ground's normal."""

NARROWEST = 0.05
"""Least area of the standing triangle over the square of the animal's height: smaller ones lie
under a single foot."""


def standing_triangle(points: NDArray[np.float64], height: float) -> NDArray[np.float64] | None:
    """The three points an animal stands on: the hull's facet under its trunk.

    Parameters
    ----------
    points : (n, 3) array: lower legs, rough frame (z roughly up, origin in the trunk).
    height : float: of the animal, same unit.

    Returns
    -------
    (3, 3) array or None
        Three corners, one a row; None when the feet span no ground, as in a side view.

    Notes
    -----
    A rigid body rests on the facet of its convex hull that the plumb line through its centre of
    mass meets; the trunk's middle stands for that centre. With all four feet sound the fourth
    lies on the facet's plane too, within the scan's error.
    """
    try:
        hull = ConvexHull(points)
    except (QhullError, ValueError):
        return None
    down = hull.equations[:, 2] < -STEEPEST
    corners = points[hull.simplices[down]]
    flat = corners[:, :, :2]
    area = 0.5 * np.abs(
        np.linalg.det(np.stack([flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]], axis=1))
    )
    wide = area > NARROWEST * height**2
    if not wide.any():
        return None
    corners, area = corners[wide], area[wide]
    under = [k for k, triangle in enumerate(corners)
             if inside_outline(triangle[:, :2], np.zeros((1, 2)))[0]]  # fmt: skip
    best = under[0] if under else int(np.argmax(area))
    return np.asarray(corners[best], dtype=float)
