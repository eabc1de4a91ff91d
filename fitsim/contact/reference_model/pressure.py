"""Pressure on the deformed skin from the contact forces on its nodes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator

if TYPE_CHECKING:
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
    area = np.bincount(faces.ravel(), weights=shares.ravel(), minlength=len(now))[slab.skin]
    return SkinPressure(now[slab.skin], np.linalg.norm(pressed.push, axis=1) / area, area)


def _shares(corners: Array) -> Array:
    """Integral of each of the nine shape functions over quadratic faces (f, 9, 3): (f, 9), m2."""
    gauss, weight = np.polynomial.legendre.leggauss(3)
    line = np.stack([gauss * (gauss - 1.0) / 2.0, 1.0 - gauss**2, gauss * (gauss + 1.0) / 2.0])
    slope = np.stack([gauss - 0.5, -2.0 * gauss, gauss + 0.5])
    shape = np.einsum("ap,bq->abpq", line, line).reshape(9, 9)
    along = np.einsum("ap,bq->abpq", slope, line).reshape(9, 9)
    across = np.einsum("ap,bq->abpq", line, slope).reshape(9, 9)
    tangents = (np.einsum("fad,ap->fpd", corners, grad) for grad in (along, across))
    jacobian = np.linalg.norm(np.cross(*tangents), axis=2)
    return np.asarray((jacobian * np.outer(weight, weight).ravel()) @ shape.T)


@dataclass(frozen=True)
class Summary:
    """What two codes are compared in.

    Attributes
    ----------
    peak : Pa, highest mean over a 20 x 20 mm patch, seen along z.
    point_max : Pa, highest single value.
    area : m2, where the pressure exceeds 2 % of the highest, seen along z.
    """

    peak: float
    point_max: float
    area: float


def summary(
    x: Array, y: Array, pressure: Array, *, spacing: float = 5e-4, patch: float = 0.02
) -> Summary:
    """Peak, maximum and area from scattered pressures, by the same rule for any code.

    Parameters
    ----------
    x, y : (m,) arrays, m
    pressure : (m,) array, Pa, with zeros where nothing presses.
    spacing : m, of the grid the values are spread on linearly.
    patch : m, edge of the patch.

    Returns
    -------
    Summary

    Examples
    --------
    >>> g = np.linspace(-0.05, 0.05, 101)
    >>> X, Y = (a.ravel() for a in np.meshgrid(g, g))
    >>> s = summary(X, Y, np.where(X**2 + Y**2 < 0.03**2, 1e4, 0.0))
    >>> round(s.peak), round(s.area * 1e4, 1)
    (10000, 28.6)
    """
    gx = np.arange(x.min(), x.max() + spacing / 2.0, spacing)
    gy = np.arange(y.min(), y.max() + spacing / 2.0, spacing)
    spread = LinearNDInterpolator(np.column_stack([x, y]), pressure, fill_value=0.0)
    field = np.maximum(spread(gx[:, None], gy[None, :]), 0.0)
    width = round(patch / spacing)
    total = np.zeros((len(gx) + 1, len(gy) + 1))
    total[1:, 1:] = field.cumsum(axis=0).cumsum(axis=1)
    sums = total[width:, width:] - total[:-width, width:] - total[width:, :-width]
    sums = sums + total[:-width, :-width]
    top = float(pressure.max())
    area = float((field > 0.02 * top).sum()) * spacing**2  # noqa: PLR2004 stated above
    return Summary(float(sums.max()) / width**2, top, area)
