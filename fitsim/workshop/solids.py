"""Bars as closed solids to print or mill."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitsim.tree.placed import placed
from fitsim.tree.solid import bar_solid, mirrored_surface

if TYPE_CHECKING:
    from pathlib import Path

    import numpy as np
    import trimesh
    from numpy.typing import NDArray

    from fitsim.workshop.built import Built

#: Spacing of the points of a solid, m, and rings over each rounding.
SPACING, RINGS = 0.003, 12


def write_solids(made: Built, folder: Path) -> None:
    """Write each bar as STL in its own frame, and both as they stand as 3MF; millimetres.

    Parameters
    ----------
    made : the tree.
    folder : where; files are written in place.
    """
    import trimesh

    left = bar_solid(made.bar, SPACING, RINGS)
    stand = (placed(made.T_tree_left, left[0]), left[1])
    _mesh(*left).export(folder / "bar-left.stl")
    _mesh(*mirrored_surface(left)).export(folder / "bar-right.stl")
    scene = trimesh.Scene()
    scene.add_geometry(_mesh(*stand), geom_name="bar-left")
    scene.add_geometry(_mesh(*mirrored_surface(stand)), geom_name="bar-right")
    scene.units = "mm"
    scene.export(folder / "bars.3mf")  # type: ignore[no-untyped-call]


def _mesh(vertices: NDArray[np.float64], triangles: NDArray[np.int32]) -> trimesh.Trimesh:
    import trimesh

    return trimesh.Trimesh(1e3 * vertices, triangles, process=False)
