"""Balance and rocking against statics worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fitsim.contact.equilibrium import AppliedForce
from fitsim.measure.balance import balance, balance_of_nodes
from fitsim.measure.rocking import (
    TEST_MOMENTS,
    pitch_of,
    pivot_along,
    pose_pitched,
    rocking,
    rocking_from_poses,
)
from tests.build import small_tree

FRONT, REAR = np.array([0.28, 0.0, 0.0]), np.array([-0.28, 0.0, 0.0])
POINTS = np.array([[0.2, 0.1, 0.0], [0.2, -0.1, 0.0], [-0.3, 0.0, 0.0]])


def three_legged(load: float = 300.0) -> tuple[np.ndarray, list[AppliedForce]]:
    """A stool on three legs, its load over x = 0.1, y = 0.02: reactions by moments.

    About the rear leg: front legs carry 300 * 0.4 / 0.5 = 240 N, the rear 60 N. About the x axis:
    the left leg carries 300 * 0.02 / 0.1 = 60 N more than the right: 150 and 90 N.
    """
    up = np.zeros((3, 3))
    up[:, 2] = np.array([150.0, 90.0, 60.0]) * load / 300.0
    weight = AppliedForce("load", np.array([0.1, 0.02, 0.4]), np.array([0.0, 0.0, -load]))
    return up, [weight]


@pytest.mark.parametrize("about", [np.zeros(3), np.array([0.3, -2.0, 1.0])])
def test_hand_computed_reactions_balance_about_any_point(about: np.ndarray) -> None:
    up, applied = three_legged()
    found = balance(POINTS, up, applied, about, 0.56)
    np.testing.assert_allclose(found.relative, 0.0, atol=1e-14)


@pytest.mark.parametrize("component", range(6))
def test_each_component_is_weighed_as_stated(component: int) -> None:
    # 0.3 N too much, or the same as a moment at half the bar's length: one part in a thousand.
    up, applied = three_legged()
    extra = np.zeros(3)
    extra[component % 3] = 0.3
    if component < 3:
        contact, points = np.vstack([up, extra]), np.vstack([POINTS, np.zeros(3)])
    else:
        arm = np.zeros(3)
        arm[(component + 1) % 3] = 0.14
        force = np.cross(extra, arm) / 0.14  # a couple of 0.3 N over twice 0.14 m
        contact = np.vstack([up, force, -force])
        points = np.vstack([POINTS, arm, -arm])
    found = balance(points, contact, applied, np.zeros(3), 0.56)
    expected = np.zeros(6)
    expected[component] = 1e-3
    np.testing.assert_allclose(found.relative, expected, atol=1e-12)
    assert found.residual == pytest.approx(1e-3, rel=1e-9)


def test_balance_turns_with_the_body(rng: np.random.Generator) -> None:
    turn = Rotation.random(rng=rng).as_matrix()
    contact = rng.normal(size=(3, 3))
    applied = [AppliedForce("any", rng.normal(size=3), rng.normal(size=3))]
    turned = [AppliedForce("any", turn @ applied[0].point, turn @ applied[0].force)]
    plain = balance(POINTS, contact, applied, np.zeros(3), 0.56)
    other = balance(POINTS @ turn.T, contact @ turn.T, turned, np.zeros(3), 0.56)
    np.testing.assert_allclose(other.force, turn @ plain.force, atol=1e-12)
    np.testing.assert_allclose(other.moment, turn @ plain.moment, atol=1e-12)


def test_tractions_are_summed_with_their_signs() -> None:
    # A block on a slope of 20 degrees, held by friction: normal W cos, shear W sin on the back.
    slope, weight, area = np.radians(20.0), 100.0, 0.01
    normal = np.array([[-np.sin(slope), 0.0, np.cos(slope)]])
    downhill = np.array([[-np.cos(slope), 0.0, -np.sin(slope)]])
    found = balance_of_nodes(
        np.zeros((1, 3)),
        normal,
        np.array([area]),
        pressure=np.array([weight * np.cos(slope) / area]),
        shear=downhill * weight * np.sin(slope) / area,
        applied=[AppliedForce("weight", np.zeros(3), np.array([0.0, 0.0, -weight]))],
        about=np.zeros(3),
        length=0.56,
    )
    np.testing.assert_allclose(found.relative, 0.0, atol=1e-14)


def on_springs(places: np.ndarray, stiffness: np.ndarray, moment: float) -> np.ndarray:
    """Pose of a bar on springs under a moment about y: two equations, solved by hand.

    Small turns: a point at x sinks by w - theta * x ... with theta positive nose down it falls
    by theta * x, so that sum k (z - theta x) = 0 and sum k x (z - theta x) = -moment.
    """
    k0, k1, k2 = (float((stiffness * places**n).sum()) for n in range(3))
    theta = moment / (k2 - k1**2 / k0)
    return pose_pitched(theta, np.array([k1 / k0, 0.0, 0.0]))


def test_bar_on_two_springs() -> None:
    places, stiffness = np.array([0.2, -0.25]), np.array([9e3, 4e3])
    moments = np.array(TEST_MOMENTS)
    poses = np.stack([on_springs(places, stiffness, m) for m in moments])
    found = rocking_from_poses(moments, poses, FRONT, REAR)
    # Two springs a distance d apart: k1 k2 / (k1 + k2) d^2 against turning.
    assert found.rad_per_nm == pytest.approx(1 / (9e3 * 4e3 / 13e3 * 0.45**2), rel=1e-9)
    centre = (9e3 * 0.2 - 4e3 * 0.25) / 13e3
    # The pivot is told by heights: exact to the square of the angle (20 mrad).
    assert found.pivot_along == pytest.approx((0.28 - centre) / 0.56, abs=1e-4)
    assert found.free_play == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("play", [0.0, 0.004, 0.02])
def test_idle_rocking_shows_as_free_play(play: float) -> None:
    pitch = {m: 2e-4 * m + 0.5 * play * np.sign(m) for m in TEST_MOMENTS}
    found = rocking(small_tree(), lambda m: pose_pitched(pitch[m], np.zeros(3)))
    assert found.free_play == pytest.approx(play, abs=1e-12)
    assert found.rad_per_nm == pytest.approx(2e-4 + play / 20, rel=1e-9)


def test_contact_that_softens_has_no_play() -> None:
    pitch = {m: 1e-5 * m**3 for m in TEST_MOMENTS}
    assert rocking(small_tree(), lambda m: pose_pitched(pitch[m], np.zeros(3))).free_play == 0.0


@pytest.mark.parametrize("x", [0.28, 0.1, -0.28, -0.5])
def test_pivot_is_where_the_bar_neither_rises_nor_falls(x: float) -> None:
    tipped = pose_pitched(1e-4, np.array([x, 0.0, -0.05]))
    found = pivot_along(np.eye(4), tipped, FRONT, REAR)
    assert found == pytest.approx((0.28 - x) / 0.56, abs=1e-4)  # half the angle times 50 mm


def test_pitch_is_positive_nose_down_and_deaf_to_roll() -> None:
    nose_down = pose_pitched(0.03, np.zeros(3))
    assert (nose_down @ np.append(FRONT, 1.0))[2] < 0.0
    assert pitch_of(np.eye(4), nose_down) == pytest.approx(0.03, abs=1e-12)
    rolled = np.eye(4)
    rolled[:3, :3] = Rotation.from_rotvec([0.1, 0.0, 0.0]).as_matrix()
    assert pitch_of(np.eye(4), rolled) == pytest.approx(0.0, abs=1e-15)


def test_without_a_turn_there_is_no_pivot() -> None:
    assert np.isnan(pivot_along(np.eye(4), np.eye(4), FRONT, REAR))
