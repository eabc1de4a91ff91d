"""Elimination order for the slab: nested dissection of its columns of nodes.

A slab is wide and thin, so cutting it in half again and again along lines of nodes keeps the
fill-in near the least possible (A. George 1973, SIAM J. Numer. Anal. 10:345-363,
doi:10.1137/0710032, from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Index = NDArray[np.int_]

_LEAF = 2  # grid lines across a block that is no longer cut; found fastest by measurement


def dissection(grid: Index) -> Index:
    """Order of elimination of the slab's nodes.

    Parameters
    ----------
    grid : (2 nx + 1, 2 ny + 1, 2 nz + 1) int array
        Node at each place, see `Slab`.

    Returns
    -------
    (n,) int array
        Every node once; each cut after the two halves it parts.

    Examples
    --------
    >>> order = dissection(np.arange(9 * 5 * 3).reshape(9, 5, 3))
    >>> len(order), len(set(order.tolist())), int(order[-1])
    (135, 135, 74)
    """
    if max(grid.shape[:2]) <= _LEAF:
        return grid.ravel()
    if grid.shape[0] < grid.shape[1]:
        return dissection(grid.transpose(1, 0, 2))
    middle = grid.shape[0] // 2
    middle -= middle % 2  # between elements: nodes on even lines couple across, odd ones do not
    halves = [dissection(grid[:middle]), dissection(_flipped(grid[middle + 1 :]))]
    return np.concatenate([*halves, grid[middle].ravel()])


def _flipped(grid: Index) -> Index:
    """The second half turned round, so that its even lines lie between elements again."""
    return grid[::-1]
