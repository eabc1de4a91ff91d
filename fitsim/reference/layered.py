"""Any stack of bonded layers over bone, slowly and obviously, in many digits.

All boundary and interface conditions are written into one linear system, which is solved in
multiple precision: no recursion and no rescaling, so that a fast recursion can be held against
it at every wavenumber.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import mpmath

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitsim.back.stack import Layer


def surface_compliance(layers: Sequence[Layer], wavenumber: float, digits: int = 80) -> float:
    """Normal surface displacement per unit pressure, both varying as cos(kx).

    Parameters
    ----------
    layers : from the skin down, the last one bonded to rigid bone.
    wavenumber : 1/m, k > 0.
    digits : decimal digits carried.

    Returns
    -------
    float, m/Pa

    Notes
    -----
    Plane strain with Airy's function ``f(z) cos(kx)`` in each layer, z downward from its top,
    ``f`` a combination of ``e^(-kz), kz e^(-kz), e^(kz), kz e^(kz)``:
    ``s_zz = -k^2 f``, ``s_xz = k f'``, ``u_x = [(1-nu) f'' + nu k^2 f] / (2 G k)``,
    ``u_z = [(1-nu) f''' - (2-nu) k^2 f'] / (2 G k^2)``. Axisymmetric loads share the symbol.

    Examples
    --------
    >>> import numpy as np
    >>> from fitsim.back.stack import Layer
    >>> from fitsim.reference.bonded_layer import layer_symbol
    >>> muscle = Layer("muscle", 0.045, 60e3, 0.45)
    >>> k = 30.0
    >>> shear = 60e3 / 2.9
    >>> one = 0.55 / (shear * k) * layer_symbol(np.array([k * 0.045]), 0.45)[0]
    >>> bool(abs(surface_compliance([muscle], k) / one - 1.0) < 1e-13)
    True
    """
    with mpmath.workdps(digits):
        size = 4 * len(layers)
        matrix, right = mpmath.zeros(size, size), mpmath.zeros(size, 1)
        k = mpmath.mpf(wavenumber)
        states = [(_states(layer, k, 0), _states(layer, k, layer.thickness)) for layer in layers]
        first = states[0][0]
        for column in range(4):  # surface: s_zz = -1, s_xz = 0
            matrix[0, column], matrix[1, column] = first[2, column], first[3, column]
        right[0] = -1
        for i in range(len(layers) - 1):  # interface: all four states continuous
            for row in range(4):
                for column in range(4):
                    matrix[2 + 4 * i + row, 4 * i + column] = states[i][1][row, column]
                    matrix[2 + 4 * i + row, 4 * i + 4 + column] = -states[i + 1][0][row, column]
        for row in range(2):  # bone: no displacement
            for column in range(4):
                matrix[size - 2 + row, size - 4 + column] = states[-1][1][row, column]
        solution = mpmath.lu_solve(matrix, right)
        return float(sum(first[0, column] * solution[column] for column in range(4)))


def _states(layer: Layer, k: mpmath.mpf, depth: float) -> mpmath.matrix:
    """Rows u_z, u_x, s_zz, s_xz at a depth, one column per basis function."""
    nu = mpmath.mpf(layer.poisson)
    shear = mpmath.mpf(layer.young) / (2 * (1 + nu))
    out = mpmath.zeros(4, 4)
    for column, (sign, power) in enumerate([(-1, 0), (-1, 1), (1, 0), (1, 1)]):
        f, f1, f2, f3 = _derivatives(k * mpmath.mpf(depth), sign, power)
        out[0, column] = k * ((1 - nu) * f3 - (2 - nu) * f1) / (2 * shear)
        out[1, column] = k * ((1 - nu) * f2 + nu * f) / (2 * shear)
        out[2, column] = -(k**2) * f
        out[3, column] = k**2 * f1
    return out


def _derivatives(y: mpmath.mpf, sign: int, power: int) -> list[mpmath.mpf]:
    """``y^power e^(sign y)`` and its first three derivatives in y."""
    wave = mpmath.exp(sign * y)
    return [sign**n * wave * (y if power else 1) + power * n * sign ** (n + 1) * wave
            for n in range(4)]  # fmt: skip
