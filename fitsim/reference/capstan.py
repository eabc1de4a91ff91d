"""A strap pulled over a round body.

Source: the capstan (Euler-Eytelwein) equation, any statics textbook.
"""

from __future__ import annotations

import numpy as np


def tension_ratio(friction: float, wrap: float) -> float:
    """Largest ratio of the two end tensions before the strap slides.

    Parameters
    ----------
    friction : -, Coulomb coefficient.
    wrap : rad, angle the strap turns through.

    Returns
    -------
    float, -
        ``exp(mu theta)``.

    Examples
    --------
    >>> round(tension_ratio(0.4, np.pi), 4)
    3.5136
    """
    return float(np.exp(friction * wrap))


def line_pressure(tension: float, radius: float, width: float) -> float:
    """Pressure a strap puts on the body it bends over.

    Parameters
    ----------
    tension : N.
    radius : m, of the bend.
    width : m, of the strap.

    Returns
    -------
    float, Pa
        ``T / (R b)``.

    Examples
    --------
    >>> round(line_pressure(200.0, 0.25, 0.1), 9)
    8000.0
    """
    return tension / (radius * width)


def resultant(tension: float, wrap: float) -> float:
    """Force on the body from a frictionless strap that turns through an angle.

    Parameters
    ----------
    tension : N, the same at both ends.
    wrap : rad.

    Returns
    -------
    float, N
        ``2 T sin(theta / 2)``: two vertical ends press with 2T.

    Examples
    --------
    >>> resultant(150.0, np.pi)
    300.0
    """
    return 2.0 * tension * float(np.sin(wrap / 2.0))
