"""Fewer points, where there are more than a back needs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

MOST: Final = 120_000
"""Vertices that are enough: 5 mm apart over 3 m² of a whole animal."""
ROOM: Final = 1.1
"""Up to a tenth more is left as it is: thinning would cost time and gain none."""


def thin_points(points: NDArray[np.float64], most: int = MOST) -> NDArray[np.intp]:
    """Choose points spread evenly: the one nearest the mean in each cell of a grid.

    Parameters
    ----------
    points : (n, 3) array
        Any unit.
    most : int
        About how many to leave.

    Returns
    -------
    (k,) int array
        Rows to keep, in order. All rows if there are not more than `most`.

    Examples
    --------
    >>> import numpy as np
    >>> sheet = np.random.default_rng(0).uniform(0, 1, (50_000, 3)) * [1, 1, 0]
    >>> 4_000 < len(thin_points(sheet, 5_000)) <= 5_000
    True
    """
    if len(points) <= most * ROOM:
        return np.arange(len(points))
    low, high = points.min(axis=0), points.max(axis=0)
    finest = float((high - low).max()) / 2.0**20
    side = max(float((high - low).max()) / 1000.0, finest)
    kept = _one_a_cell(points - low, side)
    # A surface has about 1/side^2 cells: a few corrections of the side reach the count.
    for _ in range(8):
        if 0.85 * most < len(kept) <= most or (len(kept) <= most and side <= finest):
            break
        side = max(side * float(np.sqrt(len(kept) / (0.93 * most))), finest)
        kept = _one_a_cell(points - low, side)
    return kept


def thin_mesh(
    vertices: NDArray[np.float64], triangles: NDArray[np.int32], most: int = MOST
) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """Collapse edges where the surface is flattest, keeping its border.

    Parameters
    ----------
    vertices : (n, 3) array
        Any unit.
    triangles : (m, 3) int array
        Rows of vertex numbers.
    most : int
        About how many vertices to leave.

    Returns
    -------
    vertices, triangles : arrays
        As given if there are not more than `most`.

    References
    ----------
    Garland and Heckbert 1997, https://doi.org/10.1145/258734.258849

    Examples
    --------
    >>> import numpy as np
    >>> x, y = np.meshgrid(np.arange(40.0), np.arange(40.0))
    >>> a = (np.arange(39)[:, None] * 40 + np.arange(39)).ravel()
    >>> sheet = np.concatenate([np.c_[a, a + 1, a + 40], np.c_[a + 1, a + 41, a + 40]])
    >>> v, t = thin_mesh(np.c_[x.ravel(), y.ravel(), 0 * x.ravel()], sheet.astype(np.int32), 800)
    >>> len(v) < 900, float(np.ptp(v[:, 0]))
    (True, 39.0)
    """
    if len(vertices) <= most * ROOM:
        return vertices, triangles
    import fast_simplification

    middle = vertices.mean(axis=0)  # in single precision far from the origin is coarse
    target = round(len(triangles) * most / len(vertices))
    fewer, faces = fast_simplification.simplify(
        (vertices - middle).astype(np.float32),
        triangles,
        target_count=target,
    )
    return fewer.astype(np.float64) + middle, faces.astype(np.int32)


def _one_a_cell(points: NDArray[np.float64], side: float) -> NDArray[np.intp]:
    keys = np.floor(points / side).astype(np.int64)
    x, y, z = keys.T
    _, place = np.unique((x << 42) | (y << 21) | z, return_inverse=True)
    count = np.bincount(place)
    mean = np.column_stack([np.bincount(place, weights=axis) for axis in points.T])
    off = ((points - (mean / count[:, None])[place]) ** 2).sum(axis=1)
    order = np.lexsort((off, place))
    first = np.flatnonzero(np.r_[True, place[order][1:] != place[order][:-1]])
    return np.sort(order[first])
