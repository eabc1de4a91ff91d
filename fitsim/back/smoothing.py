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

POWERS = tuple((p, q) for p in range(5) for q in range(5 - p))
BASIS = ((0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2))


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
    fit : (6, na, nb) array
        Value, d/da, d/db, d2/da2, d2/dadb, d2/db2 at the nodes (SI); NaN where no sample is
        within reach of the widest kernel.
    cover : (na, nb) array
        Share of the narrow kernel's area that samples cover: about 1 inside, 0.5 on an edge.

    Notes
    -----
    A moving least-squares fit of degree two has no bias on a quadratic, so curvature is kept;
    a second pass smooths what the first left over ("twicing", Tukey 1977, from memory), which
    also removes the error of binning the samples into cells.
    """
    fit, cover = _one_pass(grid, samples, width)
    first = nearest_filled(fit[0])
    index = grid.index(samples.a, samples.b)
    left = samples.value - ndimage.map_coordinates(first, index, order=3, mode="nearest")
    # Samples far off the surface (a strap end, a fly, a fold of skin) are let go of smoothly.
    spread = max(1.4826 * float(np.median(np.abs(left))), 1e-4)
    trusted = samples.weight / (1.0 + (left / (6.0 * spread + 0.004)) ** 4)
    correction, _ = _one_pass(grid, replace(samples, value=left, weight=trusted), width)
    return fit + correction, cover


def _one_pass(
    grid: PlaneGrid, samples: Scattered, width: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """One local quadratic fit per node, samples taken at their cells' centres."""
    shape = (len(grid.a), len(grid.b))
    i, j = np.rint(grid.index(samples.a, samples.b)).astype(int)
    inside = (i >= 0) & (i < shape[0]) & (j >= 0) & (j < shape[1])
    mass = samples.weight[inside]
    flat = i[inside] * shape[1] + j[inside]
    weight = _summed(flat, mass, shape)
    value = _summed(flat, mass * samples.value[inside], shape)
    moments = {power: np.zeros(shape) for power in POWERS}
    targets = {power: np.zeros(shape) for power in BASIS}
    cover = np.zeros(shape)
    for wide, share in WIDENING:
        kernels = _kernels(width * wide / grid.cell, wide)
        own = _moments(weight, kernels, POWERS)
        aim = _moments(value, kernels, BASIS)
        if wide == 1.0:
            cover = own[0, 0] / grid.cell**2 / float(kernels[0].sum()) ** 2
        # Equal mass for every part of the kernel, then its share.
        for power in POWERS:
            moments[power] += share * own[power]
        for power in BASIS:
            targets[power] += share * aim[power]
    return _solved(moments, targets, width), cover


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
    field: NDArray[np.float64],
    kernels: list[NDArray[np.float64]],
    powers: tuple[tuple[int, int], ...],
) -> dict[tuple[int, int], NDArray[np.float64]]:
    """Moments of the field around every node, one per pair of powers."""
    along = {
        p: ndimage.correlate1d(field, kernels[p], axis=0, mode="constant")
        for p in {p for p, _ in powers}
    }
    return {
        (p, q): ndimage.correlate1d(along[p], kernels[q], axis=1, mode="constant")
        for p, q in powers
    }


def _solved(
    moments: dict[tuple[int, int], NDArray[np.float64]],
    targets: dict[tuple[int, int], NDArray[np.float64]],
    width: float,
) -> NDArray[np.float64]:
    """Solve the 6 x 6 normal equations of every node and give derivatives in SI."""
    shape = moments[0, 0].shape
    mass = moments[0, 0]
    known = mass > 1e-12 * max(float(mass.max()), 1e-300)
    matrix = np.empty((int(known.sum()), 6, 6))
    right = np.empty((int(known.sum()), 6))
    share = {power: moment[known] / mass[known] for power, moment in moments.items()}
    for row, (p, q) in enumerate(BASIS):
        right[:, row] = targets[p, q][known] / mass[known]
        for column, (s, t) in enumerate(BASIS):
            matrix[:, row, column] = share[p + s, q + t]
    # A trace of stiffness on slope and bend: a lone sample then gives a flat fit, not a crash.
    matrix[:, range(1, 6), range(1, 6)] += 1e-7
    coefficients = np.linalg.solve(matrix, right[..., None])[..., 0]
    factors = np.array([1.0, 1 / width, 1 / width, 2 / width**2, 1 / width**2, 2 / width**2])
    fit = np.full((6, *shape), np.nan)
    fit[:, known] = (coefficients * factors).T
    return fit


def nearest_filled(field: NDArray[np.float64]) -> NDArray[np.float64]:
    """NaN replaced by the nearest number, so that splines can pass."""
    gone = ~np.isfinite(field)
    if not gone.any():
        return field
    if gone.all():
        return np.zeros_like(field)
    near = ndimage.distance_transform_edt(gone, return_distances=False, return_indices=True)
    return np.asarray(field[tuple(near)])
