"""Nearly incompressible neo-Hookean tissue, split into change of shape and of volume."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class NeoHooke:
    """``W = G/2 (J^(-2/3) tr(F^T F) - 3) + K/2 (J - 1)^2``.

    Attributes
    ----------
    shear : Pa, G.
    bulk : Pa, K.
    """

    shear: float
    bulk: float


def neo_hooke(young: float, poisson: float) -> NeoHooke:
    """Material whose small-strain limit is the given isotropic one.

    Parameters
    ----------
    young : Pa.
    poisson : -, below 0.5.

    Returns
    -------
    NeoHooke

    Raises
    ------
    ValueError
        If the Poisson ratio is 0.5 or more: the bulk modulus would be infinite.

    Examples
    --------
    >>> neo_hooke(60e3, 0.25)
    NeoHooke(shear=24000.0, bulk=40000.0)
    """
    if not -1.0 < poisson < 0.5:  # noqa: PLR2004 bounds of isotropic elasticity
        raise ValueError(f"Poisson ratio {poisson} must lie below 0.5")
    return NeoHooke(young / (2.0 * (1.0 + poisson)), young / (3.0 * (1.0 - 2.0 * poisson)))


def cofactors(F: Array) -> tuple[Array, Array]:
    """Volume ratio and cofactor of deformation gradients.

    Parameters
    ----------
    F : (..., 3, 3) array, -

    Returns
    -------
    J : (...) array, -
    cofactor : (..., 3, 3) array, -
        ``J F^-T``, the derivative of J.

    Examples
    --------
    >>> J, H = cofactors(np.diag([2.0, 3.0, 4.0]))
    >>> float(J), np.diag(H)
    (24.0, array([12.,  8.,  6.]))
    """
    a, b, c = F[..., 0, :], F[..., 1, :], F[..., 2, :]
    H = np.stack([np.cross(b, c), np.cross(c, a), np.cross(a, b)], axis=-2)
    return np.asarray((a * H[..., 0, :]).sum(axis=-1)), H


def stress(F: Array, shear: Array, pressure: Array) -> Array:
    """First Piola-Kirchhoff stress for a mean stress that is solved for separately.

    Parameters
    ----------
    F : (..., 3, 3) array, -
    shear : (...) array, Pa
    pressure : (...) array, Pa
        Mean stress, tension positive; K (J - 1) where it is not projected.

    Returns
    -------
    (..., 3, 3) array, Pa
    """
    J, H = cofactors(F)
    inverse = H / J[..., None, None]
    scaled = shear * J ** (-2.0 / 3.0)
    first = np.einsum("...ij,...ij", F, F)
    deviator = F - (first / 3.0)[..., None, None] * inverse
    return np.asarray(scaled[..., None, None] * deviator + pressure[..., None, None] * H)


def tangent(F: Array, shear: Array, pressure: Array) -> Array:
    """Derivative of `stress` at fixed mean stress.

    Parameters
    ----------
    F, shear, pressure : as in `stress`.

    Returns
    -------
    (..., 3, 3, 3, 3) array, Pa
        ``A_iJkL = dP_iJ / dF_kL``.
    """
    J, H = cofactors(F)
    inverse = H / J[..., None, None]
    first = np.einsum("...ij,...ij", F, F)[..., None, None, None, None]
    scaled = (shear * J ** (-2.0 / 3.0))[..., None, None, None, None]
    eye = np.eye(3)
    dyad = np.einsum("...ij,...kl->...ijkl", inverse, inverse)
    swap = np.einsum("...il,...kj->...ijkl", inverse, inverse)
    cross = np.einsum("...ij,...kl->...ijkl", inverse, F)
    across = np.einsum("...ij,...kl->...ijkl", F, inverse)
    identity = np.einsum("ik,jl->ijkl", eye, eye)
    shape = scaled * (
        identity - 2.0 / 3.0 * (cross + across) + first / 3.0 * (swap + 2.0 / 3.0 * dyad)
    )
    volume = (pressure * J)[..., None, None, None, None] * (dyad - swap)
    return np.asarray(shape + volume)
