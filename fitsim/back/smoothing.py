"""Smoothing scattered values on a plane grid: local quadratic fits by convolution."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

if TYPE_CHECKING:
    from numpy.typing import NDArray

WIDENING = ((1.0, 1.0), (2.5, 1e-3))
"""(width, weight) of the kernel's parts: the wide one acts only where the narrow one finds
nothing, and so carries the surface smoothly across a hole."""

BASIS = ((0, 2), (1, 1), (2, 0), (0, 1), (1, 0), (0, 0))
"""Powers of the fitted quadratic; the value comes last."""


@dataclass(frozen=True)
class PlaneGrid:
    """Regular grid over the plane (a, b) with one cell size both ways.

    Attributes
    ----------
    a : (na,) array, m.
    b : (nb,) array, m.
    """

    a: NDArray[np.float64]
    b: NDArray[np.float64]

    @property
    def cell(self) -> float:
        """Cell size, m."""
        return float(self.a[1] - self.a[0])

    def index(self, a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
        """Fractional grid index of places, (2, n)."""
        return np.array([(a - self.a[0]) / self.cell, (b - self.b[0]) / self.cell])


@dataclass(frozen=True)
class Scattered:
    """Values at scattered places of the plane.

    Attributes
    ----------
    a, b : (n,) arrays, m: places.
    value : (n,) array.
    weight : (n,) array, m2: area each value stands for.
    """

    a: NDArray[np.float64]
    b: NDArray[np.float64]
    value: NDArray[np.float64]
    weight: NDArray[np.float64]


def local_quadratic(
    grid: PlaneGrid,
    samples: Scattered,
    width: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Fit a quadratic around every grid node with Gaussian weights.

    Parameters
    ----------
    grid : PlaneGrid
    samples : Scattered
    width : float, m: standard deviation of the Gaussian.

    Returns
    -------
    value : (na, nb) array
        Of the fits at the nodes; NaN where no sample is within reach of the widest kernel.
    cover : (na, nb) array
        Share of the narrow kernel's area that samples cover: about 1 inside, 0.5 on an edge.

    Notes
    -----
    A moving least-squares fit of degree two has no bias on a quadratic, so curvature is kept;
    a second pass smooths what the first left over ("twicing", Tukey 1977, from memory), which
    also removes the error of binning the samples into cells.
    """
    index = grid.index(samples.a, samples.b)
    value, cover = _one_pass(grid, index, samples, width)
    left = samples.value - ndimage.map_coordinates(
        nearest_filled(value), index, order=3, mode="nearest"
    )
    # Samples far off the surface (a strap end, a fly, a fold of skin) are let go of smoothly.
    spread = max(1.4826 * float(np.median(np.abs(left))), 1e-4)
    trusted = samples.weight / (1.0 + ((left / (6.0 * spread + 0.004)) ** 2) ** 2)
    correction, _ = _one_pass(grid, index, replace(samples, value=left, weight=trusted), width)
    return value + correction, cover


def _one_pass(
    grid: PlaneGrid, index: NDArray[np.float64], samples: Scattered, width: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """One local quadratic fit per node, samples taken at their cells' centres."""
    shape = (len(grid.a), len(grid.b))
    i, j = np.rint(index).astype(int)
    inside = (i >= 0) & (i < shape[0]) & (j >= 0) & (j < shape[1])
    mass = samples.weight[inside]
    flat = i[inside] * shape[1] + j[inside]
    weight = _summed(flat, mass, shape)
    value = _summed(flat, mass * samples.value[inside], shape)
    moments: dict[tuple[int, int], NDArray[np.float64]] = {}
    targets: dict[tuple[int, int], NDArray[np.float64]] = {}
    cover = np.zeros(shape)
    for wide, share in WIDENING:
        kernels = _kernels(width * wide / grid.cell, wide)
        own, aim = _moments(weight, kernels, 4), _moments(value, kernels, 2)
        if wide == 1.0:
            cover = own[0, 0] / grid.cell**2 / float(kernels[0].sum()) ** 2
        # Equal mass for every part of the kernel, then its share.
        for total, part in ((moments, own), (targets, aim)):
            for power, field in part.items():
                total[power] = total.get(power, 0.0) + share * field
    return _solved(moments, targets), cover


def _summed(
    flat: NDArray[np.int_], amount: NDArray[np.float64], shape: tuple[int, int]
) -> NDArray[np.float64]:
    """Amounts summed into the cells of a grid."""
    sums = np.bincount(flat, amount, shape[0] * shape[1])
    return np.asarray(sums, dtype=np.float64).reshape(shape)


def _kernels(sigma: float, scale: float) -> list[NDArray[np.float64]]:
    """Gaussian times offset**p, p = 0..4, offsets in units of the narrow width."""
    reach = int(np.ceil(3.5 * sigma))
    offset = np.arange(-reach, reach + 1)
    gauss = np.exp(-0.5 * (offset / sigma) ** 2)
    return [gauss * (offset * scale / sigma) ** p for p in range(5)]


def _moments(
    field: NDArray[np.float64], kernels: list[NDArray[np.float64]], degree: int
) -> dict[tuple[int, int], NDArray[np.float64]]:
    """Moments of the field around every node, one per pair of powers up to a degree."""
    along = np.stack([
        ndimage.correlate1d(field, kernels[p], axis=0, mode="constant") for p in range(degree + 1)
    ])  # fmt: skip
    found = {}
    for q in range(degree + 1):
        # All powers along at once: calling costs as much as adding up
        both = ndimage.correlate1d(along[: degree + 1 - q], kernels[q], axis=2, mode="constant")
        found.update({(p, q): moment for p, moment in enumerate(both)})
    return found


def _solved(
    moments: dict[tuple[int, int], NDArray[np.float64]],
    targets: dict[tuple[int, int], NDArray[np.float64]],
) -> NDArray[np.float64]:
    """Value of every node's fit from its 6 x 6 normal equations.

    All nodes at once, one elimination step after another (the matrices are positive definite, so
    no pivots are looked for); the value is the last unknown, so nothing is put back.
    """
    mass = moments[0, 0]
    known = mass > 1e-12 * max(float(mass.max()), 1e-300)
    share = {power: moment[known] / mass[known] for power, moment in moments.items()}
    right = [targets[power][known] / mass[known] for power in BASIS]
    rows = [[share[p + s, q + t] for s, t in BASIS] for p, q in BASIS]
    for row in range(5):
        # A trace of stiffness on slope and bend: a lone sample then gives a flat fit, not a crash.
        rows[row][row] = rows[row][row] + 1e-7
    for k in range(5):
        for i in range(k + 1, 6):
            factor = rows[k][i] / rows[k][k]
            right[i] = right[i] - factor * right[k]
            for j in range(i, 6):
                rows[i][j] = rows[i][j] - factor * rows[k][j]
    value = np.full(mass.shape, np.nan)
    value[known] = right[5] / rows[5][5]
    return value


def nearest_filled(field: NDArray[np.float64]) -> NDArray[np.float64]:
    """NaN replaced by the nearest number, so that splines can pass."""
    gone = ~np.isfinite(field)
    if not gone.any():
        return field
    if gone.all():
        return np.zeros_like(field)
    near = ndimage.distance_transform_edt(gone, return_distances=False, return_indices=True)
    return np.asarray(field[tuple(near)])
