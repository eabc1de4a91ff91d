"""Depth frames with known poses fused into one surface."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fitsim.scan.depth.manifest import Camera

VOXEL: Final = 0.005
"""m: side of a cell of the fused volume, about the spacing at which a back is read."""
MOST_BLOCKS: Final = 16_000
"""Blocks of 16 x 16 x 16 cells, 32 kB each: half a gigabyte. An animal takes 1,000 to 2,000."""

_TRUNCATION: Final = 5.0  # cells on either side of the surface: more than the noise of a reading
_BLOCK: Final = 16
_FARTHEST: Final = 100.0  # m, no limit: what is too far was dropped on reading
_SEEN: Final = 0.5  # a cell that one frame saw has the weight 1


def fused(
    depths: Sequence[NDArray[np.float64]],
    cameras: Sequence[Camera],
    T_scene_camera: NDArray[np.float64],
    voxel: float = VOXEL,
) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """Fuse frames into one surface by their truncated signed distance.

    Where frames overlap, the surface lies in their mean: noise is averaged and no surface lies
    there twice.

    Parameters
    ----------
    depths : sequence of (height, width) arrays, m
        0 where there is no reading or it is not trusted.
    cameras : sequence of Camera
    T_scene_camera : (k, 4, 4) array
        Poses of the cameras.
    voxel : float, m
        Side of a cell; larger cells are taken for scenes that would need more memory than
        `MOST_BLOCKS`.

    Returns
    -------
    vertices : (n, 3) array, m
        In the scene's frame.
    triangles : (m, 3) int32 array
        Facing the cameras.

    References
    ----------
    Curless and Levoy 1996, https://doi.org/10.1145/237170.237269

    Examples
    --------
    >>> import numpy as np
    >>> from fitsim.scan.depth.manifest import Camera
    >>> camera = Camera(width=80, height=60, fx=60, fy=60, cx=40, cy=30)
    >>> vertices, _ = fused([np.full((60, 80), 0.8)], [camera], np.eye(4)[None])
    >>> bool(np.abs(vertices[:, 2] - 0.8).max() < 1e-4)
    True
    """
    from fitsim.scan.open3d_loader import open3d

    o3d = open3d()
    views = [
        _arguments(o3d, depth, camera, T)
        for depth, camera, T in zip(depths, cameras, T_scene_camera, strict=True)
    ]
    blocks = _touched(o3d, views, voxel)
    while len(blocks) > MOST_BLOCKS:
        voxel *= 1.5
        blocks = _touched(o3d, views, voxel)
    grid = _grid(o3d, voxel, len(blocks))
    for view in views:
        coordinates = grid.compute_unique_block_coordinates(*view)
        grid.integrate(coordinates, *view)
    mesh = grid.extract_triangle_mesh(weight_threshold=_SEEN)
    return _in_order(mesh.vertex.positions.numpy(), mesh.triangle.indices.numpy())


def _in_order(
    vertices: NDArray[np.float32], triangles: NDArray[np.int32]
) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """The same surface in an order of its own: Open3D's changes from run to run."""
    order = np.lexsort(vertices.T)
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    corners = place[triangles]
    first = corners.argmin(axis=1)[:, None]
    corners = np.take_along_axis(corners, (first + np.arange(3)) % 3, axis=1)
    return vertices[order].astype(np.float64), corners[np.lexsort(corners.T)].astype(np.int32)


def _arguments(
    o3d: Any,  # noqa: ANN401 - Open3D has no types
    depth: NDArray[np.float64],
    camera: Camera,
    T: NDArray[np.float64],
) -> tuple[Any, ...]:
    """A frame as Open3D's volumes take it: depth, camera, its pose, scale, farthest, reach."""
    tensor = o3d.core.Tensor
    # Open3D cuts a pixel's place down where it should round it: half a pixel more makes it round.
    # Without it surfaces came out half a pixel aside, 3 mm at 1.5 m in a picture 320 pixels wide
    cx, cy = camera.cx + 0.5, camera.cy + 0.5
    K = np.array([[camera.fx, 0, cx], [0, camera.fy, cy], [0, 0, 1.0]])
    picture = o3d.t.geometry.Image(tensor(np.ascontiguousarray(depth[..., None], np.float32)))
    return picture, tensor(K), tensor(np.linalg.inv(T)), 1.0, _FARTHEST, _TRUNCATION


def _grid(o3d: Any, voxel: float, blocks: int) -> Any:  # noqa: ANN401 - Open3D has no types
    number = o3d.core.float32
    return o3d.t.geometry.VoxelBlockGrid(
        attr_names=("tsdf", "weight"),
        attr_dtypes=(number, number),
        attr_channels=(1, 1),
        voxel_size=voxel,
        block_resolution=_BLOCK,
        block_count=blocks + 1,
    )


def _touched(
    o3d: Any,  # noqa: ANN401 - Open3D has no types
    views: Sequence[tuple[Any, ...]],
    voxel: float,
) -> NDArray[np.int32]:
    """Blocks near any surface, found without giving memory to their cells."""
    scout = _grid(o3d, voxel, 1)
    found = [scout.compute_unique_block_coordinates(*view).numpy() for view in views]
    return np.unique(np.concatenate(found), axis=0)
