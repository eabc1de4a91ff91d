"""A tree is seated where it must lie on backs whose shape is known."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from fitsim.back.back import Back, Chart
from fitsim.errors import BadScan, BadSettings
from fitsim.scan.scan import Provenance
from fitsim.tree.adjust import adjusted
from fitsim.tree.faces import bearing_points, face_points, height_at
from fitsim.tree.read import read_tree
from fitsim.tree.registration import registered
from fitsim.tree.relief import gaps, relief_of
from fitsim.tree.seat import Seat, seat

if TYPE_CHECKING:
    from fitsim.tree.tree import Tree

SPACING = 0.010
RADIUS = 0.22


def back_of(chart: Chart) -> Back:
    """A back with nothing but its surface."""
    return Back(
        np.eye(4), chart, np.zeros(chart.valid.shape, int), (), {}, None, None, 1.5,  # type: ignore[arg-type]
        Provenance("trunk.ply", "", 0, 0),
    )  # fmt: skip


def trunk(
    front: float = 0.3,
    rear: float = -0.75,
    taper: float = 0.0,
    T: np.ndarray | None = None,
    lopsided: float = 0.0,
) -> Back:
    """A round barrel along x: spine at y = z = 0, wider to the rear by `taper`, placed by T."""
    x = rear + SPACING * np.arange(round((front - rear) / SPACING) + 1)
    t = SPACING * np.arange(-36, 37)
    along, across = np.meshgrid(x, t, indexing="ij")
    radius = RADIUS - taper * along
    angle = across / RADIUS
    points = np.stack(
        [along, radius * np.sin(angle), radius * (np.cos(angle) - 1.0) + lopsided * np.sin(angle)],
        axis=-1,
    )
    normals = np.stack([np.full_like(along, taper), np.sin(angle), np.cos(angle)], axis=-1)
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
    if T is not None:
        points = points @ T[:3, :3].T + T[:3, 3]
        normals = normals @ T[:3, :3].T
    return back_of(_chart(x, t, points, normals))


def _chart(x: np.ndarray, t: np.ndarray, points: np.ndarray, normals: np.ndarray) -> Chart:
    ones = np.ones(points.shape[:2])
    return Chart(x, t, points, normals, ones * SPACING**2, ones, ones > 0, ones < 0)


def angles(found: Seat) -> np.ndarray:
    """Roll, pitch, yaw in degrees."""
    return Rotation.from_matrix(found.T_body_tree[:3, :3]).as_euler("xyz", degrees=True)


def clearance(back: Back, tree: Tree, found: Seat) -> float:
    """Least height of the undersides above the back, m."""
    T = found.T_body_tree
    points = face_points(tree, 0.002) @ T[:3, :3].T + T[:3, 3]
    return float(np.nanmin(gaps(relief_of(back), points)))


@pytest.fixture(scope="module")
def level() -> Tree:
    """A tree without twist, curve or bars that run apart: it belongs on a barrel, dead level."""
    changes = {
        "arches.front.angle": np.radians(22.0),
        "arches.rear.angle": np.radians(22.0),
        "arches.front.spread": 0.06,
        "arches.rear.spread": 0.06,
        "bar.width": {"front": 0.1, "middle": 0.1, "rear": 0.1},
        "bar.curve": {"sagitta": 0.0},
    }
    return adjusted(read_tree("riding-middle"), changes, spacing=0.004)


@pytest.mark.parametrize("at", [None, 0.03, -0.1])
def test_on_a_barrel_a_straight_tree_lies_centred_and_level(level: Tree, at: float | None) -> None:
    back = trunk()
    found = seat(back, level, at)
    station = at or 0.0
    assert found.station == station
    assert found.T_body_tree[0, 3] == station, "the station is held, not fitted"
    # 0.02 mm and 0.01 deg: the relief's 5 mm grid is symmetric about the spine.
    assert abs(found.T_body_tree[1, 3]) < 2e-5
    assert_allclose(angles(found), 0.0, atol=0.02)
    assert found.inliers > 0.95


def test_face_angle_of_the_barrel_sets_the_height(level: Tree) -> None:
    """Where the bar touches the round back, both slope alike: the bar's middle is that far out."""
    found = seat(trunk(), level)
    bar = level.bars[0]
    origin = found.T_body_tree @ bar.T_tree_bar[:, 3]
    # A plane tangent to a cylinder touches at the angle of its own slope; the bar's crown, convex
    # too, touches where slopes agree: y = R sin(22 deg) on the back.
    away = np.hypot(origin[1], origin[2] + RADIUS)
    touch = RADIUS * np.sin(np.radians(22.0))
    assert origin[1] == pytest.approx(touch, abs=0.012)
    assert away == pytest.approx(RADIUS, abs=1.5e-3)


@pytest.mark.parametrize("name", ["pack-fixed", "pack-pivoting", "riding-middle"])
@pytest.mark.parametrize("taper", [0.0, 0.08])
def test_tree_only_touches(name: str, taper: float) -> None:
    back, tree = trunk(taper=taper), read_tree(name)
    # Points twice as dense as those the lift looked at, on facets 5 mm wide.
    assert clearance(back, tree, seat(back, tree)) == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("name", ["pack-fixed", "riding-wide"])
@pytest.mark.parametrize(
    ("degrees", "within"),
    # A pull towards square over the spine (seat.LEVEL) resists a turned back a little.
    [
        ((0.0, 4.0, 0.0), 0.1),
        ((0.0, -3.0, 0.0), 0.1),
        ((0.0, 0.0, 2.0), 0.5),
        ((3.0, 0.0, 0.0), 1.0),
    ],
)
def test_turning_the_back_turns_the_seat(
    name: str, degrees: tuple[float, float, float], within: float
) -> None:
    tree = read_tree(name)
    T = np.eye(4)
    T[:3, :3] = Rotation.from_euler("xyz", degrees, degrees=True).as_matrix()
    straight, turned = seat(trunk(), tree), seat(trunk(T=T), tree)
    assert_allclose(angles(turned) - angles(straight), degrees, atol=within)


def test_moving_the_back_up_and_aside_moves_the_seat() -> None:
    tree = read_tree("riding-middle")
    T = np.eye(4)
    T[1:3, 3] = 0.010, 0.035
    still, moved = seat(trunk(), tree), seat(trunk(T=T), tree)
    assert_allclose(moved.T_body_tree - still.T_body_tree, T - np.eye(4), atol=1e-4)


def test_a_mirrored_back_seats_the_mirror_image() -> None:
    tree = read_tree("riding-middle")
    one, two = seat(trunk(lopsided=0.03), tree), seat(trunk(lopsided=-0.03), tree)
    assert abs(angles(one)[0]) > 1.0, "a lopsided back tips the tree"
    assert_allclose(angles(two), angles(one) * (-1, 1, -1), atol=0.02)
    assert_allclose(two.T_body_tree[:3, 3], one.T_body_tree[:3, 3] * (1, -1, 1), atol=1e-4)


@pytest.mark.parametrize("name", ["riding-middle", "pack-fixed"])
@pytest.mark.parametrize("pitch", [-4.0, 3.0])
def test_a_back_cast_from_the_tree_gives_back_its_pose(name: str, pitch: float) -> None:
    """The back is the undersides' own imprint at a known pose, so every gap can be closed."""
    tree = adjusted(read_tree(name), {"bar.edge_roll": 0.0}, spacing=0.005)
    T = np.eye(4)
    T[:3, :3] = Rotation.from_euler("y", pitch, degrees=True).as_matrix()
    T[2, 3] = -0.04
    back = back_of(cast(tree, T))
    found = seat(back, tree)
    # Linear facets of 5 mm on flares of 100 mm radius and a face of 1.5 m: under 0.1 mm.
    assert found.rms < 0.1e-3
    assert_allclose(angles(found), [0.0, pitch, 0.0], atol=0.05)
    assert found.T_body_tree[2, 3] == pytest.approx(-0.04, abs=0.5e-3)


def cast(tree: Tree, T: np.ndarray) -> Chart:
    """Chart of a back that lies against the undersides at a pose and runs on beyond them."""
    step = SPACING / 2
    x, y = np.arange(-0.60, 0.20, step), step * np.arange(-50, 51)
    along, across = np.meshgrid(x, y, indexing="ij")
    z = np.full_like(along, T[2, 3])
    for bar, side in zip(tree.bars, (across >= 0, across < 0), strict=True):
        T_bar_body = np.linalg.inv(T @ bar.T_tree_bar)
        for _ in range(40):  # the misfit shrinks about tenfold each time
            points = np.column_stack([along[side], across[side], z[side], np.ones(side.sum())])
            xi, eta, zeta, _ = (points @ T_bar_body.T).T
            z[side] -= zeta - height_at(bar.underside, xi, eta)
    slope_x, slope_y = np.gradient(z, step)
    normals = np.stack([-slope_x, -slope_y, np.ones_like(z)], axis=-1)
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
    return _chart(x, y, np.stack([along, across, z], axis=-1), normals)


def test_a_tree_longer_than_the_scan_is_refused() -> None:
    tree = read_tree("riding-middle")
    with pytest.raises(BadSettings, match=r"reach \d+ mm behind the end of the scan trunk\.ply"):
        seat(trunk(rear=-0.4), tree)
    with pytest.raises(BadSettings, match=r"reach \d+ mm before the end of the scan"):
        seat(trunk(front=0.0), tree)
    with pytest.raises(BadSettings, match="seat the tree further forward"):
        seat(trunk(), tree, at=-0.4)


def test_a_scan_without_sides_is_refused() -> None:
    back = trunk()
    chart = back.chart
    narrow = np.broadcast_to(np.abs(chart.t) < 0.09, chart.valid.shape)
    with pytest.raises(BadSettings, match=r"% of the bars hangs beyond"):
        seat(replace(back, chart=replace(chart, valid=narrow)), read_tree("riding-wide"))
    nothing = np.zeros_like(chart.valid)
    with pytest.raises(BadScan, match="too little of the back"):
        seat(replace(back, chart=replace(chart, valid=nothing)), read_tree("riding-wide"))


def test_a_registration_that_found_nothing_is_not_believed() -> None:
    """small_gicp calls a fit without a single pair of points converged."""
    tree, chart = read_tree("riding-middle"), trunk().chart
    far = np.eye(4)
    far[2, 3] = 0.5
    found = registered(chart, bearing_points(tree, 0.01), far)
    assert not found.believed
    assert_allclose(found.T_body_tree, far)
    assert "without registration" in found.notes[0]


@pytest.mark.parametrize(
    ("changes", "at"),
    [
        ({"arches.front.angle": np.radians(38.0)}, 0.0),
        ({"bar.curve.sagitta": 0.014}, 0.0),
        ({}, 0.02),
    ],
)
def test_from_a_near_seat_a_tree_comes_to_lie_where_it_would_from_afar(
    changes: dict[str, object], at: float
) -> None:
    """To a tenth of a millimetre in a metre, a hundredth of what is pressed in."""
    back = trunk(taper=0.05)
    before = seat(back, read_tree("riding-middle"))
    tree = adjusted(read_tree("riding-middle"), changes)
    from_near, from_afar = seat(back, tree, at, near=before), seat(back, tree, at)
    assert_allclose(from_near.T_body_tree, from_afar.T_body_tree, atol=1e-4)
    assert from_near.lift == pytest.approx(from_afar.lift, abs=1e-4)
