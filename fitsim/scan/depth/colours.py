"""Colour pictures that belong to depth frames, and the colours of the surface fused of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree

from fitsim.errors import BadScan
from fitsim.scan.depth.picture import opened

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from fitsim.scan.depth.manifest import Camera

_AGREES: Final = 0.020  # m: a frame saw this place if its reading lies this near it
_LEAST: Final = 0.05  # m: no camera reads nearer
_MEND: Final = "store the colours as PNG or JPEG, registered to the depth picture"


def read_colour(path: Path, camera: Camera) -> NDArray[np.uint8]:
    """Read the colour picture of one frame.

    Parameters
    ----------
    path : Path
        A PNG or JPEG, each pixel of which shows what the same pixel of the depth picture measured.
    camera : Camera
        Tells the size that it must have.

    Returns
    -------
    (height, width, 3) uint8 array

    Raises
    ------
    BadScan
        If there is no such file, it is no such picture, or of another size than the camera.
    """
    with opened(path, ("PNG", "JPEG"), "colour picture", _MEND) as picture:
        if picture.size != (camera.width, camera.height):
            fault = (
                f"it has {picture.size[0]} x {picture.size[1]} pixels but the depth picture "
                f"{camera.width} x {camera.height}"
            )
            raise BadScan(path.name, fault, "export colours registered to the depth")
        return np.array(picture.convert("RGB"), dtype=np.uint8)


def seen_colours(
    vertices: NDArray[np.float64],
    normals: NDArray[np.float64],
    depths: Sequence[NDArray[np.float64]],
    pictures: Sequence[NDArray[np.uint8]],
    cameras: Sequence[Camera],
    *,
    T_scene_camera: NDArray[np.float64],
) -> NDArray[np.uint8]:
    """Colours of a surface, each place from the frame that saw it most squarely and from nearest.

    One frame and not the mean of several, since a sticker whose views lie a few millimetres apart
    would be smeared. A place that none saw takes the colour of the nearest that was seen.

    Parameters
    ----------
    vertices : (n, 3) array, m
        In the scene's frame.
    normals : (n, 3) array
        Either way round.
    depths : sequence of (height, width) arrays, m
        0 where there is no reading.
    pictures : sequence of (height, width, 3) uint8 arrays
    cameras : sequence of Camera
    T_scene_camera : (k, 4, 4) array

    Returns
    -------
    (n, 3) uint8 array

    Examples
    --------
    >>> import numpy as np
    >>> from fitsim.scan.depth.manifest import Camera
    >>> camera = Camera(width=20, height=16, fx=50, fy=50, cx=10, cy=8)
    >>> depth, picture = np.full((16, 20), 1.0), np.zeros((16, 20, 3), np.uint8)
    >>> picture[:, 10:] = 200
    >>> places = np.array([[-0.1, 0.0, 1.0], [0.1, 0.0, 1.0]])
    >>> facing = np.tile([0.0, 0.0, -1.0], (2, 1))
    >>> seen_colours(places, facing, [depth], [picture], [camera],
    ...              T_scene_camera=np.eye(4)[None])[:, 0].tolist()
    [0, 200]
    """
    colours = np.zeros((len(vertices), 3), dtype=np.uint8)
    best = np.zeros(len(vertices))
    for depth, picture, camera, T in zip(depths, pictures, cameras, T_scene_camera, strict=True):
        way = vertices - T[:3, 3]
        x, y, z = (way @ T[:3, :3]).T
        ahead = np.maximum(z, _LEAST)
        u, v = camera.fx * x / ahead + camera.cx, camera.fy * y / ahead + camera.cy
        row, column = np.rint(v), np.rint(u)
        inside = (z > _LEAST) & (row >= 0) & (row < camera.height)
        inside &= (column >= 0) & (column < camera.width)
        read = depth[tuple(np.where(inside, a, 0).astype(np.intp) for a in (row, column))]
        square = np.abs(np.einsum("ij,ij->i", way, normals)) / ahead**3  # cosine over distance^2
        seen = inside & (np.abs(read - z) < _AGREES) & (square > best)
        colours[seen] = _between(picture, v[seen], u[seen])
        best[seen] = square[seen]
    return _filled(vertices, colours, best > 0.0)


def _between(
    picture: NDArray[np.uint8], row: NDArray[np.float64], column: NDArray[np.float64]
) -> NDArray[np.uint8]:
    """Colours between the middles of pixels: one noisy pixel must not become a patch."""
    channels = [
        map_coordinates(picture[..., k].astype(np.float64), [row, column], order=1, mode="nearest")
        for k in range(3)
    ]
    return np.rint(np.column_stack(channels)).astype(np.uint8)


def _filled(
    vertices: NDArray[np.float64], colours: NDArray[np.uint8], seen: NDArray[np.bool_]
) -> NDArray[np.uint8]:
    if seen.all() or not seen.any():
        return colours
    _, place = cKDTree(vertices[seen]).query(vertices[~seen])
    colours[~seen] = colours[seen][place]
    return colours
