"""Pressure on the deformed skin from the contact forces on its nodes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator

from fitsim.contact.reference_model.indenter import clearance

if TYPE_CHECKING:
    from fitsim.contact.reference_model.indenter import Indenter
    from fitsim.contact.reference_model.press import Pressed
    from fitsim.contact.reference_model.slab import Slab

Array = NDArray[np.float64]


@dataclass(frozen=True)
class SkinPressure:
    """Pressure on the skin, node by node, in the deformed shape.

    Attributes
    ----------
    points : (s, 3) array, m.
    pressure : (s,) array, Pa.
    area : (s,) array, m2, each node's share of the deformed skin.
    """

    points: Array
    pressure: Array
    area: Array


def skin_pressure(slab: Slab, pressed: Pressed) -> SkinPressure:
    """Contact force on each node over its share of the deformed skin.

    Parameters
    ----------
    slab : Slab
    pressed : Pressed

    Returns
    -------
    SkinPressure
        The sum of pressure times area is the sum of the node forces.
    """
    now = slab.points + pressed.displacement
    faces = slab.skin_faces
    shares = _shares(now[faces])
    area = np.zeros(len(now))
    np.add.at(area, faces, shares)
    area = area[slab.skin]
    return SkinPressure(now[slab.skin], np.linalg.norm(pressed.push, axis=1) / area, area)


def _shares(corners: Array) -> Array:
    """Integral of each of the nine shape functions over quadratic faces (f, 9, 3): (f, 9), m2."""
    gauss, weight = np.polynomial.legendre.leggauss(3)
    shape, along, across = _biquadratic(gauss)
    tangents = (np.einsum("fad,ap->fpd", corners, grad) for grad in (along, across))
    jacobian = np.linalg.norm(np.cross(*tangents), axis=2)
    return np.asarray((jacobian * np.outer(weight, weight).ravel()) @ shape.T)


def _biquadratic(line: Array) -> tuple[Array, Array, Array]:
    """Nine shape functions and their slopes on a product of points in (-1, 1): (9, p*p) each."""
    value = np.stack([line * (line - 1.0) / 2.0, 1.0 - line**2, line * (line + 1.0) / 2.0])
    slope = np.stack([line - 0.5, -2.0 * line, line + 0.5])
    pairs = ((value, value), (slope, value), (value, slope))
    shape, along, across = (np.einsum("ap,bq->abpq", a, b).reshape(9, -1) for a, b in pairs)
    return shape, along, across


def patch_peak(
    x: Array, y: Array, pressure: Array, *, spacing: float = 5e-4, patch: float = 0.02
) -> float:
    """Highest mean pressure over a square patch, from scattered values, seen along z.

    Parameters
    ----------
    x, y : (m,) arrays, m
    pressure : (m,) array, Pa, with zeros where nothing presses.
    spacing : m, of the grid the values are spread on linearly.
    patch : m, edge of the patch.

    Returns
    -------
    float, Pa

    Examples
    --------
    >>> g = np.linspace(-0.05, 0.05, 101)
    >>> X, Y = (a.ravel() for a in np.meshgrid(g, g))
    >>> round(patch_peak(X, Y, np.where(np.hypot(X, Y) < 0.03, 1e4, 0.0)))
    10000
    """
    gx = np.arange(x.min(), x.max() + spacing / 2.0, spacing)
    gy = np.arange(y.min(), y.max() + spacing / 2.0, spacing)
    spread = LinearNDInterpolator(np.column_stack([x, y]), pressure, fill_value=0.0)
    field = spread(gx[:, None], gy[None, :])
    width = round(patch / spacing)
    total = np.zeros((len(gx) + 1, len(gy) + 1))
    total[1:, 1:] = field.cumsum(axis=0).cumsum(axis=1)
    sums = total[width:, width:] - total[:-width, width:] - total[width:, :-width]
    return float((sums + total[:-width, :-width]).max()) / width**2


def contact_area(
    corners: Array,
    indenter: Indenter,
    T_space_indenter: Array,
    *,
    tolerance: float = 3e-6,
    parts: int = 12,
) -> float:
    """Area of skin within a small distance of the indenter.

    The rule looks at shapes alone, so that any code's result can be measured by it. The skin
    parts from the indenter as the 3/2 power of the distance from the rim, so the tolerance adds
    a rim of the same width to every code.

    Parameters
    ----------
    corners : (f, 9, 3) array, m, deformed quadratic faces of the skin, 3 x 3 nodes each.
    indenter : Indenter
    T_space_indenter : (4, 4) array
    tolerance : m, along the indenter's z.
    parts : divisions of each face each way.

    Returns
    -------
    float, m2
        On the deformed skin.

    Examples
    --------
    >>> from fitsim.contact.reference_model.indenter import quadric
    >>> g = np.array([0.0, 0.005, 0.01])
    >>> face = np.stack([*np.meshgrid(g, g, indexing="ij"), np.zeros((3, 3))], axis=-1)
    >>> half = quadric(0.0, 0.0, 0.0051, 1.0)  # a flat plate over half the face
    >>> round(contact_area(face.reshape(1, 9, 3), half, np.eye(4)) * 1e6, 1)
    50.0
    """
    middle = (np.arange(parts) + 0.5) / parts * 2.0 - 1.0
    shape, along, across = _biquadratic(middle)
    points = np.einsum("fad,ap->fpd", corners, shape)
    tangents = (np.einsum("fad,ap->fpd", corners, grad) for grad in (along, across))
    area = np.linalg.norm(np.cross(*tangents), axis=2) * (2.0 / parts) ** 2
    gap = clearance(indenter, T_space_indenter, points.reshape(-1, 3)).gap.reshape(area.shape)
    with np.errstate(invalid="ignore"):
        return float(area[gap < tolerance].sum())
