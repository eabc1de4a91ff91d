"""Corners that lie in one place become one vertex."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from fitsim.scan.raw import Raw

if TYPE_CHECKING:
    from numpy.typing import NDArray

_CELLS: Final = 2.0**20
"""Steps along the longest side: 3 micrometres on an animal of 3 m, under the step of the
32-bit numbers that scanners write, and three of them fit one 64-bit key."""


def welded(raw: Raw) -> Raw:
    """Merge vertices in one place, drop triangles without area and vertices without use.

    Files that give each triangle its own corners (STL), or split a vertex for each normal or
    texture seam (OBJ, GLB), hold a surface that hangs together only after this. Two triangles
    on the same three corners become one.

    Parameters
    ----------
    raw : Raw
        As read; finite coordinates.

    Returns
    -------
    Raw
        The first of the merged vertices gives its place, colour and normal. Points are merged
        only where they are the same.

    Examples
    --------
    >>> import numpy as np
    >>> soup = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 1, 0], [1, 0, 0], [1, 1, 0]])
    >>> whole = welded(Raw(soup.astype(float), np.array([[0, 1, 2], [3, 4, 5]])))
    >>> len(whole.vertices), whole.triangles.tolist()
    (4, [[0, 1, 2], [2, 1, 3]])
    """
    triangles = raw.triangles
    if not len(triangles):
        first = np.sort(np.unique(_keys(raw.vertices), return_index=True)[1])
    else:
        first, place = _places(raw.vertices)
        triangles = place[triangles]
        triangles = triangles[distinct(triangles)]
        used = np.zeros(len(first), dtype=bool)
        used[triangles] = True
        triangles = (np.cumsum(used) - 1)[triangles]
        first = first[used]
    return Raw(
        raw.vertices[first],
        triangles,
        None if raw.colours is None else raw.colours[first],
        None if raw.normals is None else raw.normals[first],
        raw.notes,
        raw.paint,
    )


def distinct(triangles: NDArray[np.integer[Any]]) -> NDArray[np.intp]:
    """Choose the triangles with three different corners, each set of corners once.

    Parameters
    ----------
    triangles : (m, 3) int array
        Rows of vertex numbers.

    Returns
    -------
    (k,) int array
        Rows to keep, in order.

    Examples
    --------
    >>> import numpy as np
    >>> distinct(np.array([[0, 1, 2], [2, 0, 1], [0, 1, 1], [1, 2, 3]])).tolist()
    [0, 3]
    """
    a, b, c = np.sort(triangles, axis=1).astype(np.int64).T
    proper = (a != b) & (b != c)
    # Numbers up to two million fit one key three at a time.
    if c.max(initial=0) < 2**21:
        _, first = np.unique((a << 42) | (b << 21) | c, return_index=True)
    else:
        _, first = np.unique(np.column_stack([a, b, c]), axis=0, return_index=True)
    once = np.zeros(len(triangles), dtype=bool)
    once[first] = True
    return np.flatnonzero(proper & once)


def _places(vertices: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First vertex of each place in file order, and the place of each vertex."""
    _, first, place = np.unique(_keys(vertices), return_index=True, return_inverse=True)
    order = np.argsort(first)
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return first[order], rank[place]


def _keys(vertices: NDArray[np.float64]) -> NDArray[np.int64]:
    """One number for each place."""
    corners = np.ascontiguousarray(vertices.T)  # by columns: a third of the time
    low = corners.min(axis=1)
    side = float((corners.max(axis=1) - low).max()) or 1.0
    keys = np.zeros(len(vertices), dtype=np.int64)
    for axis, least in zip(corners, low, strict=True):
        keys <<= 21
        keys |= np.rint((axis - least) * (_CELLS / side)).astype(np.int64)
    return keys
