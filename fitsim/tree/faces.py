"""Points on the undersides of a tree, in its own frame."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.interpolate import RectBivariateSpline

from fitsim.tree.placed import placed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.tree.tree import MountedBar, Tree, Underside

#: How far from the outline a point must lie to count as bearing and not as rolled edge, m.
EDGE = 0.010


def bearing_points(tree: Tree, spacing: float) -> NDArray[np.float64]:
    """Points on the bearing part of both undersides: no flared tips, no rolled edges.

    Parameters
    ----------
    tree : its two bars.
    spacing : m, between points.

    Returns
    -------
    (n, 3) array, m, tree frame, left bar first.
    """
    return np.concatenate([_points(bar, spacing, EDGE, bearing_reach(bar)) for bar in tree.bars])


def face_points(tree: Tree, spacing: float) -> NDArray[np.float64]:
    """Points all over both undersides, edges and tips included.

    Parameters
    ----------
    tree : its two bars.
    spacing : m, between points.

    Returns
    -------
    (n, 3) array, m, tree frame, left bar first.
    """
    return np.concatenate([_points(bar, spacing, 0.0, np.inf) for bar in tree.bars])


def bearing_reach(bar: MountedBar) -> float:
    """Half the bearing length, m.

    The bar's origin is the middle of the bearing length and the tree's x = 0 its front end, so
    the place of the one in the other is half of it.
    """
    forward, origin = bar.T_tree_bar[:3, 0], bar.T_tree_bar[:3, 3]
    return float(-origin[0] / forward[0])


def height_at(
    face: Underside, xi: NDArray[np.float64], eta: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Height of an underside between its grid points, by bicubic spline.

    Parameters
    ----------
    face : of one bar.
    xi, eta : arrays of one shape, m.

    Returns
    -------
    Array of that shape, m, zeta.
    """
    return RectBivariateSpline(face.xi, face.eta, face.height)(xi, eta, grid=False)


def _points(bar: MountedBar, spacing: float, inside: float, reach: float) -> NDArray[np.float64]:
    face = bar.underside
    step = max(1, round(spacing / float(face.xi[1] - face.xi[0])))
    rows = np.arange(len(face.xi) // 2 % step, len(face.xi), step)
    columns = np.arange(len(face.eta) // 2 % step, len(face.eta), step)
    xi, eta = np.meshgrid(face.xi[rows], face.eta[columns], indexing="ij")
    zeta = face.height[np.ix_(rows, columns)]
    keep = (face.inside[np.ix_(rows, columns)] >= inside) & (np.abs(xi) <= reach)
    points = np.column_stack([xi[keep], eta[keep], zeta[keep]])
    return placed(bar.T_tree_bar, points)
