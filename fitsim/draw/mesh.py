"""Arrays as VTK's mesh.

VTK is used without the layer that usually sits on it, whose import takes longer than all renders.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from vtkmodules.vtkCommonCore import vtkDataArray
    from vtkmodules.vtkCommonDataModel import vtkPolyData


def surface_mesh(points: NDArray[np.float64], triangles: NDArray[np.integer]) -> vtkPolyData:
    """Return a mesh that holds copies of its points and triangles.

    Parameters
    ----------
    points : (n, 3) array, m.
    triangles : (m, 3) array of indices into the points.

    Examples
    --------
    >>> mesh = surface_mesh(np.eye(3), np.array([[0, 1, 2]]))
    >>> mesh.GetNumberOfPoints(), mesh.GetNumberOfCells()
    (3, 1)
    """
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData

    corners, cells = vtkPoints(), vtkCellArray()
    corners.SetData(vtk_array(points))
    cells.SetData(3, vtk_array(triangles.astype(np.int64).ravel()))
    mesh = vtkPolyData()
    mesh.SetPoints(corners)
    mesh.SetPolys(cells)
    return mesh


def vtk_array(values: NDArray[np.generic], name: str | None = None) -> vtkDataArray:
    """Return a copy of an array, (n,) or (n, k), as VTK's, under a name if it has one."""
    from vtkmodules.util.numpy_support import numpy_to_vtk

    copied: vtkDataArray = numpy_to_vtk(np.ascontiguousarray(values), deep=True)  # type: ignore[no-untyped-call]
    if name is not None:
        copied.SetName(name)
    return copied


def numpy_array(values: vtkDataArray) -> NDArray[np.generic]:
    """Return VTK's array as numpy's, (n,) or (n, k), sharing its memory."""
    from vtkmodules.util.numpy_support import vtk_to_numpy

    return np.asarray(vtk_to_numpy(values))  # type: ignore[no-untyped-call]
