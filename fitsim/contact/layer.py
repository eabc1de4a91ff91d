"""Bonded elastic layers over rigid bone: surface compliance in wavenumber space.

A pressure ``p cos(k x)`` on the skin gives a sinking ``u cos(k x)``; their ratio depends on the
wavenumber k alone. Each layer is described by its 4 x 4 stiffness between the displacements of
its two faces; layers are joined from the bone upwards. That recursion stays accurate for layers
much thicker than a wavelength, where products of transfer matrices overflow.

References
----------
Thomson WT 1950 J Appl Phys 21:89-93 and Haskell NA 1953 Bull Seismol Soc Am 43:17-34 for the
transfer matrix; Kausel E, Roesset JM 1981 Bull Seismol Soc Am 71:1743-1761 for its stiffness
form (all from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fitsim.back.stack import Layer, Stack

Array = NDArray[np.float64]

__all__ = ["Layer", "Stack", "normal_compliance", "shear_compliance"]

# Below this k h the fields e^{+-kz} are too alike to be told apart and the transfer matrix is used.
_THIN = 1.0


def normal_compliance(stack: Stack, k: Array) -> Array:
    """Sinking of the skin per pressure at wavenumber k, without shear on the skin.

    Parameters
    ----------
    stack : Stack
        Layers from the skin down.
    k : (n,) array, 1/m
        Wavenumbers, >= 0.

    Returns
    -------
    (n,) array, m/Pa
        For one layer ``(1 - nu) / (G k) M(k h)`` with the closed form M of a bonded layer.

    Examples
    --------
    A wavelength much shorter than the layer sees a half-space, (1 - nu)/(G k):

    >>> deep = Stack("deep", (Layer("muscle", 0.5, 60e3, 0.47),))
    >>> ratio = normal_compliance(deep, np.array([100.0])) / (0.53 / (deep.layers[0].shear * 100.0))
    >>> round(float(ratio[0]), 6)
    1.0
    """
    return _plane_compliance(stack, k)[:, 1, 1]


def shear_compliance(stack: Stack, k: Array) -> Array:
    """Sideways motion of the skin per shear traction, averaged over the traction's direction.

    Mean of the in-plane (along the wave) and anti-plane (across it) compliance; at k = 0 both
    are the sum of thickness over shear modulus.

    Parameters
    ----------
    stack : Stack
    k : (n,) array, 1/m, >= 0

    Returns
    -------
    (n,) array, m/Pa

    Examples
    --------
    >>> one = Stack("one", (Layer("muscle", 0.02, 60e3, 0.5),))
    >>> round(float(shear_compliance(one, np.array([0.0]))[0] * 20e3 / 0.02), 6)
    1.0
    """
    along = _plane_compliance(stack, k)[:, 0, 0]
    return 0.5 * (along + _antiplane_compliance(stack, k))


def _plane_compliance(stack: Stack, k: Array) -> Array:
    """(n, 2, 2) displacement (along, into) per traction (along, into) on the skin, m/Pa."""
    k = np.asarray(k, dtype=float)
    result = np.empty((len(k), 2, 2))
    still = k == 0.0
    result[still] = np.diag(_uniform_compliance(stack))
    moving = ~still
    if moving.any():
        result[moving] = _inverse(_surface_stiffness(stack, k[moving]))
    return result


def _uniform_compliance(stack: Stack) -> tuple[float, float]:
    """Compliance to a uniform (along, into) traction: every layer in simple shear, or confined."""
    shear = sum(layer.thickness / layer.shear for layer in stack.layers)
    confined = sum(
        layer.thickness * (1 - 2 * layer.poisson) / (2 * layer.shear * (1 - layer.poisson))
        for layer in stack.layers
    )
    return shear, confined


def _surface_stiffness(stack: Stack, k: Array) -> Array:
    """(n, 2, 2) traction per displacement of the skin, Pa/m, joined from the bone upwards."""
    surface = _layer_stiffness(stack.layers[-1], k)[0]
    for layer in reversed(stack.layers[:-1]):
        top, across, bottom = _layer_stiffness(layer, k)
        surface = top - across @ _inverse(bottom + surface) @ across.transpose(0, 2, 1)
    return surface


def _layer_stiffness(layer: Layer, k: Array) -> tuple[Array, Array, Array]:
    """Blocks (top-top, top-bottom, bottom-bottom), each (n, 2, 2) Pa/m, of one layer."""
    depth = k * layer.thickness
    blocks = np.empty((3, len(k), 2, 2))
    for chosen, form in ((depth < _THIN, _thin_blocks), (depth >= _THIN, _thick_blocks)):
        if chosen.any():
            blocks[:, chosen] = form(depth[chosen], layer.poisson)
    blocks *= (layer.shear * k)[None, :, None, None]
    return blocks[0], blocks[1], blocks[2]


def _fields(s: Array, nu: float) -> tuple[Array, Array]:
    """Two fields that die away from a face at s = 0, and their tractions over G k.

    Returns displacement (n, 2, 2) [component, field] and traction (n, 2, 2): components along
    and into the layer; fields e^-s (1, 1) and e^-s (s, s + 3 - 4 nu).
    """
    decay = np.exp(-s)
    one = np.ones_like(s)
    displacement = decay * np.array([[one, s], [one, s + 3.0 - 4.0 * nu]])
    traction = -2.0 * decay * np.array([[one, s + 1.0 - 2.0 * nu], [one, s + 2.0 - 2.0 * nu]])
    return np.moveaxis(displacement, -1, 0), np.moveaxis(traction, -1, 0)


def _thick_blocks(depth: Array, nu: float) -> Array:
    """Stiffness blocks over G k from fields that die away from either face."""
    near_u, near_t = _fields(np.zeros_like(depth), nu)
    far_u, far_t = _fields(depth, nu)
    flip = np.diag([1.0, -1.0])  # seen from the lower face, "into the layer" points up
    displacement = np.block([[near_u, flip @ far_u], [far_u, flip @ near_u]])
    # traction on the layer: minus the stress at its top, plus the stress at its bottom
    traction = np.block([[-near_t, flip @ far_t], [far_t, -(flip @ near_t)]])
    stiffness = np.linalg.solve(
        displacement.transpose(0, 2, 1), traction.transpose(0, 2, 1)
    ).transpose(0, 2, 1)
    return np.stack([stiffness[:, :2, :2], stiffness[:, :2, 2:], stiffness[:, 2:, 2:]])


def _thin_blocks(depth: Array, nu: float) -> Array:
    """Stiffness blocks over G k from the transfer matrix, well conditioned for thin layers."""
    start = _state(np.zeros_like(depth), nu)
    transfer = _state(depth, nu) @ np.linalg.inv(start)
    uu, ut = transfer[:, :2, :2], transfer[:, :2, 2:]
    tt = transfer[:, 2:, 2:]
    inverse = _inverse(ut)
    # u_bottom = uu u_top + ut s_top, with traction on the top face t_top = -s_top
    top = inverse @ uu
    across = -inverse
    bottom = tt @ inverse
    return np.stack([top, across, bottom])


def _state(s: Array, nu: float) -> Array:
    """(n, 4, 4) displacement and stress over G k at depth s of the four fields e^-s, e^+s."""
    down_u, down_t = _fields(s, nu)
    up_u, up_t = _fields(-s, nu)
    flip = np.diag([1.0, -1.0])
    return np.block([[down_u, flip @ up_u], [down_t, -(flip @ up_t)]])


def _inverse(m: Array) -> Array:
    """Inverse of (n, 2, 2) matrices."""
    out = np.empty_like(m)
    out[:, 0, 0], out[:, 1, 1] = m[:, 1, 1], m[:, 0, 0]
    out[:, 0, 1], out[:, 1, 0] = -m[:, 0, 1], -m[:, 1, 0]
    det = m[:, 0, 0] * m[:, 1, 1] - m[:, 0, 1] * m[:, 1, 0]
    return out / det[:, None, None]


def _antiplane_compliance(stack: Stack, k: Array) -> Array:
    """Motion across the wave per traction across it, (n,) m/Pa."""
    k = np.asarray(k, dtype=float)
    result = np.full(len(k), _uniform_compliance(stack)[0])
    moving = k > 0.0
    surface = np.full(int(moving.sum()), np.inf)  # the bone
    for layer in reversed(stack.layers):
        depth = np.minimum(k[moving] * layer.thickness, 300.0)
        scale = layer.shear * k[moving]
        own, across = scale / np.tanh(depth), scale / np.sinh(depth)
        surface = own - across**2 / (own + surface)
    result[moving] = 1.0 / surface
    return result
