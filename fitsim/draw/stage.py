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

from fitsim.draw.mesh import numpy_array, surface_mesh, vtk_array
from fitsim.draw.surface import surface_triangles

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray
    from vtkmodules.vtkCommonDataModel import vtkPolyData
    from vtkmodules.vtkRenderingCore import vtkActor, vtkRenderer, vtkRenderWindow, vtkTexture

    from fitsim.back.back import Chart
    from fitsim.draw.view import View


@dataclass(frozen=True)
class Stage:
    """An open window with the skin and the tree in it, and what the skin render said.

    Attributes
    ----------
    window : the render window; the thread that made it uses it.
    tree : mesh whose points are moved from case to case.
    place : (h, w) int32 array over the mosaic: one more than the row-major index into the
        painted skin of the place each dot shows, 0 where it shows none.
    """

    window: vtkRenderWindow
    tree: vtkPolyData
    place: NDArray[np.int32]


def skin_mesh(chart: Chart) -> vtkPolyData:
    """Return the skin as a mesh whose texture coordinates are those of the painted picture."""
    points = np.where(chart.valid[..., None], chart.points, 0.0).reshape(-1, 3)
    mesh = surface_mesh(points, surface_triangles(chart))
    x, t = np.meshgrid(
        np.linspace(0, 1, len(chart.x)), np.linspace(0, 1, len(chart.t)), indexing="ij"
    )
    place = np.column_stack([t.ravel(), x.ravel()])
    mesh.GetPointData().SetTCoords(vtk_array(place))
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
    wide = round(scale * max(view.box[2] for view in views))
    high = round(scale * max(view.box[3] for view in views))
    window = _window(wide, high)
    try:
        skin = skin_mesh(chart)
        numbered, dark = _actor(skin, 1.0), _actor(skin, 0.0)
        body = surface_mesh(*tree_body)
        tree = _actor(body, 1.0)
        numbered.SetTexture(_numbers(painted_shape))
        for view in views:
            renderer = _renderer(view, scale, wide, high)
            for actor in (numbered, dark, tree):
                renderer.AddActor(actor)
            window.AddRenderer(renderer)
        dark.VisibilityOff()
        tree.VisibilityOff()
        place = _places(_picture(window))
        numbered.VisibilityOff()
        dark.VisibilityOn()
        tree.VisibilityOn()
        window.SetSize(wide // reduce, high // reduce)
        yield Stage(window, body, place)
    finally:
        window.Finalize()


def _window(wide: int, high: int) -> vtkRenderWindow:
    """Return a window that needs no screen and mixes no colours of neighbouring dots."""
    os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")
    import vtkmodules.vtkRenderingOpenGL2  # noqa: F401 - gives the classes below their OpenGL
    from vtkmodules.vtkRenderingCore import vtkRenderWindow

    window = vtkRenderWindow()
    window.SetOffScreenRendering(1)
    window.SetMultiSamples(0)
    window.SetSize(wide, high)
    return window


def _renderer(view: View, scale: float, wide: int, high: int) -> vtkRenderer:
    """Return a renderer placed on the mosaic, its camera pointed along a view."""
    from vtkmodules.vtkRenderingCore import vtkRenderer

    left, top, right, bottom = (scale * edge for edge in view.box)
    renderer = vtkRenderer()
    renderer.SetViewport(left / wide, 1 - bottom / high, right / wide, 1 - top / high)
    renderer.SetBackground(0.0, 0.0, 0.0)
    camera = renderer.GetActiveCamera()
    camera.ParallelProjectionOn()
    camera.SetFocalPoint(*view.centre)
    camera.SetPosition(*(view.centre + 3.0 * view.towards))
    camera.SetViewUp(*view.up)
    camera.SetParallelScale((bottom - top) / scale / view.dots_per_m / 2)
    camera.SetClippingRange(0.5, 6.0)
    return renderer


def _actor(mesh: vtkPolyData, grey: float) -> vtkActor:
    """Return a mesh in one flat tone, black 0 to white 1."""
    from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

    mapper = vtkPolyDataMapper()
    mapper.SetInputData(mesh)
    actor = vtkActor()
    actor.SetMapper(mapper)
    actor.GetProperty().LightingOff()
    actor.GetProperty().SetColor(grey, grey, grey)
    return actor


def _places(read: NDArray[np.uint8]) -> NDArray[np.int32]:
    """Return the numbers that a picture of them shows."""
    place = read[..., 0].astype(np.int32)
    for channel in (1, 2):
        place <<= 8
        place |= read[..., channel]
    if not place.any():
        msg = "the picture came out blank: drawing without a screen does not work here"
        raise RuntimeError(msg)
    return place


def _numbers(shape: tuple[int, int]) -> vtkTexture:
    """Return a texture whose dots are their own row-major numbers from 1, in 24 bits."""
    from vtkmodules.vtkCommonDataModel import vtkImageData
    from vtkmodules.vtkRenderingCore import vtkTexture

    number = np.arange(1, shape[0] * shape[1] + 1, dtype=np.int32)
    code = np.stack([number >> 16, number >> 8 & 255, number & 255], axis=-1).astype(np.uint8)
    picture = vtkImageData()
    picture.SetDimensions(shape[1], shape[0], 1)
    picture.GetPointData().SetScalars(vtk_array(code))
    texture = vtkTexture()
    texture.SetInputData(picture)
    texture.InterpolateOff()
    texture.MipmapOff()
    return texture


def _picture(window: vtkRenderWindow) -> NDArray[np.uint8]:
    """Render and return what is seen, (h, w, 3), rows from the top."""
    from vtkmodules.vtkRenderingCore import vtkWindowToImageFilter

    window.Render()
    reader = vtkWindowToImageFilter()
    reader.SetInput(window)
    reader.ReadFrontBufferOff()
    reader.ShouldRerenderOff()
    reader.Update()
    picture = reader.GetOutput()
    wide, high, _ = picture.GetDimensions()
    dots = numpy_array(picture.GetPointData().GetScalars())
    return dots.astype(np.uint8).reshape(high, wide, 3)[::-1]


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
    on.tree.GetPoints().SetData(vtk_array(points))
    on.tree.GetPoints().Modified()
    return _picture(on.window)[..., 0].copy()
