"""Fewer points, where there are more than a back needs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from fitsim.scan.cells import cell_keys, cell_means
from fitsim.scan.weld import distinct

if TYPE_CHECKING:
    from numpy.typing import NDArray

MOST: Final = 120_000
"""Vertices that are enough: 5 mm apart over 3 m² of a whole animal."""
ROOM: Final = 1.1
"""Up to a tenth more is left as it is: thinning would cost time and gain none."""

_FINEST: Final = 2.0**-20  # of the longest side: three such steps fit one 64-bit key


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
        Rows to keep, in order. All rows if there are hardly more than `most`.

    Examples
    --------
    >>> import numpy as np
    >>> sheet = np.random.default_rng(0).uniform(0, 1, (50_000, 3)) * [1, 1, 0]
    >>> 4_000 < len(thin_points(sheet, 5_000)) <= 5_000
    True
    """
    if len(points) <= most * ROOM:
        return np.arange(len(points))
    place = _cells(points, most)
    return np.sort(_nearest_mean(points, place, cell_means(points, place)))


def thin_mesh(
    vertices: NDArray[np.float64], triangles: NDArray[np.int32], most: int = MOST
) -> tuple[NDArray[np.float64], NDArray[np.int32], NDArray[np.intp]]:
    """Draw the vertices in each cell of a grid into their mean.

    Averaging takes noise out as well; on a surface of radius R and cells of side s it lies
    s²/(24 R) too low, some micrometres. A border moves by less than a cell. Collapsing edges
    one by one instead took twenty times as long and folded noisy scans over themselves.

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
    vertices : (k, 3) array
        As given if there are hardly more than `most`.
    triangles : (l, 3) int array
        Rows of the new vertex numbers.
    rows : (k,) int array
        The old vertex that lies nearest each new one.

    References
    ----------
    Rossignac and Borrel 1993, https://doi.org/10.1007/978-3-642-78114-8_29

    Examples
    --------
    >>> import numpy as np
    >>> x, y = np.meshgrid(np.arange(40.0), np.arange(40.0))
    >>> a = (np.arange(39)[:, None] * 40 + np.arange(39)).ravel()
    >>> sheet = np.concatenate([np.c_[a, a + 1, a + 40], np.c_[a + 1, a + 41, a + 40]])
    >>> v, t, _ = thin_mesh(np.c_[x.ravel(), y.ravel(), 0 * x.ravel()], sheet.astype(np.int32), 900)
    >>> 700 < len(v) <= 900, int(t.max()) == len(v) - 1
    (True, True)
    """
    if len(vertices) <= most * ROOM:
        return vertices, triangles, np.arange(len(vertices))
    place = _cells(vertices, most)
    means = cell_means(vertices, place)
    fewer = place[triangles]
    fewer = fewer[distinct(fewer)]
    used = np.zeros(len(means), dtype=bool)
    used[fewer] = True
    renumbered = (np.cumsum(used) - 1).astype(np.int32)[fewer]
    return means[used], renumbered, _nearest_mean(vertices, place, means)[used]


def _cells(points: NDArray[np.float64], most: int) -> NDArray[np.intp]:
    """Cell of each point, in a grid so fine that about `most` cells are filled."""
    longest = float(np.ptp(points, axis=0).max())
    side = longest / np.sqrt(most)  # right for a flat square
    # A surface fills about 1/side^2 cells: a few corrections of the side reach the count.
    for _ in range(8):
        keys = np.sort(cell_keys(points, side))  # numpy's unique hashes: ten times slower
        filled = 1 + np.count_nonzero(keys[1:] != keys[:-1])
        if 0.85 * most < filled <= most or (filled <= most and side <= longest * _FINEST):
            break
        side = max(side * np.sqrt(filled / (0.93 * most)), longest * _FINEST)
    return np.unique(cell_keys(points, side), return_inverse=True)[1]


def _nearest_mean(
    points: NDArray[np.float64], place: NDArray[np.intp], means: NDArray[np.float64]
) -> NDArray[np.intp]:
    """In each cell the point nearest its mean, the first of those as near."""
    far = np.zeros(len(points))
    for axis, mean in zip(points.T, means.T, strict=True):
        far += (axis - mean.take(place)) ** 2
    least = np.full(len(means), np.inf)
    np.minimum.at(least, place, far)  # sorting five million points took seven seconds
    nearest = np.flatnonzero(far == least[place])
    return nearest[np.unique(place[nearest], return_index=True)[1]]
