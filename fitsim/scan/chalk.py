"""A line drawn on the hide cut into places along it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from numpy.typing import NDArray

PIECE: Final = 0.030
"""m: a place is given for each so long piece of a line."""


def pieces_along(points: NDArray[np.float64], reach: float) -> tuple[list[NDArray[np.intp]], float]:
    """Cut points that lie along a line, straight, bent or closed, into pieces of `PIECE`.

    Ways are measured through the points from one end of the line; a ring has two arms, and each
    arm its own pieces.

    Parameters
    ----------
    points : (n, 3) array, m
        That hang together within `reach`.
    reach : float, m
        How far apart neighbours may be.

    Returns
    -------
    pieces : list of int arrays
        Rows of the points of each.
    length : float, m
        Of all pieces together, without the gaps between them.

    Examples
    --------
    >>> import numpy as np
    >>> line = np.column_stack([np.linspace(0, 0.12, 61), np.zeros(61), np.zeros(61)])
    >>> pieces, length = pieces_along(line, 0.005)
    >>> len(pieces), round(length, 3)
    (4, 0.114)
    """
    pairs = cKDTree(points).query_pairs(reach, output_type="ndarray")
    apart = np.linalg.norm(points[pairs[:, 0]] - points[pairs[:, 1]], axis=1)
    shape = (len(points), len(points))
    graph = coo_array((apart, pairs.T), shape=shape).tocsr()
    from_any = dijkstra(graph, directed=False, indices=np.array([0]))[0]
    end = int(np.argmax(np.where(np.isfinite(from_any), from_any, -1.0)))
    way = dijkstra(graph, directed=False, indices=np.array([end]))[0]
    way[~np.isfinite(way)] = -1.0
    number = np.floor((1.0 - 1e-9) * way / PIECE).astype(np.intp)
    same = number[pairs[:, 0]] == number[pairs[:, 1]]
    joined = coo_array((np.ones(int(same.sum())), pairs[same].T), shape=shape)
    count, label = connected_components(joined, directed=False)
    pieces = [np.flatnonzero(label == k) for k in range(count)]
    length = sum(float(np.ptp(way[rows])) for rows in pieces)
    return pieces, length
