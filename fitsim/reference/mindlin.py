"""A sphere pressed on and then pushed sideways: sticking in the middle, slipping at the rim.

Sources: Cattaneo 1938; Mindlin 1949, J. Appl. Mech. 16:259-268, doi:10.1115/1.4009973; Johnson,
Contact Mechanics, 1985, section 7.2 (from memory). The bed of independent tangential springs is
worked out here.
"""

from __future__ import annotations

import math


def half_space_stiffness(shear_modulus: float, poisson: float, radius: float) -> float:
    """First sideways stiffness of a rigid sphere that sticks to a half-space.

    Parameters
    ----------
    shear_modulus : Pa.
    poisson : -.
    radius : m, of the contact.

    Returns
    -------
    float, N/m
        ``8 G a / (2 - nu)``.

    Examples
    --------
    >>> half_space_stiffness(20e3, 0.5, 0.03)
    3200.0
    """
    return 8.0 * shear_modulus * radius / (2.0 - poisson)


def sideways_on_half_space(share: float) -> float:
    """Sideways force as a share of sliding friction, by share of the travel at which all slips.

    Parameters
    ----------
    share : -, travel over that at which the last of the contact slips, 0 to 1.

    Returns
    -------
    float, -
        ``Q / (mu P) = 1 - (1 - x)^(3/2)``.

    Examples
    --------
    >>> round(sideways_on_half_space(0.5), 4)
    0.6464
    """
    return 1.0 - math.pow(1.0 - share, 1.5)


def sideways_on_springs(share: float) -> float:
    """The same on a bed of independent tangential springs under Hertz's pressure.

    Parameters
    ----------
    share : -, travel over that at which the last of the contact slips, 0 to 1.

    Returns
    -------
    float, -
        ``Q / (mu P) = 3/2 x - x^3 / 2``.

    Notes
    -----
    With springs k per area all slips at ``mu p0 / k``. At a share x of that the middle sticks out
    to ``c^2 = a^2 (1 - x^2)`` and carries ``k u pi c^2``; the rim slips and carries mu p.
    Both laws start with a slope of 3/2 and end at 1; between them the springs carry up to 0.045
    of mu P more, at x = 0.62.

    Examples
    --------
    >>> sideways_on_springs(0.5)
    0.6875
    >>> import numpy as np
    >>> x = np.linspace(0.0, 1.0, 1001)
    >>> gap = [sideways_on_springs(one) - sideways_on_half_space(one) for one in x]
    >>> round(float(max(gap)), 3), round(float(x[np.argmax(gap)]), 2)
    (0.045, 0.62)
    """
    return 1.5 * share - 0.5 * share**3
