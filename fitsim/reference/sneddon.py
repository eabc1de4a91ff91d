"""Axisymmetric rigid indenters on an elastic half-space without friction.

Source: I. N. Sneddon 1965, Int. J. Engng Sci. 3:47-57, doi:10.1016/0020-7225(65)90019-4
(formulae from memory; the tests rederive them from the general integral).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray


def flat_punch_force(radius: float, modulus: float, approach: float) -> float:
    """Force on a flat-ended rigid cylinder.

    Parameters
    ----------
    radius : m.
    modulus : Pa, contact modulus ``E / (1 - nu^2)``.
    approach : m.

    Returns
    -------
    float, N
        ``2 E* a d``.

    Examples
    --------
    >>> flat_punch_force(0.02, 80e3, 0.005)
    16.0
    """
    return 2.0 * modulus * radius * approach


def flat_punch_pressure(r: NDArray[np.float64], radius: float, force: float) -> NDArray[np.float64]:
    """Pressure under a flat-ended rigid cylinder, infinite at its edge.

    Parameters
    ----------
    r : (n,) array, m, distance from the axis, below `radius`.
    radius : m.
    force : N.

    Returns
    -------
    (n,) array, Pa
        ``F / (2 pi a (a^2 - r^2)^(1/2))``.

    Examples
    --------
    >>> flat_punch_pressure(np.array([0.0]), 0.02, 16.0).round(1)
    array([6366.2])
    """
    return force / (2.0 * np.pi * radius * np.sqrt(radius**2 - r**2))


def cone_force(half_angle: float, modulus: float, approach: float) -> float:
    """Force on a rigid cone pressed in tip first.

    Parameters
    ----------
    half_angle : rad, between the axis and the flank.
    modulus : Pa, contact modulus.
    approach : m.

    Returns
    -------
    float, N
        ``(2/pi) E* tan(alpha) d^2``.

    Examples
    --------
    >>> round(cone_force(np.pi / 4, 80e3, 0.005), 4)
    1.2732
    """
    return 2.0 / np.pi * modulus * float(np.tan(half_angle)) * approach**2


def indenter(
    slope: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    contact_radius: float,
    modulus: float,
) -> tuple[float, float]:
    """Approach and force of any smooth convex axisymmetric indenter, by quadrature.

    Parameters
    ----------
    slope : callable, (n,) array of r in m -> (n,) array, df/dr of the profile f(r), -.
    contact_radius : m.
    modulus : Pa, contact modulus.

    Returns
    -------
    approach : float, m
        ``a int_0^a f'(r) (a^2 - r^2)^(-1/2) dr``.
    force : float, N
        ``2 E* int_0^a r^2 f'(r) (a^2 - r^2)^(-1/2) dr``.

    Examples
    --------
    A paraboloid of radius R = 0.1 m gives Hertz:

    >>> approach, force = indenter(lambda r: r / 0.1, 0.02, 80e3)
    >>> round(approach, 6), round(force, 4)
    (0.004, 8.5333)
    """
    nodes, weights = np.polynomial.legendre.leggauss(64)
    # r = a sin(angle) takes the root singularity out of both integrals.
    angle = np.pi / 4.0 * (nodes + 1.0)
    weight = np.pi / 4.0 * weights
    r = contact_radius * np.sin(angle)
    steepness = slope(r)
    approach = contact_radius * float(weight @ steepness)
    return approach, 2.0 * modulus * float(weight @ (r**2 * steepness))
