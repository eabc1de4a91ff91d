"""Depth frames of the demo mule, rendered from its scan: the fused surface against that scan."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.errors import BadScan
from fitsim.scan.clean import cleaned
from fitsim.scan.depth.frame import points_of, trusted
from fitsim.scan.depth.fuse import fused
from fitsim.scan.open3d_loader import open3d
from fitsim.scan.read import read_scan
from tests.depths import (
    CAMERA,
    LEFT,
    RIGHT,
    TOP,
    Shot,
    looking,
    misplaced,
    mule,
    rough,
    shots,
    write_shots,
)

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray


def off_truth(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distances of points to the mule's scan, m, body frame."""
    o3d = open3d()
    scene = o3d.t.geometry.RaycastingScene()
    vertices, triangles = mule()
    scene.add_triangles(vertices.astype(np.float32), triangles.astype(np.uint32))
    return scene.compute_distance(o3d.core.Tensor(points.astype(np.float32))).numpy()


@pytest.fixture(scope="module")
def two() -> list[Shot]:
    return shots({"left": LEFT, "top": TOP}, np.random.default_rng(3), floor=True)


@pytest.fixture(scope="module")
def bare() -> list[Shot]:
    return shots({"top": TOP}, np.random.default_rng(3))


def test_a_frame_is_a_scan_in_metres(tmp_path: Path, two: list[Shot]) -> None:
    write_shots(tmp_path, two[1:])
    scan = read_scan(tmp_path)
    assert scan.provenance.unit == "m"
    assert scan.provenance.name == "depth.json"
    assert not scan.is_points
    animal = cleaned(scan).vertices
    T = two[1].T_body_camera
    off = off_truth(animal @ T[:3, :3].T + T[:3, 3])
    # The noise of a reading at 1.5 m is 3.4 mm; a volume with 5 mm cells hardly averages one frame
    assert np.sqrt((off**2).mean()) < 0.0034
    assert np.quantile(off, 0.99) < 0.010  # and no flying pixel is left in it


def test_the_manifest_and_its_folder_are_one(tmp_path: Path, bare: list[Shot]) -> None:
    path = write_shots(tmp_path, bare)
    one, other = read_scan(path), read_scan(tmp_path)
    assert one.provenance == other.provenance
    assert np.array_equal(one.vertices, other.vertices)


def test_any_changed_frame_changes_the_hash(tmp_path: Path, bare: list[Shot]) -> None:
    write_shots(tmp_path, bare)
    before = read_scan(tmp_path).provenance.sha256
    shutil.move(tmp_path / "top.png", tmp_path / "before.png")
    changed = bare[0]._replace(depth=np.where(bare[0].depth > 0, bare[0].depth + 0.001, 0.0))
    write_shots(tmp_path, [changed])
    assert read_scan(tmp_path).provenance.sha256 != before


def test_another_unit_is_refused(tmp_path: Path, bare: list[Shot]) -> None:
    write_shots(tmp_path, bare)
    with pytest.raises(BadScan, match="mm"):
        read_scan(tmp_path, unit="mm")


def fused_off(frames: int, noise: float) -> float:
    """Median distance, m, of the surface fused of some frames of one camera from the truth."""
    shot, rng = (
        shots({"top": TOP}, np.random.default_rng(1), noise=0.0)[0],
        np.random.default_rng(5),
    )
    good = trusted(shot.depth, CAMERA)
    depths = [
        np.where(good, shot.depth + noise * rng.standard_normal(good.shape), 0.0)
        for _ in range(frames)
    ]
    poses = np.array([shot.T_body_camera] * frames)
    return float(np.median(off_truth(fused(depths, [CAMERA] * frames, poses)[0])))


def test_frames_average_their_noise() -> None:
    still, one, four = fused_off(1, 0.0), fused_off(1, 0.003), fused_off(4, 0.003)
    # Pixels 5.6 mm wide make steps on slopes; half a pixel aside would make twice that
    assert still < 0.0009
    # In four the variance that noise adds is a quarter, beside the steps, which stay
    assert four**2 - still**2 < 0.4 * (one**2 - still**2)


def test_flying_pixels_and_grazing_readings_go() -> None:
    truth = shots({"top": TOP}, np.random.default_rng(2), noise=0.0, floor=True)[0].depth
    jump = np.abs(np.diff(truth, axis=1)) > 0.2
    flying = truth.copy()
    flying[:, 1:][jump] = (truth[:, :-1][jump] + truth[:, 1:][jump]) / 2.0
    good = trusted(flying, CAMERA)
    assert jump.sum() > 100
    assert not good[:, 1:][jump].any()
    assert good.mean() > 0.9  # while floor and back stay


@pytest.mark.parametrize("seed", [1, 2])
def test_points_come_back_to_their_pixels(seed: int) -> None:
    rng = np.random.default_rng(seed)
    depth = rng.uniform(0.5, 3.0, (CAMERA.height, CAMERA.width))
    x, y, z = np.moveaxis(points_of(depth, CAMERA), -1, 0)
    u, v = np.meshgrid(np.arange(CAMERA.width), np.arange(CAMERA.height))
    # A pinhole camera's own definition
    assert np.allclose(CAMERA.fx * x / z + CAMERA.cx, u, rtol=0, atol=1e-9)
    assert np.allclose(CAMERA.fy * y / z + CAMERA.cy, v, rtol=0, atol=1e-9)


def test_three_frames_20_degrees_off_become_one_surface(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    three = shots({"left": LEFT, "top": TOP, "right": RIGHT}, rng, noise=0.001, floor=True)
    write_shots(tmp_path, three, rough(three, rng))
    scan = read_scan(tmp_path)
    said = " ".join(scan.provenance.notes)
    assert "3 views were merged" in said
    assert "moved" not in said
    # The scene's frame is the first camera's rough one, which was true here: the body frame
    off = off_truth(scan.vertices)
    assert np.sqrt((off**2).mean()) < 0.002  # the bound set for merging
    sides = scan.vertices[:, 1]
    assert (sides < -0.2).sum() > 1000 < (sides > 0.2).sum()  # both flanks are in it


def test_looking_makes_proper_poses() -> None:
    T = looking([1.0, 2.0, 3.0], [0.0, 0.0, 0.0], roll=0.3)
    assert np.allclose(T[:3, :3] @ T[:3, :3].T, np.eye(3), atol=1e-12)
    assert np.linalg.det(T[:3, :3]) == pytest.approx(1.0)
    shot = Shot("a", np.zeros((240, 320)), T)
    shot.depth[100:140, 100:140] = 1.0
    assert misplaced([shot], [T])[0] < 1e-12
