"""One back's compliance on its grid and on ever coarser ones, and cut to a window of each."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fitsim.contact.half_space import half_space_table

if TYPE_CHECKING:
    from fitsim.contact.foundation import Foundation

Array = NDArray[np.float64]
Real = TypeVar("Real", np.float32, np.float64)

_COARSEST = 16  # nodes along the longer side of the coarsest grid, which is solved directly


@dataclass(frozen=True)
class Level:
    """The compliance on one grid.

    Attributes
    ----------
    tables : (K, 2 r - 1, 2 c - 1) array, m/N, influence of one cell on another by offset.
    root : (K, r, c) array, square roots of the blending weights, 0 where there is no node.
    """

    tables: Array
    root: Array

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, columns)."""
        return self.root.shape[1], self.root.shape[2]

    @cached_property
    def plain(self) -> bool:
        """Whether it is one tissue, alike everywhere, with a node in every cell."""
        return len(self.root) == 1 and bool((self.root == 1.0).all())

    @cached_property
    def matrix(self) -> Array:
        """The compliance between all cells, (r c, r c) m/N: for a small grid."""
        rows, columns = self.shape
        i, j = np.divmod(np.arange(rows * columns), columns)
        width = 2 * columns - 1
        places = (i[:, None] - i + rows - 1) * width + j[:, None] - j + columns - 1
        matrix = np.zeros(places.shape)
        for root, table in zip(self.root, self.tables, strict=True):
            weight = root.ravel()
            matrix += weight[:, None] * table.ravel().take(places) * weight
        return matrix

    @cached_property
    def whole(self) -> Window:
        """The whole grid as a window."""
        return window_of(self, (slice(0, self.shape[0]), slice(0, self.shape[1])), None)


def levels_of(foundation: Foundation) -> tuple[Level, ...]:
    """The foundation's grid and coarser ones, each cell the mean of four of the one before.

    Parameters
    ----------
    foundation : Foundation

    Returns
    -------
    tuple of Level
        Finest first.
    """
    root = np.zeros((foundation.root.shape[1], foundation.shape[0] * foundation.shape[1]))
    root[:, foundation.nodes] = foundation.root.T
    return _with_coarser(Level(foundation.tables, root.reshape(-1, *foundation.shape)))


def half_space_levels(modulus: float, shape: tuple[int, int], spacing: float) -> tuple[Level, ...]:
    """The same for an elastic half-space of a contact modulus E / (1 - nu^2), Pa."""
    table = half_space_table(modulus, shape, spacing)
    return _with_coarser(Level(table[None], np.ones((1, *shape))))


def _with_coarser(finest: Level) -> tuple[Level, ...]:
    levels = [finest]
    while max(levels[-1].shape) > _COARSEST:
        levels.append(_coarser(levels[-1]))
    return tuple(levels)


def _coarser(level: Level) -> Level:
    """Cells twice as wide: forces spread evenly over four cells, sinking their mean."""
    rows, columns = ((n + 1) // 2 for n in level.shape)
    wide = np.pad(level.tables, ((0, 0), (2, 2), (2, 2)), mode="edge")
    centre = (level.shape[0] + 1, level.shape[1] + 1)
    tables = np.zeros((len(wide), 2 * rows - 1, 2 * columns - 1))
    for i, share in ((-1, 0.25), (0, 0.5), (1, 0.25)):
        for j, other in ((-1, 0.25), (0, 0.5), (1, 0.25)):
            first = (centre[0] - 2 * (rows - 1) + i, centre[1] - 2 * (columns - 1) + j)
            part = wide[:, first[0] :: 2, first[1] :: 2][:, : 2 * rows - 1, : 2 * columns - 1]
            tables += share * other * part
    return Level(tables, gathered(level.root))


def gathered(field: Array) -> Array:
    """Mean (..., r, c) over the cells of the next coarser grid; the odd edge counts itself."""
    rows, columns = field.shape[-2:]
    if rows % 2 or columns % 2:
        edges = [(0, 0)] * (field.ndim - 2) + [(0, rows % 2), (0, columns % 2)]
        field = np.pad(field, edges, mode="edge")
    pairs: Array = field[..., ::2, :] + field[..., 1::2, :]
    return np.asarray(0.25 * (pairs[..., ::2] + pairs[..., 1::2]))


def spread_out(field: Array, shape: tuple[int, int]) -> Array:
    """Bilinear interpolation (..., r, c) of cell means to the next finer grid."""
    along = np.empty((*field.shape[:-2], 2 * field.shape[-2], field.shape[-1]))
    _between(field, along[..., ::2, :], along[..., 1::2, :], -2)
    fine = np.empty((*along.shape[:-1], 2 * along.shape[-1]))
    _between(along, fine[..., ::2], fine[..., 1::2], -1)
    return fine[..., : shape[0], : shape[1]]


def _between(field: Array, before: Array, after: Array, axis: int) -> None:
    """Write what lies a quarter cell before and after each cell's middle; flat at the edges."""
    field, before, after = (np.swapaxes(one, axis, 0) for one in (field, before, after))
    quarter = 0.25 * np.diff(field, axis=0)
    before[:] = field
    before[1:] -= quarter
    after[:] = field
    after[:-1] += quarter


@dataclass(frozen=True)
class Window:
    """A level's compliance between the cells of a window, ready for convolution.

    Attributes
    ----------
    shape : (rows, columns).
    torus : twice the half torus, large enough for nothing to come round.
    half : the torus of the preconditioner.
    root : (K, r, c) array, or None where it is one everywhere.
    spectra : (K, ., .) array, m/N.
    inverse : array, N/m, inverse symbol of the preconditioner.
    added : (r, c) array, m/N, compliance of each cell on its own, or None.
    even : (r, c) array, -, evens out cells of different compliance, or None where alike.
    own : (r, c) array, m/N, sinking of each cell under its own force.
    """

    shape: tuple[int, int]
    torus: tuple[int, int]
    half: tuple[int, int]
    root: Array | None
    spectra: Array
    inverse: Array
    added: Array | None
    even: Array | None
    own: Array

    def sinking(self, force: Array) -> Array:
        """Sinking (r, c) m under forces (r, c) N."""
        if self.root is None:
            sunk = convolve(force, self.spectra[0], self.torus)
        else:
            sunk = np.einsum(
                "kij,kij->ij", self.root, convolve(self.root * force, self.spectra, self.torus)
            )
        return sunk if self.added is None else sunk + self.added * force

    def preconditioned(self, left: Array) -> Array:
        """Forces that would roughly sink it so, (r, c) N."""
        if self.even is None:
            return convolve(left, self.inverse, self.half)
        return np.asarray(self.even * convolve(self.even * left, self.inverse, self.half))


def window_of(level: Level, place: tuple[slice, slice], added: Array | None) -> Window:
    """Cut a level to a window (slices with start and stop)."""
    root = level.root[:, place[0], place[1]]
    shape = (root.shape[1], root.shape[2])
    half = tuple(fft.next_fast_len(n, real=True) for n in shape)
    torus = (2 * half[0], 2 * half[1])
    middle = [(n - 1) // 2 for n in level.tables.shape[1:]]
    (a, b), (r, c) = middle, shape
    laid = np.zeros((len(level.tables), *torus))
    laid[:, :r, :c] = level.tables[:, a : a + r, b : b + c]
    laid[:, 1 - r or torus[0] :, :c] = level.tables[:, a + 1 - r : a, b : b + c]
    laid[:, :, 1 - c or torus[1] :] = laid[:, :, c - 1 : 0 : -1]
    spectra = fft.fft(fft.rfft(laid), axis=1, overwrite_x=True).real
    alone = level.tables[:, a, b]
    share = np.ones((1, 1, 1)) if level.plain else root**2
    mean = share.mean(axis=(1, 2))
    own = np.broadcast_to(np.tensordot(alone, share, 1), shape)
    usual = 0.0 if added is None else float(np.median(added))
    typical = float(mean @ alone)
    whole = own if added is None else own + added
    there = whole > 0.0
    return Window(
        shape=shape,
        torus=torus,
        half=(half[0], half[1]),
        root=None if level.plain else root,
        spectra=np.ascontiguousarray(spectra),
        inverse=1.0 / (symbol_on_half(np.tensordot(mean, laid, 1)) + usual),
        added=added,
        even=None
        if level.plain and added is None
        else np.where(there, np.sqrt((typical + usual) / np.where(there, whole, 1.0)), 0.0),
        own=own,
    )


def symbol_on_half(laid: Array) -> Array:
    """Fourier symbol of an influence table on a torus of half its size, for a preconditioner.

    Cut off at the torus the table's own symbol ripples, and that doubles the steps. Faded out
    with Bartlett's window, itself a positive definite function, it stays positive (Schur's
    product theorem) and smooth.

    Parameters
    ----------
    laid : (2 p, 2 q) array, m/N
        Influence laid out on its torus, offset nought first.

    Returns
    -------
    (p, q // 2 + 1) array, m/N, > 0
    """
    half = [n // 2 for n in laid.shape]
    rows, columns = (
        1.0 - np.abs(np.arange(2 * n) - 2 * n * (np.arange(2 * n) > n)) / n for n in half
    )
    faded = laid * rows[:, None] * columns
    folded = faded.reshape(2, half[0], 2, half[1]).sum(axis=(0, 2))
    symbol: Array = fft.rfft2(folded).real
    return symbol


def convolve(grid: NDArray[Real], spectra: NDArray[Real], torus: tuple[int, int]) -> NDArray[Real]:
    """Convolve grids (..., r, c) on a torus and cut the grid out again.

    The rows of the torus beyond the grid are empty on the way in and not wanted on the way out,
    so that only the grid's own are transformed along them.
    """
    rows, columns = grid.shape[-2:]
    waves = fft.fft(fft.rfft(grid, torus[1]), torus[0], axis=-2, overwrite_x=True)
    waves *= spectra
    spread = fft.ifft(waves, axis=-2, overwrite_x=True)[..., :rows, :]
    cut: NDArray[Real] = fft.irfft(spread, torus[1])[..., :columns]
    return cut
