"""Views that lie in one frame made one sheet of points where they overlap."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

REACH: Final = 0.012
"""m: over this sheets are drawn into their mean; as wide as the disagreement of good views."""

_SPACING: Final = 0.004  # m: closer points are drawn into one
_MOST: Final = 40  # neighbours
_FACING: Final = 0.5


def one_sheet(
    points: Sequence[NDArray[np.float64]], normals: Sequence[NDArray[np.float64]]
) -> NDArray[np.float64]:
    """Draw overlapping sheets into their mean.

    Each point moves along its normal to the mean of the points about it that face its way, each
    view counting the same there however dense it is, so that no sheet is left beside another and
    a place that one view saw stays as seen but for its noise.

    Parameters
    ----------
    points : sequence of (n, 3) arrays, m
        Of each view, in one frame.
    normals : sequence of (n, 3) arrays
        Out of the animal.

    Returns
    -------
    (k, 3) array, m
        About 4 mm apart.

    References
    ----------
    Alexa et al. 2003, moving least squares, https://doi.org/10.1109/TVCG.2003.1175093

    Examples
    --------
    >>> import numpy as np
    >>> x, y = np.meshgrid(np.arange(0, 0.1, 0.003), np.arange(0, 0.1, 0.003))
    >>> low = np.c_[x.ravel(), y.ravel(), 0 * x.ravel()]
    >>> up = np.tile([0.0, 0.0, 1.0], (len(low), 1))
    >>> sheet = one_sheet([low, low + [0, 0, 0.004]], [up, up])
    >>> bool(np.abs(sheet[:, 2] - 0.002).max() < 1e-4)
    True
    """
    every, facing = np.concatenate(points), np.concatenate(normals)
    view = np.repeat(np.arange(len(points)), [len(p) for p in points])
    tree = cKDTree(every)
    chosen = np.unique(np.floor(every / _SPACING), axis=0, return_index=True)[1]
    drawn = np.empty((len(chosen), 3))
    for rows in np.array_split(np.arange(len(chosen)), max(1, len(chosen) // 20_000)):
        drawn[rows] = _drawn(every, facing, view, tree, chosen[rows])
    return drawn


def _drawn(
    every: NDArray[np.float64],
    facing: NDArray[np.float64],
    view: NDArray[np.intp],
    tree: cKDTree,
    chosen: NDArray[np.intp],
) -> NDArray[np.float64]:
    far, place = (
        np.asarray(a) for a in tree.query(every[chosen], k=_MOST, distance_upper_bound=REACH)
    )
    near = np.isfinite(far)
    place = np.where(near, place, chosen[:, None])
    near &= np.einsum("nki,ni->nk", facing[place], facing[chosen]) > _FACING
    weight = np.where(near, np.exp(-((2.0 * far / REACH) ** 2)), 0.0)
    height = np.einsum("nki,ni->nk", every[place] - every[chosen][:, None], facing[chosen])
    total, count = np.zeros(len(chosen)), np.zeros(len(chosen))
    for number in range(int(view.max()) + 1):
        own = np.where(view[place] == number, weight, 0.0)
        seen = own.sum(axis=1)
        has = seen > 0.0
        total[has] += (own * height).sum(axis=1)[has] / seen[has]
        count += has
    return np.asarray(every[chosen] + facing[chosen] * (total / np.maximum(count, 1))[:, None])
