"""What each dot of the four views shows, asked of the renderer once per set and not per case.

The skin does not move from case to case. It is rendered once, wearing a picture whose every dot
is its own number; the numbers read back say which place on the skin each dot of the page shows.
A case is then drawn by looking its painted skin up. Only the tree is rendered anew, as a shape.
"""

from __future__ import annotations

import os
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw.surface import surface_triangles

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from types import ModuleType

    import pyvista as pv
    from numpy.typing import NDArray

    from fitsim.back.back import Chart
    from fitsim.draw.view import View


@dataclass(frozen=True)
class Stage:
    """An open plotter with the skin and the tree in it, and what the skin render said.

    Attributes
    ----------
    plotter : the pyvista plotter; the thread that made it uses it.
    tree : mesh whose points are moved from case to case.
    place : (h, w) int32 array over the mosaic: one more than the row-major index into the
        painted skin of the place each dot shows, 0 where it shows none.
    """

    plotter: pv.Plotter
    tree: pv.PolyData
    place: NDArray[np.int32]


def pyvista() -> ModuleType:
    """Return pyvista, imported for drawing without a screen."""
    os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")
    import pyvista

    pyvista.OFF_SCREEN = True
    return pyvista


def skin_mesh(chart: Chart) -> pv.PolyData:
    """Return the skin as a mesh whose texture coordinates are those of the painted picture."""
    points = np.where(chart.valid[..., None], chart.points, 0.0).reshape(-1, 3)
    mesh: pv.PolyData = pyvista().PolyData.from_regular_faces(points, surface_triangles(chart))
    x, t = np.meshgrid(
        np.linspace(0, 1, len(chart.x)), np.linspace(0, 1, len(chart.t)), indexing="ij"
    )
    mesh.active_texture_coordinates = np.column_stack([t.ravel(), 1 - x.ravel()])
    return mesh


@contextmanager
def stage(
    chart: Chart,
    painted_shape: tuple[int, int],
    tree_body: tuple[NDArray[np.float64], NDArray[np.int32]],
    views: Sequence[View],
    *,
    scale: float,
    reduce: int,
) -> Iterator[Stage]:
    """Open a stage and close it afterwards.

    Parameters
    ----------
    chart : the skin.
    painted_shape : rows and columns of the painted skin.
    tree_body : vertices (n, 3) and triangles (m, 3) of the tree.
    views : with their boxes on the mosaic.
    scale : dots rendered for one unit of the mosaic, each way.
    reduce : how many times coarser the tree's shape is rendered, each way.

    Raises
    ------
    RuntimeError
        When the render comes out empty, as it does when drawing is broken on this machine.
    """
    library = pyvista()
    wide = round(scale * max(view.box[2] for view in views))
    high = round(scale * max(view.box[3] for view in views))
    plotter = library.Plotter(
        off_screen=True, window_size=(wide, high), shape=(1, len(views)), border=False
    )
    try:
        plotter.disable_anti_aliasing()
        plotter.render_window.SetMultiSamples(0)
        skin, tree = skin_mesh(chart), library.PolyData.from_regular_faces(*tree_body)
        skins: list[pv.Actor] = []
        trees: list[pv.Actor] = []
        for index, view in enumerate(views):
            plotter.subplot(0, index)
            _frame(plotter, view, scale, wide, high)
            for mesh, actors in ((skin, skins), (tree, trees)):
                actors.append(
                    plotter.add_mesh(mesh, color="white", lighting=False, reset_camera=False)
                )
        place = _numbered(plotter, skins, trees, painted_shape)
        plotter.window_size = (wide // reduce, high // reduce)
        yield Stage(plotter, tree, place)
    finally:
        plotter.close()


def _frame(plotter: pv.Plotter, view: View, scale: float, wide: int, high: int) -> None:
    """Place one renderer on the mosaic and point its camera."""
    left, top, right, bottom = (scale * edge for edge in view.box)
    plotter.renderer.SetViewport(left / wide, 1 - bottom / high, right / wide, 1 - top / high)
    plotter.renderer.SetBackground(0.0, 0.0, 0.0)
    camera = plotter.camera
    camera.parallel_projection = True
    camera.focal_point = tuple(view.centre)
    camera.position = tuple(view.centre + 3.0 * view.towards)
    camera.up = tuple(view.up)
    camera.parallel_scale = (bottom - top) / scale / view.dots_per_m / 2
    camera.clipping_range = (0.5, 6.0)


def _numbered(
    plotter: pv.Plotter, skins: list[pv.Actor], trees: list[pv.Actor], shape: tuple[int, int]
) -> NDArray[np.int32]:
    """Return the place each dot shows, and leave the skin black and the tree white."""
    number = np.arange(1, shape[0] * shape[1] + 1, dtype=np.int32).reshape(shape)
    code = np.stack([number >> 16, number >> 8 & 255, number & 255], axis=-1).astype(np.uint8)
    texture = pyvista().Texture(code)
    texture.InterpolateOff()
    texture.MipmapOff()
    for skin, tree in zip(skins, trees, strict=True):
        skin.texture = texture
        tree.VisibilityOff()
    read = _picture(plotter)
    place = read[..., 0].astype(np.int32)
    for channel in (1, 2):
        place <<= 8
        place |= read[..., channel]
    if not place.any():
        msg = "the picture came out blank: drawing without a screen does not work here"
        raise RuntimeError(msg)
    for skin, tree in zip(skins, trees, strict=True):
        skin.texture = None
        skin.prop.color = "black"
        tree.VisibilityOn()
    return place


def _picture(plotter: pv.Plotter) -> NDArray[np.uint8]:
    plotter.render()
    return np.asarray(plotter.screenshot(return_img=True))[..., :3]


def tree_shape(on: Stage, points: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Return where the tree is seen in one case: 255 on it, 0 beside it or behind the back.

    Parameters
    ----------
    on : the open stage.
    points : (n, 3) array, m, the tree's vertices at rest in the body frame.

    Returns
    -------
    (h, w) uint8 array over the mosaic, `reduce` times coarser than `place`.
    """
    on.tree.points = points
    return _picture(on.plotter)[..., 0].copy()
