"""Pieces of a scan that hang together: which belong to the animal, which are stray or double."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from fitsim.scan.cells import cell_keys

if TYPE_CHECKING:
    from numpy.typing import NDArray

LINK: Final = 0.03
"""Points closer than about this hang together, m; more where the cloud is thin."""
GAP: Final = 0.15
"""A piece this near the main one may be another part of the same animal, m: a strip the
scanner missed under a strap or a hand."""
SMALLEST: Final = 0.02
"""Share of the whole surface under which a piece is stray: about 15 x 15 cm beside a whole back.
A ball of 4 cm over the back is stray, the other half of a back that a strap parted is not."""

_DOUBLE: Final = 0.010  # m: two passes of a scanner lie closer than this or are two things
_MOSTLY: Final = 0.9


def mesh_pieces(count: int, triangles: NDArray[np.int32]) -> NDArray[np.int32]:
    """Number each vertex by the connected piece of surface it is in.

    Parameters
    ----------
    count : int
        Number of vertices.
    triangles : (m, 3) array
        Rows of vertex numbers.

    Returns
    -------
    (count,) int array
        0, 1, ... in no order.

    Examples
    --------
    >>> import numpy as np
    >>> mesh_pieces(6, np.array([[0, 1, 2], [3, 4, 5]])).tolist()
    [0, 0, 0, 1, 1, 1]
    """
    ends = np.concatenate([triangles[:, :2], triangles[:, 1:]])
    edges = coo_array((np.ones(len(ends), dtype=bool), ends.T), shape=(count, count))
    return connected_components(edges, directed=False)[1]


def point_pieces(points: NDArray[np.float64]) -> NDArray[np.int32]:
    """Number each point by the cluster it is in.

    Parameters
    ----------
    points : (n, 3) array, m
        A cloud.

    Returns
    -------
    (n,) int array
        0, 1, ... in no order.

    Examples
    --------
    >>> import numpy as np
    >>> x = np.r_[np.arange(0.0, 0.1, 0.01), np.arange(1.0, 1.1, 0.01)]
    >>> np.unique(point_pieces(np.column_stack([x, 0 * x, 0 * x]))).tolist()
    [0, 1]
    """
    sample = points[:: max(1, len(points) // 2000)]
    spacing = float(np.median(np.asarray(cKDTree(points).query(sample, k=2)[0])[:, 1]))
    side = max(LINK, 4.0 * spacing) / 1.8  # cells that touch at a corner are linked
    _, first, place = np.unique(cell_keys(points, side), return_index=True, return_inverse=True)
    corners = np.floor((points[first] - points.min(axis=0)) / side)
    pairs = cKDTree(corners).query_pairs(1.8, output_type="ndarray")
    links = coo_array((np.ones(len(pairs), dtype=bool), pairs.T), shape=(len(first),) * 2)
    return connected_components(links, directed=False)[1][place]


def belonging(
    points: NDArray[np.float64], piece: NDArray[np.int32], weight: NDArray[np.float64]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Tell the pieces of the animal from stray and double ones.

    The largest piece is the animal's. Another belongs to it if it is large enough and near
    enough, unless it lies on the main piece almost everywhere: then it is the same surface
    twice.

    Parameters
    ----------
    points : (n, 3) array, m
        Vertices.
    piece : (n,) int array
        Piece of each.
    weight : (n,) array
        What each counts for: its share of the surface.

    Returns
    -------
    kept : (n,) bool array
        In a piece of the animal.
    double : (n,) bool array
        In a piece that repeats the main one.

    Examples
    --------
    >>> import numpy as np
    >>> points = np.random.default_rng(0).uniform(0, 1, (1000, 3)) * [1, 1, 0]
    >>> points[:1] += 5.0
    >>> kept, double = belonging(points, np.r_[1, np.zeros(999, int)], np.ones(1000))
    >>> int((~kept).sum()), bool(double.any())
    (1, False)
    """
    size = np.bincount(piece, weights=weight)
    main = int(size.argmax())
    large = size >= SMALLEST * size.sum()
    kept, double = piece == main, np.zeros(len(piece), dtype=bool)
    candidates = np.flatnonzero(large & (np.arange(len(size)) != main))
    if len(candidates) == 0:
        return kept, double
    waiting = list(candidates[np.argsort(-size[candidates])])
    grown = True
    while grown and waiting:  # a piece may hang on by another one
        tree, grown, far = cKDTree(points[kept]), False, []
        for number in waiting:
            mine = piece == number
            distance = np.asarray(tree.query(points[mine], distance_upper_bound=GAP)[0])
            if (distance < _DOUBLE).mean() > _MOSTLY:
                double |= mine
            elif np.isfinite(distance).any():
                kept |= mine
                grown = True
            else:
                far.append(number)
        waiting = far
    return kept, double
