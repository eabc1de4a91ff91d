"""Results per surface node: `nodes.csv` for anyone's sums, `pressure.vtp` for any VTK viewer.

Nodes are the valid nodes of the back's chart in row-major order, in the body frame. A case in
which the tree does not stay on has no columns: its arrays are no result.
"""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw.mesh import surface_mesh, vtk_array
from fitsim.files import whole_file

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray
    from vtkmodules.vtkCommonDataModel import vtkPolyData

    from fitsim.back.back import Back
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.study.fit import FitSet

    Column = NDArray[np.float64]


def write_nodes(fitset: FitSet, path: str | Path) -> None:
    """Write `nodes.csv`: one row per surface node, one group of columns per case.

    Columns: ``x_m, y_m, z_m`` (place), ``nx, ny, nz`` (outward unit normal), ``area_m2``,
    ``zone``, then per case ``<case>_pressure_pa`` (on the skin, against the normal),
    ``<case>_shear_x_pa``, ``_y_``, ``_z_`` (traction on the back) and ``<case>_gap_m``
    (clearance; empty where no bar is above). The force of the contact on the tree is the sum
    over nodes of ``area * (pressure * normal - shear)``.

    Parameters
    ----------
    fitset : FitSet
        All cases of one tree on one back.
    path : str or Path
        The file to write.

    Raises
    ------
    BadSettings
        When the file cannot be written.
    """
    columns = node_columns(fitset)
    texts = [_texts(column) for column in columns.values()]
    names = zone_names(fitset.back)
    where = list(columns).index("area_m2") + 1
    with whole_file(path) as draft, draft.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow([*list(columns)[:where], "zone", *list(columns)[where:]])
        rows.writerows(zip(*texts[:where], names, *texts[where:], strict=True))


def write_surface(fitset: FitSet, path: str | Path) -> None:
    """Write `pressure.vtp`: the back's surface with the columns of `nodes.csv` at its points.

    Parameters
    ----------
    fitset : FitSet
        All cases of one tree on one back.
    path : str or Path
        The file to write; VTK XML PolyData, binary.

    Raises
    ------
    BadSettings
        When the file cannot be written.
    """
    from vtkmodules.vtkCommonCore import vtkStringArray
    from vtkmodules.vtkIOXML import vtkXMLPolyDataWriter

    surface = _surface(fitset)
    names = vtkStringArray()
    names.SetName("zone_names")
    for zone in fitset.back.zones:
        names.InsertNextValue(zone.name)
    surface.GetFieldData().AddArray(names)
    with whole_file(path) as draft:
        writer = vtkXMLPolyDataWriter()
        writer.SetFileName(str(draft))
        writer.SetInputData(surface)
        writer.SetDataModeToBinary()
        if not writer.Write():
            raise OSError(writer.GetErrorCode(), "the disk may be full")


def _surface(fitset: FitSet) -> vtkPolyData:
    """Return the back's surface with its columns at its points."""
    back, chart = fitset.back, fitset.back.chart
    surface = surface_mesh(chart.points[chart.valid], chart_triangles(chart.valid))
    columns: dict[str, NDArray[np.generic]] = {
        "zone": back.zone_code[chart.valid].astype(np.int32),
        "filled": chart.filled[chart.valid].astype(np.uint8),
        **{name: column.astype(np.float32) for name, column in _case_columns(fitset)},
    }
    for name, column in columns.items():
        surface.GetPointData().AddArray(vtk_array(column, name))
    surface.GetPointData().SetNormals(vtk_array(chart.normals[chart.valid], "Normals"))
    return surface


def node_columns(fitset: FitSet) -> dict[str, Column]:
    """Return the numeric columns of `nodes.csv` by name, each an (n,) array in SI units."""
    chart = fitset.back.chart
    columns = dict(zip(("x_m", "y_m", "z_m"), chart.points[chart.valid].T, strict=True))
    columns |= zip(("nx", "ny", "nz"), chart.normals[chart.valid].T, strict=True)
    columns["area_m2"] = chart.area[chart.valid]
    return columns | dict(_case_columns(fitset))


def zone_names(back: Back) -> list[str]:
    """Return the name of the zone of each valid node, empty where there is none."""
    names = [*(str(zone.name) for zone in back.zones), ""]
    return [names[code] for code in back.zone_code[back.chart.valid]]


def chart_triangles(valid: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Split every grid cell with four valid corners in two, counter-clockwise seen from outside.

    Parameters
    ----------
    valid : (nx, nt) bool array
        Where the surface exists.

    Returns
    -------
    (m, 3) int array
        Indices into the valid nodes in row-major order.

    Examples
    --------
    >>> chart_triangles(np.ones((2, 2), dtype=bool)).tolist()
    [[0, 2, 3], [0, 3, 1]]
    """
    index = np.full(valid.shape, -1)
    index[valid] = np.arange(int(valid.sum()))
    a, b = index[:-1, :-1].ravel(), index[1:, :-1].ravel()
    c, d = index[1:, 1:].ravel(), index[:-1, 1:].ravel()
    whole = np.min([a, b, c, d], axis=0) >= 0
    pairs = np.stack([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)], axis=1)
    return np.asarray(pairs[whole].reshape(-1, 3))


def _case_columns(fitset: FitSet) -> Iterator[tuple[str, Column]]:
    for name, fit in fitset.fits.items():
        if fit.equilibrium.found:
            for quantity, column in _results(fit.equilibrium):
                yield f"{name}_{quantity}", column


def _results(equilibrium: Equilibrium) -> Iterator[tuple[str, Column]]:
    yield "pressure_pa", equilibrium.pressure
    for axis, column in zip("xyz", equilibrium.shear.T, strict=True):
        yield f"shear_{axis}_pa", column
    yield "gap_m", equilibrium.gap


def _texts(column: Column) -> list[str]:
    """Seven significant digits; an unknown value is an empty field."""
    return ["" if value != value else f"{value:.7g}" for value in column.tolist()]  # noqa: PLR0124
