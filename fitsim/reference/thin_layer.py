"""Limits for a contact much wider than the bonded layer is thick.

Derived from the oedometric (compressible) and lubrication (incompressible) limits; compare
K. L. Johnson, Contact Mechanics, 1985, sec. 5.8, and J. R. Barber 1990, Int. J. Solids Struct.
26:129-132 (both citations from memory). The incompressible limit is approached slowly: at
a/h = 16 the force is still 44 % above it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class ThinContact:
    """A rigid frictionless paraboloid on a thin layer.

    Attributes
    ----------
    force : N.
    depth : m, indentation on the axis.
    peak : Pa, pressure on the axis.
    """

    force: float
    depth: float
    peak: float


def oedometric_modulus(shear: float, poisson: float) -> float:
    """Modulus of a layer that cannot spread sideways.

    Parameters
    ----------
    shear : Pa, G.
    poisson : -, below 0.5.

    Returns
    -------
    float, Pa
        ``2 G (1 - nu) / (1 - 2 nu)``.

    Examples
    --------
    >>> round(oedometric_modulus(20e3, 0.3), 6)
    70000.0
    """
    return 2.0 * shear * (1.0 - poisson) / (1.0 - 2.0 * poisson)


def compressible(
    contact_radius: float, radius: float, thickness: float, shear: float, poisson: float
) -> ThinContact:
    """Thin compressible layer: each column by itself.

    Parameters
    ----------
    contact_radius, radius, thickness : m; a, R of the paraboloid, h.
    shear : Pa.
    poisson : -, below 0.5.

    Returns
    -------
    ThinContact
        ``p = M (a^2 - r^2) / (2 R h)``, ``w0 = a^2 / (2 R)``, ``P = pi M a^4 / (4 R h)``.

    Examples
    --------
    >>> c = compressible(0.05, 0.5, 0.005, 20e3, 0.3)
    >>> round(c.force, 2), round(c.depth * 1e3, 3), round(c.peak / 1e3, 3)
    (137.44, 2.5, 35.0)
    """
    modulus = oedometric_modulus(shear, poisson)
    a2 = contact_radius**2
    scale = modulus / (radius * thickness)
    return ThinContact(np.pi * scale * a2**2 / 4.0, a2 / (2.0 * radius), scale * a2 / 2.0)


def incompressible(
    contact_radius: float, radius: float, thickness: float, shear: float
) -> ThinContact:
    """Thin incompressible layer: squeezed sideways like a film.

    Parameters
    ----------
    contact_radius, radius, thickness : m; a, R of the paraboloid, h.
    shear : Pa.

    Returns
    -------
    ThinContact
        ``p = 3 G (a^2 - r^2)^2 / (32 R h^3)``, ``w0 = a^2 / (4 R)``,
        ``P = pi G a^6 / (32 R h^3)``.

    Examples
    --------
    >>> c = incompressible(0.05, 0.5, 0.005, 20e3)
    >>> round(c.force, 2), round(c.depth * 1e3, 3), round(c.peak / 1e3, 3)
    (490.87, 1.25, 187.5)
    """
    a2 = contact_radius**2
    scale = shear / (32.0 * radius * thickness**3)
    return ThinContact(np.pi * scale * a2**3, a2 / (4.0 * radius), 3.0 * scale * a2**2)
