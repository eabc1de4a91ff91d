"""Middles and normals of triangles."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


def triangle_middles(
    vertices: NDArray[np.float64], triangles: NDArray[np.int32]
) -> NDArray[np.float64]:
    """Middle of each triangle.

    Parameters
    ----------
    vertices : (n, 3) array, m.
    triangles : (m, 3) int array.

    Returns
    -------
    (m, 3) array, m.
    """
    return np.asarray(vertices[triangles].mean(axis=1))


def area_normals(
    vertices: NDArray[np.float64], triangles: NDArray[np.int32]
) -> NDArray[np.float64]:
    """Outward normal of each triangle, as long as its area.

    Parameters
    ----------
    vertices : (n, 3) array, m.
    triangles : (m, 3) int array, outward.

    Returns
    -------
    (m, 3) array, m2.

    Examples
    --------
    >>> corners = np.array([[0.0, 0.0, 0.0], [2.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    >>> area_normals(corners, np.array([[0, 1, 2]]))
    array([[0., 0., 1.]])
    """
    a, b, c = (vertices[triangles[:, i]] for i in range(3))
    return np.asarray(0.5 * np.cross(b - a, c - a))
