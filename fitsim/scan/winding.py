"""Triangles that all turn the same way round, with their outer side out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from fitsim.scan.ranked import stable_order
from fitsim.scan.triangles import area_normals, lengths, triangle_middles

if TYPE_CHECKING:
    from numpy.typing import NDArray


def outward(
    vertices: NDArray[np.float64], triangles: NDArray[np.int32]
) -> tuple[NDArray[np.int32], int]:
    """Turn triangles so that each piece's normals agree and point away from the middle.

    For a closed surface that is its outside. A back open below bulges away from its own
    middle, so it is its outside there too.

    Parameters
    ----------
    vertices : (n, 3) array
        Any unit.
    triangles : (m, 3) int array
        Rows of vertex numbers.

    Returns
    -------
    triangles : (m, 3) int array
        Some turned.
    turned : int
        How many.

    Examples
    --------
    >>> import numpy as np
    >>> corner = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
    >>> inward = np.array([[0, 1, 2], [0, 3, 1], [0, 2, 3], [1, 3, 2]], dtype=np.int32)
    >>> outward(corner, inward)[1]
    4
    """
    flip, piece = _agreeing(triangles)
    normals = area_normals(vertices, triangles)
    area, centres = lengths(normals), triangle_middles(vertices, triangles)
    middle = area @ centres / max(float(area.sum()), np.finfo(float).tiny)
    bulge = ((centres - middle) * normals).sum(axis=1) * np.where(flip, -1.0, 1.0)
    flip ^= (np.bincount(piece, weights=bulge) < 0.0)[piece]
    if not flip.any():
        return triangles, 0
    turned = triangles.copy()
    turned[flip] = turned[flip][:, ::-1]
    return turned, int(flip.sum())


def _agreeing(triangles: NDArray[np.int32]) -> tuple[NDArray[np.bool_], NDArray[np.int32]]:
    """Which triangles to turn so that neighbours agree, and the piece of each triangle.

    Two triangles agree if they run along their common edge in opposite directions. Each
    triangle stands in a graph twice, as it is and turned; neighbours that agree are linked like
    to like, others crosswise. A surface with two sides falls into two parts of this graph, and
    one of them is the answer. One without (a Moebius strip) is left as it is.
    """
    count = len(triangles)
    one, other, crosswise = _neighbours(triangles)
    if not crosswise.any():
        links = coo_array((np.ones(len(one), dtype=bool), (one, other)), shape=(count, count))
        return np.zeros(count, dtype=bool), connected_components(links, directed=False)[1]
    ends_one = np.concatenate([one, one + count])
    ends_other = np.concatenate([other + crosswise * count, other + ~crosswise * count])
    graph = coo_array(
        (np.ones(len(ends_one), dtype=bool), (ends_one, ends_other)), shape=(2 * count,) * 2
    )
    label = connected_components(graph, directed=False)[1]
    upright, flipped = label[:count], label[count:]
    _, piece = np.unique(np.minimum(upright, flipped), return_inverse=True)
    return upright > flipped, piece.astype(np.int32)


def _neighbours(
    triangles: NDArray[np.int32],
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """Pairs of triangles on one edge, and whether they run along it the same way."""
    start = triangles.ravel().astype(np.int64)
    end = np.roll(triangles, -1, axis=1).ravel().astype(np.int64)
    key = np.minimum(start, end) * (int(triangles.max(initial=0)) + 1) + np.maximum(start, end)
    order = stable_order(key)
    key = key[order]
    same = np.flatnonzero(key[1:] == key[:-1])
    first, second = order[same], order[same + 1]
    crosswise = (start[first] < end[first]) == (start[second] < end[second])
    return first // 3, second // 3, crosswise
