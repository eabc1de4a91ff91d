"""Rigid indenters: an underside given as a height over a plane, carried by a pose."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Callable

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Indenter:
    """A rigid body seen from below.

    Attributes
    ----------
    height : callable
        (m,) x and y in m, in the indenter's own frame (z up), to six (m,) arrays: z of the
        underside in m, its slopes z_x, z_y (-) and second derivatives z_xx, z_xy, z_yy (1/m);
        nan beyond the underside's outline.
    """

    height: Callable[[Array, Array], tuple[Array, Array, Array, Array, Array, Array]]


def sphere(radius: float) -> Indenter:
    """Lower cap of a sphere, lowest point at the origin.

    Parameters
    ----------
    radius : m.

    Returns
    -------
    Indenter
        Used out to 0.95 of the radius.

    Examples
    --------
    >>> z, slope, *_ = sphere(0.1).height(np.array([0.06]), np.array([0.0]))
    >>> round(float(z[0]), 12), round(float(slope[0]), 12)
    (0.02, 0.75)
    """

    def height(x: Array, y: Array) -> tuple[Array, Array, Array, Array, Array, Array]:
        r2 = x**2 + y**2
        root = np.sqrt(np.where(r2 < (0.95 * radius) ** 2, radius**2 - r2, np.nan))
        return (
            radius - root, x / root, y / root,
            1.0 / root + x**2 / root**3, x * y / root**3, 1.0 / root + y**2 / root**3,
        )  # fmt: skip

    return Indenter(height)


def quadric(
    curvature_x: float, curvature_y: float, half_length: float, half_width: float
) -> Indenter:
    """Bar-like underside ``z = (kx x^2 + ky y^2) / 2`` over a rectangle.

    Parameters
    ----------
    curvature_x, curvature_y : 1/m, positive where the middle hangs lowest.
    half_length, half_width : m, of the outline along x and y; may be infinite.

    Returns
    -------
    Indenter

    Examples
    --------
    >>> z, *_ = quadric(2.0, 0.0, 0.1, 0.05).height(np.array([0.05, 0.2]), np.zeros(2))
    >>> z
    array([0.0025,    nan])
    """

    def height(x: Array, y: Array) -> tuple[Array, Array, Array, Array, Array, Array]:
        inside = (np.abs(x) <= half_length) & (np.abs(y) <= half_width)
        z = np.where(inside, (curvature_x * x**2 + curvature_y * y**2) / 2.0, np.nan)
        flat = np.zeros_like(x)
        return (
            z, curvature_x * x, curvature_y * y,
            flat + curvature_x, flat, flat + curvature_y,
        )  # fmt: skip

    return Indenter(height)


def height_field(x: Array, y: Array, z: Array) -> Indenter:
    """Underside through a grid of heights, smooth in between.

    Parameters
    ----------
    x : (m,) array, m, ascending.
    y : (k,) array, m, ascending.
    z : (m, k) array, m.

    Returns
    -------
    Indenter
        Bicubic spline; the outline is the grid's rectangle.

    Examples
    --------
    >>> g = np.linspace(-0.1, 0.1, 9)
    >>> bowl = height_field(g, g, g[:, None] ** 2 + g**2)
    >>> round(float(bowl.height(np.array([0.03]), np.array([0.04]))[0][0]), 9)
    0.0025
    """
    from scipy.interpolate import RectBivariateSpline

    spline = RectBivariateSpline(x, y, z)

    def height(u: Array, v: Array) -> tuple[Array, Array, Array, Array, Array, Array]:
        inside = (u >= x[0]) & (u <= x[-1]) & (v >= y[0]) & (v <= y[-1])
        orders = ((0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2))
        values = [spline.ev(u, v, dx=i, dy=j) for i, j in orders]
        values[0] = np.where(inside, values[0], np.nan)
        return tuple(values)  # type: ignore[return-value]

    return Indenter(height)


@dataclass(frozen=True)
class Clearance:
    """How points lie under an indenter.

    Attributes
    ----------
    gap : (m,) array, m, vertical distance in the indenter's frame, nan where nothing is above.
    normal : (m, 3) array, -, gradient of the gap in space (not of unit length): the way the
        indenter pushes.
    bend : (m, 3, 3) array, 1/m, second derivative of the gap in space.
    """

    gap: Array
    normal: Array
    bend: Array


def clearance(indenter: Indenter, T_space_indenter: Array, points: Array) -> Clearance:
    """Gap between points and an indenter's underside, with its derivatives.

    Parameters
    ----------
    indenter : Indenter
    T_space_indenter : (4, 4) array
    points : (m, 3) array, m

    Returns
    -------
    Clearance

    Examples
    --------
    >>> c = clearance(sphere(0.1), np.eye(4), np.array([[0.0, 0.0, -0.003]]))
    >>> float(c.gap[0]), c.normal[0]
    (0.003, array([ 0.,  0., -1.]))
    """
    R = T_space_indenter[:3, :3]
    local = (points - T_space_indenter[:3, 3]) @ R
    z, zx, zy, zxx, zxy, zyy = indenter.height(local[:, 0], local[:, 1])
    slope = np.stack([zx, zy, -np.ones_like(zx)], axis=1)
    bend = np.zeros((len(points), 3, 3))
    bend[:, 0, 0], bend[:, 1, 1] = zxx, zyy
    bend[:, 0, 1] = bend[:, 1, 0] = zxy
    return Clearance(z - local[:, 2], slope @ R.T, R @ bend @ R.T)
