"""Height fields from triangles: which of them is lowest or highest above each grid point."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Most pairs of triangle and grid point looked at in one go, to bound memory.
PAIRS = 2_000_000

#: Slack of the barycentric test, -, so that points on an edge two triangles share belong to one of
#: them at least.
SLACK = 1e-7


def rasterised(
    vertices: NDArray[np.float64],
    triangles: NDArray[np.integer[Any]],
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    pick: Literal["lowest", "highest"],
) -> NDArray[np.float64]:
    """Height of a triangulated surface above the points of a regular grid.

    Parameters
    ----------
    vertices : (n, 3) array, m.
    triangles : (m, 3) int array.
    x, y : (nx,) and (ny,) arrays, m, ascending, even spacing.
    pick : which surface counts where several lie above each other.

    Returns
    -------
    (nx, ny) array, m; nan where there is no surface.

    Examples
    --------
    >>> corners = np.array([[0.0, 0.0, 1.0], [2.0, 0.0, 3.0], [0.0, 2.0, 1.0]])
    >>> ticks = np.arange(2.0)
    >>> rasterised(corners, np.array([[0, 1, 2]]), ticks, ticks, "lowest")
    array([[1., 1.],
           [2., 2.]])
    """
    corners = vertices[triangles]
    sign = 1.0 if pick == "lowest" else -1.0
    height = np.full(len(x) * len(y), np.inf)
    boxes = _boxes(corners, x, y)
    size = boxes[:, 2] * boxes[:, 3]
    upright = _twice_area(corners) == 0.0
    todo = np.flatnonzero((size > 0) & ~upright)
    parts = np.cumsum(size[todo]) // PAIRS
    for part in np.unique(parts):
        chosen = todo[parts == part]
        node, z = _covered(corners[chosen], boxes[chosen], x, y)
        np.minimum.at(height, node, sign * z)
    height[np.isinf(height)] = np.nan
    return sign * height.reshape(len(x), len(y))


def _twice_area(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Twice the signed area of triangles seen from above, m2."""
    a, b, c = (corners[:, i, :2] for i in range(3))
    return np.asarray(
        (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    )


def _boxes(
    corners: NDArray[np.float64], x: NDArray[np.float64], y: NDArray[np.float64]
) -> NDArray[np.int_]:
    """First row and column, and how many of each, of the grid points in each triangle's box."""
    columns = []
    for axis, ticks in enumerate((x, y)):
        step = ticks[1] - ticks[0]
        low = np.ceil((corners[..., axis].min(axis=1) - ticks[0]) / step - 1e-9)
        high = np.floor((corners[..., axis].max(axis=1) - ticks[0]) / step + 1e-9)
        first = np.clip(low, 0, len(ticks)).astype(int)
        last = np.clip(high, -1, len(ticks) - 1).astype(int)
        columns.append((first, np.maximum(last - first + 1, 0)))
    (row, rows), (column, many) = columns
    return np.column_stack([row, column, rows, many])


def _covered(
    corners: NDArray[np.float64],
    boxes: NDArray[np.int_],
    x: NDArray[np.float64],
    y: NDArray[np.float64],
) -> tuple[NDArray[np.int_], NDArray[np.float64]]:
    """Every grid point inside every triangle: flat index and height there."""
    size = boxes[:, 2] * boxes[:, 3]
    owner = np.repeat(np.arange(len(boxes)), size)
    place = np.arange(size.sum()) - np.repeat(np.cumsum(size) - size, size)
    row = boxes[owner, 0] + place // boxes[owner, 3]
    column = boxes[owner, 1] + place % boxes[owner, 3]
    a, b, c = (corners[owner, i] for i in range(3))
    px, py = x[row] - a[:, 0], y[column] - a[:, 1]
    bx, by = b[:, 0] - a[:, 0], b[:, 1] - a[:, 1]
    cx, cy = c[:, 0] - a[:, 0], c[:, 1] - a[:, 1]
    area = bx * cy - by * cx
    v = (px * cy - py * cx) / area
    w = (bx * py - by * px) / area
    hit = (v >= -SLACK) & (w >= -SLACK) & (v + w <= 1.0 + SLACK)
    z = a[:, 2] + v * (b[:, 2] - a[:, 2]) + w * (c[:, 2] - a[:, 2])
    return (row * len(y) + column)[hit], z[hit]
