"""The back's compliance between the nodes near the bars: a dense block, or convolutions.

Both are the same operator. The block is factorised once a step and is the faster one for some
hundreds of nodes; the convolution needs no more memory than the nodes and is solved by conjugate
gradients, preconditioned with the inverse of its own Fourier symbol, in a few steps whatever the
grid (docs/operators.md has the figures).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy import fft, linalg

from fitsim.contact.conjugate import conjugate_gradients
from fitsim.contact.levels import convolve, symbol_on_half

if TYPE_CHECKING:
    from fitsim.contact.foundation import Foundation

Array = NDArray[np.float64]
Single = NDArray[np.float32]
Index = NDArray[np.int_]

_DENSE_UP_TO = 900  # nodes; beyond it the convolution is the faster one


class Inverse(Protocol):
    """Solves (C + added) x = asked between chosen nodes."""

    def __call__(self, asked: Array, guess: Array | None, tolerance: float) -> Array:
        """Forces (a, c) N for asked sinkings (a, c) m."""
        ...


class Compliance(Protocol):
    """Sinking (m) of m nodes under forces (N) on them."""

    @property
    def diagonal(self) -> Array:
        """(m,) m/N, sinking of each node under its own force."""
        ...

    def sinking(self, force: Array) -> Array:
        """Sinking (m,) m under forces (m,) N."""
        ...

    def inverse(self, chosen: Index, added: Array) -> Inverse:
        """Make ready to solve between chosen nodes, with compliance (a,) m/N added to each."""
        ...


def compliance_of(
    foundation: Foundation, near: Index, dense_up_to: int = _DENSE_UP_TO
) -> Compliance:
    """The compliance between some nodes, in the form that is faster for so many.

    Parameters
    ----------
    foundation : Foundation
    near : (m,) int array, nodes of the foundation
    dense_up_to : int
        Most nodes for which the dense block is formed.

    Returns
    -------
    Compliance
    """
    if len(near) <= dense_up_to:
        return Dense(foundation.block(near))
    return convolved(foundation, near)


@dataclass(frozen=True)
class Dense:
    """The compliance as a matrix (m, m), m/N."""

    matrix: Array

    @cached_property
    def diagonal(self) -> Array:
        """(m,) m/N."""
        return self.matrix.diagonal().copy()

    @cached_property
    def _single(self) -> Single:
        return self.matrix.astype(np.float32)

    def sinking(self, force: Array) -> Array:
        """Sinking (m,) m under forces (m,) N."""
        return np.asarray(self.matrix @ force)

    def inverse(self, chosen: Index, added: Array) -> Inverse:
        """Factorise the block of the chosen nodes (Cholesky, single precision)."""
        stiff = self._single.take(chosen, axis=0).take(chosen, axis=1)
        stiff[np.diag_indices(len(chosen))] += added
        factor = linalg.cho_factor(stiff.T, lower=True, overwrite_a=True, check_finite=False)

        def solved(asked: Array, guess: Array | None, tolerance: float) -> Array:  # noqa: ARG001
            answer = linalg.cho_solve(factor, asked.astype(np.float32), check_finite=False)
            return np.asarray(answer, dtype=np.float64)

        return solved


@dataclass(frozen=True)
class Convolved:
    """The compliance as a convolution over the smallest box of the grid that holds the nodes.

    Attributes
    ----------
    box : (rows, columns).
    padded : the box on a torus twice as large, so that nothing comes round.
    place : (m,) int array, place of each node in the flattened box.
    root : (K, m) array, square roots of the blending weights of the tissues that occur.
    spectra : (K, ., .) array, m/N, real as influence is even.
    symbols : (K, ., .) array, m/N, the same on half the torus, for the preconditioner.
    diagonal : (m,) array, m/N.
    """

    box: tuple[int, int]
    padded: tuple[int, int]
    place: Index
    root: Array
    spectra: Array
    symbols: Array
    diagonal: Array

    @cached_property
    def _single(self) -> tuple[Single, Single]:
        """Roots (K, rows, columns) on the box and spectra, in single precision."""
        root = np.zeros((len(self.root), self.box[0] * self.box[1]), dtype=np.float32)
        root[:, self.place] = self.root
        return root.reshape(-1, *self.box), self.spectra.astype(np.float32)

    def sinking(self, force: Array) -> Array:
        """Sinking (m,) m under forces (m,) N, in double precision."""
        grid = np.zeros((len(self.root), self.box[0] * self.box[1]))
        grid[:, self.place] = self.root * force
        spread = convolve(grid.reshape(-1, *self.box), self.spectra, self.padded)
        found = spread.reshape(len(grid), -1).take(self.place, axis=1)
        return np.asarray(np.einsum("km,km->m", self.root, found))

    def inverse(self, chosen: Index, added: Array) -> Inverse:
        """Preconditioned conjugate gradients between the chosen nodes, in single precision."""
        place = self.place[chosen]
        own = self._laid(added[:, None], place)[0]
        mask = self._laid(np.ones((len(chosen), 1)), place)[0]
        root, spectra = self._single
        root = root * mask

        def apply(force: Single) -> Single:
            spread = convolve(root * force[:, None], spectra, self.padded)
            sunk: Single = np.einsum("cktu,ktu->ctu", spread, root)
            sunk += own * force
            return sunk

        symbol, scale = self._preconditioner(chosen, added)
        even = self._laid(scale[:, None], place)[0]
        half = (self.padded[0] // 2, self.padded[1] // 2)

        def precondition(left: Single) -> Single:
            better: Single = even * convolve(even * left, symbol, half)
            return better

        def solved(asked: Array, guess: Array | None, tolerance: float) -> Array:
            columns = asked.reshape(len(asked), -1)
            right = self._laid(columns, place)
            start = (
                np.zeros_like(right)
                if guess is None
                else self._laid(guess.reshape(columns.shape), place)
            )
            found = conjugate_gradients(apply, precondition, right, start, tolerance)
            answer = found.reshape(len(found), -1)[:, place].T
            return answer.astype(np.float64).reshape(asked.shape)

        return solved

    def _laid(self, columns: Array, place: Index) -> Single:
        """Columns (a, c) at places of the box: (c, rows, columns), 0 elsewhere."""
        grid = np.zeros((columns.shape[1], self.box[0] * self.box[1]), dtype=np.float32)
        grid[:, place] = columns.T
        return grid.reshape(-1, *self.box)

    def _preconditioner(self, chosen: Index, added: Array) -> tuple[Single, Array]:
        """Inverse symbol of the mean tissue and added compliance, and what evens the nodes out.

        It lives on a torus of half the size, which saves three quarters of the work.
        """
        mean = np.mean(self.root[:, chosen] ** 2, axis=1)
        own, usual = self.diagonal[chosen], float(np.median(added))
        inverse = 1.0 / (np.tensordot(mean, self.symbols, 1) + usual)
        return inverse.astype(np.float32), np.sqrt((own.mean() + usual) / (own + added))


def convolved(foundation: Foundation, near: Index) -> Convolved:
    """Compliance between some nodes of a foundation as a convolution over their own box.

    Parameters
    ----------
    foundation : Foundation
    near : (m,) int array

    Returns
    -------
    Convolved
    """
    rows, columns = np.divmod(foundation.nodes[near], foundation.shape[1])
    rows, columns = rows - rows.min(), columns - columns.min()
    box = (int(rows.max()) + 1, int(columns.max()) + 1)
    half = tuple(fft.next_fast_len(n, real=True) for n in box)
    padded = (2 * half[0], 2 * half[1])
    root = foundation.root[near].T
    used = root.any(axis=1)
    centre = (foundation.shape[0] - 1, foundation.shape[1] - 1)
    reach = [np.arange(1 - n, n) for n in box]
    tables = foundation.tables[used][:, centre[0] + reach[0][:, None], centre[1] + reach[1]]
    laid = np.zeros((len(tables), *padded))
    laid[:, reach[0][:, None], reach[1]] = tables
    return Convolved(
        box=box,
        padded=padded,
        place=rows * box[1] + columns,
        root=np.ascontiguousarray(root[used]),
        spectra=fft.rfft2(laid).real,
        symbols=np.stack([symbol_on_half(one) for one in laid]),
        diagonal=foundation.root[near] ** 2 @ foundation.tables[:, centre[0], centre[1]],
    )
