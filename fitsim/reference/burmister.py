"""An incompressible layer bonded to an incompressible half-space of another stiffness.

Source: D. M. Burmister 1943, Highway Research Board Proceedings 23:126-148 (formula from
memory; it gives the half-space for equal moduli and the bonded layer for a rigid base).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import j1

if TYPE_CHECKING:
    from numpy.typing import NDArray


def two_layer_symbol(
    wavenumber_thickness: NDArray[np.float64], stiffness_ratio: float
) -> NDArray[np.float64]:
    """Surface compliance over that of a half-space of the upper layer's material.

    Parameters
    ----------
    wavenumber_thickness : (n,) array, -, m = k h > 0.
    stiffness_ratio : -, E1/E2, upper over lower; 0 for a rigid base.

    Returns
    -------
    (n,) array, -
        S with ``u(k)/p(k) = 1.5 / (E1 k) * S(k h)``, nu = 0.5 in both.

    Notes
    -----
    ``S = [1 + 4 N m e^-2m - N^2 e^-4m] / [1 - 2 N (1 + 2 m^2) e^-2m + N^2 e^-4m]`` with
    ``N = (1 - E2/E1) / (1 + E2/E1)``.

    Examples
    --------
    >>> two_layer_symbol(np.array([0.5, 2.0]), 1.0)
    array([1., 1.])
    """
    m = np.asarray(wavenumber_thickness, dtype=np.float64)
    contrast = (stiffness_ratio - 1.0) / (stiffness_ratio + 1.0)
    decay = np.exp(-2.0 * m)
    top = 1.0 + 4.0 * contrast * m * decay - contrast**2 * decay**2
    bottom = 1.0 - 2.0 * contrast * (1.0 + 2.0 * m**2) * decay + contrast**2 * decay**2
    return np.asarray(top / bottom)


def uniform_circle_factor(thickness_over_radius: float, stiffness_ratio: float) -> float:
    """Burmister's centre deflection factor under even pressure on a circle.

    Parameters
    ----------
    thickness_over_radius : -, h/a.
    stiffness_ratio : -, E1/E2 > 0, upper over lower.

    Returns
    -------
    float, -
        F in ``w = 1.5 p a F / E2``.

    Examples
    --------
    >>> round(uniform_circle_factor(1.0, 10.0), 4), round(uniform_circle_factor(2.0, 0.1), 4)
    (0.4865, 6.34)
    """
    nodes, weights = np.polynomial.legendre.leggauss(24)
    end = 24.0 / thickness_over_radius  # S - 1 is below 1e-17 beyond k h = 24
    panels = 64 + 8 * int(np.ceil(end))
    # Panels grow geometrically from 0: a stiff cover has its bend at very small k h.
    edges = np.concatenate([[0.0], np.geomspace(1e-6 * end, end, panels)])
    half = np.diff(edges)[:, None] / 2.0
    k = (edges[:-1, None] + half * (nodes + 1.0)).ravel()
    w = (half * weights).ravel()
    excess = two_layer_symbol(k * thickness_over_radius, stiffness_ratio) - 1.0
    return (1.0 + float(w @ (excess * j1(k) / k))) / stiffness_ratio
