"""Hertz contact: a smooth rigid body pressed on an elastic half-space without friction.

Sources: H. Hertz 1882; K. L. Johnson, Contact Mechanics, 1985, ch. 4
(doi:10.1017/CBO9781139171731), equations 4.22-4.27 and 4.42-4.45.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import ellipk, elliprd


@dataclass(frozen=True)
class PointContact:
    """A contact whose patch is an ellipse (a circle for a sphere).

    Attributes
    ----------
    force : N.
    approach : m, how far the body comes towards far points of the half-space.
    half_length : m, longer half axis of the patch.
    half_width : m, shorter half axis of the patch.
    peak : Pa, pressure at the centre.
    """

    force: float
    approach: float
    half_length: float
    half_width: float
    peak: float


@dataclass(frozen=True)
class LineContact:
    """A contact whose patch is a strip.

    Attributes
    ----------
    force : N/m, per unit length.
    half_width : m.
    peak : Pa, pressure on the centre line.
    """

    force: float
    half_width: float
    peak: float


def contact_modulus(young: float, poisson: float) -> float:
    """Contact modulus E* of an elastic body met by a rigid one.

    Parameters
    ----------
    young : Pa.
    poisson : -.

    Returns
    -------
    float, Pa
        ``E / (1 - nu^2)``.

    Examples
    --------
    >>> contact_modulus(60e3, 0.5)
    80000.0
    """
    return young / (1.0 - poisson**2)


def sphere(radius: float, modulus: float, force: float) -> PointContact:
    """Rigid sphere (strictly: paraboloid) pressed with a given force.

    Parameters
    ----------
    radius : m.
    modulus : Pa, contact modulus, see `contact_modulus`.
    force : N.

    Returns
    -------
    PointContact

    Notes
    -----
    ``a^3 = 3 F R / (4 E*)``, ``d = a^2 / R``, ``p0 = 3 F / (2 pi a^2)`` (Johnson 4.22-4.24).

    Examples
    --------
    >>> c = sphere(radius=0.1, modulus=80e3, force=10.0)
    >>> round(c.approach * 1e3, 3), round(c.half_length * 1e3, 3), round(c.peak / 1e3, 3)
    (4.446, 21.086, 10.739)
    """
    a = float(np.cbrt(3.0 * force * radius / (4.0 * modulus)))
    return PointContact(force, a**2 / radius, a, a, 3.0 * force / (2.0 * np.pi * a**2))


def sphere_at(radius: float, modulus: float, approach: float) -> PointContact:
    """Rigid sphere (strictly: paraboloid) pressed in by a given distance.

    Parameters
    ----------
    radius : m.
    modulus : Pa, contact modulus.
    approach : m.

    Returns
    -------
    PointContact

    Notes
    -----
    ``F = (4/3) E* R^(1/2) d^(3/2)``.

    Examples
    --------
    >>> round(sphere_at(0.1, 80e3, 0.004446).force, 2)
    10.0
    """
    force = 4.0 / 3.0 * modulus * float(np.sqrt(radius)) * approach**1.5
    return sphere(radius, modulus, force)


def cylinder(radius: float, modulus: float, force_per_length: float) -> LineContact:
    """Long rigid cylinder pressed along its length on a half-space.

    The approach of a line contact on a half-space is unbounded and is not given.

    Parameters
    ----------
    radius : m.
    modulus : Pa, contact modulus.
    force_per_length : N/m.

    Returns
    -------
    LineContact

    Notes
    -----
    ``b^2 = 4 F' R / (pi E*)``, ``p0 = 2 F' / (pi b)`` (Johnson 4.43-4.45).

    Examples
    --------
    >>> c = cylinder(radius=0.1, modulus=80e3, force_per_length=200.0)
    >>> round(c.half_width * 1e3, 3), round(c.peak / 1e3, 3)
    (17.841, 7.136)
    """
    b = float(np.sqrt(4.0 * force_per_length * radius / (np.pi * modulus)))
    return LineContact(force_per_length, b, 2.0 * force_per_length / (np.pi * b))


def ellipsoid(
    radius_long: float, radius_short: float, modulus: float, force: float
) -> PointContact:
    """Rigid body with two principal radii of curvature, pressed with a given force.

    Parameters
    ----------
    radius_long : m, larger principal radius: the patch is longest this way.
    radius_short : m, smaller principal radius.
    modulus : Pa, contact modulus.
    force : N.

    Returns
    -------
    PointContact

    Raises
    ------
    ValueError
        If `radius_long` is below `radius_short`.

    Notes
    -----
    With ``q = b / a``, ``p0 = 3 F / (2 pi a b)`` and Carlson's integral R_D, the two curvature
    equations (Johnson 4.26) read ``1/R_long = 2 p0 b R_D(0, q^2, 1) / (3 E* a^2)`` and
    ``1/R_short = 2 p0 b R_D(0, 1, q^2) / (3 E* a^2)``, free of the cancellation the usual
    ``K - E`` form has near a circle; the approach is ``p0 b K(1 - q^2) / E*``.

    Examples
    --------
    >>> round_one, long_one = ellipsoid(0.1, 0.1, 80e3, 10.0), ellipsoid(1.0, 0.1, 80e3, 10.0)
    >>> round(round_one.half_length * 1e3, 3), round(round_one.approach * 1e3, 3)
    (21.086, 4.446)
    >>> round(long_one.half_length / long_one.half_width, 2)
    4.5
    """
    if radius_long < radius_short:
        message = "radius_long must be the larger of the two radii"
        raise ValueError(message)
    q = _aspect(radius_long / radius_short)
    curvature = float(elliprd(0.0, q**2, 1.0))
    # p0 b / a^2 = 3 F / (2 pi a^3), so the first curvature equation gives a directly.
    a = float(np.cbrt(force * radius_long * curvature / (np.pi * modulus)))
    peak = 3.0 * force / (2.0 * np.pi * q * a**2)
    approach = peak * q * a * float(ellipk(1.0 - q**2)) / modulus
    return PointContact(force, approach, a, q * a, peak)


def _aspect(ratio_of_radii: float) -> float:
    """Aspect b/a of the contact ellipse for a ratio of radii >= 1."""

    def mismatch(log_q: float) -> float:
        q2 = float(np.exp(2.0 * log_q))
        ratio = float(elliprd(0.0, 1.0, q2) / elliprd(0.0, q2, 1.0))
        return float(np.log(ratio)) - float(np.log(ratio_of_radii))

    # b/a lies between (R_short/R_long) and 1 for every ratio.
    lowest = -float(np.log(ratio_of_radii)) - 1e-9
    return float(np.exp(brentq(mismatch, lowest, 1e-9, xtol=1e-15)))
