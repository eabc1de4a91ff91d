"""Depth frames of a known surface, as a depth camera would take them, and files of them."""

from __future__ import annotations

import json
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from PIL import Image
from scipy.spatial.transform import Rotation

from fitsim.demo import demo_folder
from fitsim.scan.depth.frame import points_of, trusted
from fitsim.scan.depth.manifest import Camera
from fitsim.scan.open3d_loader import open3d
from fitsim.scan.read import read_scan

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

CAMERA = Camera(width=320, height=240, fx=260.0, fy=260.0, cx=159.5, cy=119.5)
STEP = 0.0005  # m of depth for one step of a pixel
NOISE = 0.0015  # m at 1 m, growing with the square of the distance as stereo and light coding do
FLOOR = -0.95  # m, body frame: below the lower edge of the demo's scan

LEFT, TOP, RIGHT = (-0.25, 1.35, 0.45), (-0.25, 0.05, 1.45), (-0.25, -1.35, 0.45)
LEFT_REAR, RIGHT_FRONT, LEFT_FRONT = (-0.75, 1.1, 0.7), (0.25, -1.1, 0.7), (0.25, 1.1, 0.7)
RING = {
    "left": LEFT, "top": TOP, "right": RIGHT,
    "left_rear": LEFT_REAR, "right_front": RIGHT_FRONT, "left_front": LEFT_FRONT,
}  # fmt: skip
"""Places of cameras round the back, m, body frame."""


class Shot(NamedTuple):
    """One rendered frame: its depth, m, and where the camera truly stood."""

    name: str
    depth: NDArray[np.float64]
    T_body_camera: NDArray[np.float64]

    @property
    def points(self) -> NDArray[np.float64]:
        """Trusted points, (n, 3) m, in the camera's frame."""
        good = trusted(self.depth, CAMERA)
        return points_of(self.depth, CAMERA)[good]


@cache
def mule() -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """The demo mule's scan in its body frame, m."""
    scan = read_scan(demo_folder() / "mule.ply")
    T = np.array(json.loads((demo_folder() / "mule.json").read_text())["T_scan_body"])
    return (scan.vertices - T[:3, 3]) @ T[:3, :3], scan.triangles


def looking(place: Sequence[float], at: Sequence[float], roll: float = 0.0) -> NDArray[np.float64]:
    """Pose T_body_camera of a camera at a place that looks at another, x right, y down, m."""
    z = np.subtract(at, place)
    z = z / np.linalg.norm(z)
    x = np.cross(z, [1.0, 0.0, 0.2] if abs(z[2]) > 0.9 else [0.0, 0.0, 1.0])
    x /= np.linalg.norm(x)
    T = np.eye(4)
    T[:3, :3] = np.c_[x, np.cross(z, x), z] @ Rotation.from_rotvec([0, 0, roll]).as_matrix()
    T[:3, 3] = place
    return T


def shots(
    cameras: Mapping[str, Sequence[float]],
    rng: np.random.Generator,
    noise: float = NOISE,
    *,
    floor: bool = False,
) -> list[Shot]:
    """Frames of the mule from some places, each with its own noise and roll."""
    o3d = open3d()
    scene = o3d.t.geometry.RaycastingScene()
    vertices, triangles = mule()
    scene.add_triangles(vertices.astype(np.float32), triangles.astype(np.uint32))
    if floor:
        corners = np.array([[-3, -3, FLOOR], [3, -3, FLOOR], [3, 3, FLOOR], [-3, 3, FLOOR]])
        scene.add_triangles(corners.astype(np.float32), np.array([[0, 1, 2], [0, 2, 3]], np.uint32))
    found = []
    for name, place in cameras.items():
        aim = np.array([place[0], 0.0, -0.15]) + 0.03 * rng.standard_normal(3)
        T = looking(place, aim, roll=float(rng.uniform(-0.3, 0.3)))
        found.append(Shot(name, _rendered(o3d, scene, T, noise, rng), T))
    return found


def _rendered(
    o3d: object, scene: object, T: NDArray[np.float64], noise: float, rng: np.random.Generator
) -> NDArray[np.float64]:
    ways = points_of(np.ones((CAMERA.height, CAMERA.width)), CAMERA) @ T[:3, :3].T
    rays = np.concatenate([np.broadcast_to(T[:3, 3], ways.shape), ways], axis=-1)
    # The rays' ways have a depth of one, so that what comes back is the depth itself
    depth = scene.cast_rays(o3d.core.Tensor(rays.astype(np.float32)))["t_hit"].numpy()  # type: ignore[attr-defined]
    depth = np.where(np.isfinite(depth), depth, 0.0).astype(np.float64)
    depth += (depth > 0) * noise * depth**2 * rng.standard_normal(depth.shape)
    return np.rint(depth / STEP) * STEP


def rough(
    shots: Sequence[Shot], rng: np.random.Generator, turn_deg: float = 20.0, shift: float = 0.03
) -> list[NDArray[np.float64]]:
    """True poses, all but the first turned about the back's middle and shifted, T_body_camera."""
    found = [shots[0].T_body_camera]
    middle = np.array([-0.25, 0.0, -0.1])
    for shot in shots[1:]:
        axis, way = rng.standard_normal((2, 3))
        T = np.eye(4)
        turn = np.radians(turn_deg) * axis / np.linalg.norm(axis)
        T[:3, :3] = Rotation.from_rotvec(turn).as_matrix()
        T[:3, 3] = middle - T[:3, :3] @ middle + shift * way / np.linalg.norm(way)
        found.append(T @ shot.T_body_camera)
    return found


def misplaced(shots: Sequence[Shot], poses: Sequence[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Root mean square distance, m, of each view's points from where they were seen."""
    first = shots[0].T_body_camera @ np.linalg.inv(poses[0])
    off = []
    for shot, T in zip(shots, poses, strict=True):
        D = first @ T - shot.T_body_camera
        moved = shot.points @ D[:3, :3].T + D[:3, 3]
        off.append(np.sqrt((moved**2).sum(axis=1).mean()))
    return np.array(off)


def write_shots(
    folder: Path,
    shots: Sequence[Shot],
    poses: Sequence[NDArray[np.float64]] | None = None,
    **changes: object,
) -> Path:
    """A folder of depth frames with its manifest; returns the manifest."""
    frames = []
    for number, shot in enumerate(shots):
        steps = np.rint(shot.depth / STEP).astype(np.uint16)
        Image.fromarray(steps).save(folder / f"{shot.name}.png")
        frame: dict[str, object] = {"depth": f"{shot.name}.png"}
        if poses is not None:
            frame["pose"] = np.asarray(poses[number]).tolist()
        frames.append(frame)
    manifest = {
        "depth_frames": 1,
        "metres_per_step": STEP,
        "far_m": 4.0,
        "camera": CAMERA.model_dump(),
        "frames": frames,
    }
    path = folder / "depth.json"
    path.write_text(json.dumps(manifest | changes))
    return path
