"""Places on the chart: from chart coordinates to the body, and outlines laid on the skin."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Chart


_WHOLE = 0.999


def surface_triangles(chart: Chart) -> NDArray[np.intp]:
    """Return the triangles of the chart whose three corners exist.

    Returns
    -------
    (m, 3) array, indices into the chart's nodes in row-major order, anticlockwise from outside.
    """
    node = np.arange(chart.valid.size).reshape(chart.valid.shape)
    a, b = node[:-1, :-1].ravel(), node[1:, :-1].ravel()
    c, d = node[1:, 1:].ravel(), node[:-1, 1:].ravel()
    both_ways = np.concatenate([np.c_[a, b, c], np.c_[a, c, d], np.c_[a, b, d], np.c_[b, c, d]])
    valid = chart.valid.ravel()
    whole = np.tile(valid[a] & valid[b] & valid[c] & valid[d], 2)
    standing = valid[both_ways].all(axis=1)
    # Whole cells are cut one way; cells with one missing corner by whichever cut saves a triangle.
    keep = standing & np.concatenate([np.ones_like(whole), ~whole])
    return np.asarray(both_ways[keep])


def under_bars(chart: Chart, bar: NDArray[np.int_]) -> NDArray[np.bool_]:
    """Return the nodes under a bar, of each bar only those that hang together.

    A bar's front end may lie square in front of a steep neck a hand away: that is no daylight
    under it. Where nothing but such pieces lies under a bar, its largest is kept.

    Parameters
    ----------
    chart : the surface.
    bar : (n,) int array, see `Equilibrium.bar`.

    Returns
    -------
    (n,) bool array
    """
    kept = np.zeros(chart.valid.shape, dtype=bool)
    for side in (1, -1):
        pieces, count = ndimage.label(on_nodes(chart, 1.0 * (bar == side), 0.0), np.ones((3, 3)))
        if count:
            kept |= pieces == 1 + np.argmax(np.bincount(pieces.ravel())[1:])
    return kept[chart.valid]


def laid_on(
    chart: Chart, xt: NDArray[np.float64], above: float = 0.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the body points and normals of chart places.

    Parameters
    ----------
    chart : the surface.
    xt : (n, 2) array, m, chart coordinates.
    above : m, height over the skin.

    Returns
    -------
    points, normals : (n, 3) arrays, m and unit; nan where the surface does not exist.
    """
    at = [(xt[:, 0] - chart.x[0]) / chart.spacing, (xt[:, 1] - chart.t[0]) / chart.spacing]
    there = np.where(chart.valid, 1.0, 0.0)
    cover = ndimage.map_coordinates(there, at, order=1, mode="constant")

    def drawn(field: NDArray[np.float64]) -> NDArray[np.float64]:
        known = np.where(chart.valid[..., None], field, 0.0)
        parts = [ndimage.map_coordinates(known[..., k], at, order=1) for k in range(3)]
        return np.stack(parts, axis=-1)

    normals = drawn(chart.normals)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    points = drawn(chart.points) + above * normals
    missing = cover < _WHOLE  # a place that leans on a missing corner is not on the surface
    points[missing] = np.nan
    normals[missing] = np.nan
    return points, normals


def finely(outline: NDArray[np.float64], step: float = 0.004) -> NDArray[np.float64]:
    """Return a closed polygon with points no further apart than `step`.

    Parameters
    ----------
    outline : (k, 2) array, m, its last point need not repeat the first.

    Examples
    --------
    >>> square = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
    >>> finely(square, 0.25).shape
    (17, 2)
    """
    closed = np.vstack([outline, outline[:1]])
    legs = np.linalg.norm(np.diff(closed, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(legs)])
    places = np.linspace(0.0, along[-1], max(int(np.ceil(along[-1] / step)), 3) + 1)
    return np.column_stack([np.interp(places, along, closed[:, k]) for k in range(2)])


def rounded(outline: NDArray[np.float64], reach: float = 0.012) -> NDArray[np.float64]:
    """Return a closed polygon with its corners rounded: nothing under a skin has a square one.

    Parameters
    ----------
    outline : (k, 2) array, m, its last point need not repeat the first.
    reach : m, over which places on the outline are averaged.

    Returns
    -------
    (n, 2) array, m, its last point does not repeat the first.

    Examples
    --------
    >>> square = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
    >>> ring = rounded(square)
    >>> off = np.linalg.norm(square[:, None] - ring, axis=2).min(axis=1)
    >>> bool((off > 0.005).all()), bool((off < 0.012).all())
    (True, True)
    """
    step = 0.004
    ring = finely(outline, step)[:-1]
    return np.asarray(ndimage.gaussian_filter1d(ring, reach / step, axis=0, mode="wrap"))


def on_nodes(chart: Chart, values: NDArray[np.float64], missing: float) -> NDArray[np.float64]:
    """Return values of the valid nodes (row-major) spread over the whole grid."""
    grid = np.full(chart.valid.shape, missing)
    grid[chart.valid] = values
    return grid
