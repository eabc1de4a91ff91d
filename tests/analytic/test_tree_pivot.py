"""Bars on hinges: where the line runs, and how a bar lies that is free to turn on it."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pytest
from numpy.testing import assert_allclose

from fitsim.back.back import Chart, Tissue
from fitsim.contact.bars import place_bar
from fitsim.contact.foundation import build_foundation
from fitsim.rig.case import Case, DeadForce, Strap
from fitsim.rig.pad import library_pad
from fitsim.tree.adjust import adjusted
from fitsim.tree.faces import height_at
from fitsim.tree.read import read_tree
from fitsim.tree.rigging import rigging_point
from tests.pressed import layer_of, press_down

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from fitsim.contact.foundation import Foundation
    from fitsim.tree.tree import MountedBar, Tree
    from tests.pressed import Pressed

    Array = NDArray[np.float64]

#: Angle of the flat bars' faces and the stop of their hinges, rad.
FACE, STOP = np.radians(20.0), np.radians(8.0)

#: N*m/rad, of a hinge against its stop in `fitsim.contact.balance`.
HARD = 2.0e3

#: N, down on the tree's middle.
WEIGHT = 500.0


def flat_faced(**pivot: object) -> Tree:
    """The pivoting pack tree with plane faces, its bars parallel."""
    changes: dict[str, object] = {"bar.crown": 0.0, "bar.curve.sagitta": 0.0}
    for end in ("front", "rear"):
        changes |= {
            f"bar.flare.{end}.rise": 0.0,
            f"arches.{end}.angle": FACE,
            f"arches.{end}.spread": 0.060,
        }
    changes |= {f"pivot.{key}": value for key, value in pivot.items()}
    return adjusted(read_tree("pack-pivoting"), changes)


@cache
def roof(degrees: float) -> Foundation:
    """Two planes that meet along the x axis and fall to either side, of even soft tissue."""
    slope, spacing = np.radians(degrees), 0.007
    x = np.arange(-93, 16, dtype=np.float64) * spacing
    t = np.arange(-34, 35, dtype=np.float64) * spacing
    shape, side = (len(x), len(t)), np.sign(t)
    points, normals = np.zeros((*shape, 3)), np.zeros((*shape, 3))
    points[..., 0] = x[:, None]
    points[..., 1], points[..., 2] = t * np.cos(slope), -np.abs(t) * np.sin(slope)
    normals[..., 1], normals[..., 2] = side * np.sin(slope), np.where(side, np.cos(slope), 1.0)
    yes, no = np.ones(shape, dtype=bool), np.zeros(shape, dtype=bool)
    area = np.full(shape, spacing**2)
    chart = Chart(x, t, points, normals, area, np.zeros(shape), yes, no)
    tissue = Tissue((layer_of(0.04, 60e3, 0.45),), np.ones((*shape, 1)))
    return build_foundation(chart, tissue)


def laid_on(tree: Tree, degrees: float, case: Case) -> Pressed:
    """The tree let down on a roof until the bars' middle is as thick above it as the pad."""
    seat = np.eye(4)
    left = tree.bars[0]
    zeta = height_at(left.underside, np.zeros(1), np.zeros(1))[0]
    foot = left.T_tree_bar @ [0.0, 0.0, zeta, 1.0]
    seat[2, 3] = -foot[2] - abs(foot[1]) * np.tan(np.radians(degrees)) + 0.020
    return press_down(roof(degrees), tree, case, library_pad("felt"), seat)


def weighed(tree: Tree) -> Case:
    middle = np.mean([bar.T_tree_bar[:3, 3] for bar in tree.bars], axis=0)
    return Case("both", (), (DeadForce("weight", middle, np.array([0.0, 0.0, -WEIGHT])),))


def cinched(tree: Tree) -> Case:
    """Strap ends that pull down and a little inwards on all four rings."""
    straps = []
    for side, sign in (("left", 1.0), ("right", -1.0)):
        for at in (0.130, 0.430):
            ring = rigging_point(tree, side, at)  # type: ignore[arg-type]
            anchor = ring + np.array([0.0, -0.1 * sign, -0.8])
            straps.append(Strap(f"{side}_{at}", ring, anchor, WEIGHT / 4.0))
    return Case("both", tuple(straps), ())


class Turned(NamedTuple):
    """One bar at rest: angle, rad; torque about its hinge of all that presses, N*m; load, N."""

    angle: float
    torque: float
    carried: float


def bars_at_rest(tree: Tree, found: Pressed) -> list[Turned]:
    """Each bar as it stands, added up from the nodes."""
    rest, foundation = found.rest, found.problem.foundation
    assert rest.found, rest.leaves
    force = (rest.pressure[:, None] * foundation.normals - rest.shear) * foundation.area[:, None]
    turned = []
    for bar, code, angle in zip(tree.bars, (1, -1), rest.joint_angles, strict=True):
        _, (hinge,) = place_bar(rest.T_body_tree, bar, np.array([angle]))
        under = rest.bar == code
        arm = foundation.points[under] - hinge.point
        torque = float(np.cross(arm, force[under]).sum(axis=0) @ hinge.axis)
        turned.append(Turned(float(angle), torque, float(found.node_force[under].sum())))
    return turned


def middle_height(bar: MountedBar, behind_front: float) -> Array:
    xi = np.array([bar.underside.front - behind_front])
    zeta = height_at(bar.underside, xi, np.zeros(1))[0]
    return np.array([xi[0], 0.0, zeta])


def test_the_hinge_line_runs_above_the_seats_under_both_arches() -> None:
    tree = read_tree("pack-pivoting")
    for bar in tree.bars:
        (hinge,) = bar.joints
        for end in ("front", "rear"):
            seat = middle_height(bar, tree.settings["arches"][end]["at"])  # type: ignore[index]
            above = (bar.T_tree_bar @ [*seat[:2], seat[2] + 0.034, 1.0])[:3]
            off = above - hinge.point
            # Heights between the grid's points are splined.
            assert_allclose(off, (off @ hinge.axis) * hinge.axis, atol=1e-5)
        assert np.linalg.norm(hinge.axis) == pytest.approx(1.0)
        assert abs(hinge.axis[0]) > np.cos(np.radians(10.0))
        assert_allclose(hinge.stops, (-STOP, STOP))
        assert hinge.stiffness == 0.0


@pytest.mark.parametrize("axis", ["along", "across"])
def test_equal_angles_of_both_hinges_are_mirror_images(axis: str) -> None:
    tree = flat_faced(axis=axis, at=0.280) if axis == "across" else flat_faced()
    left, right = (
        place_bar(np.eye(4), bar, np.array([0.07]))[0] @ [0.1, sign * 0.04, 0.0, 1.0]
        for bar, sign in zip(tree.bars, (1.0, -1.0), strict=True)
    )
    assert_allclose(right, left * (1, -1, 1, 1), atol=1e-12)
    still = tree.bars[0].T_tree_bar @ [0.1, 0.04, 0.0, 1.0]
    # Along: the outer edge rises. Across: the front goes down.
    assert left[2] - still[2] == pytest.approx(
        0.07 * (0.04 if axis == "along" else -0.1), abs=0.001
    )


def test_a_hinge_across_sits_where_it_is_told_and_turns_nose_up_and_down() -> None:
    tree = flat_faced(axis="across", at=0.200, height=0.040)
    (hinge,) = tree.bars[0].joints
    assert_allclose(hinge.axis, [0.0, 1.0, 0.0])
    below = np.linalg.inv(tree.bars[0].T_tree_bar) @ [*hinge.point, 1.0]
    seat = middle_height(tree.bars[0], 0.200)
    assert_allclose(below[:3] - seat, [0.0, 0.0, 0.040], atol=1e-6)


def test_the_arches_give_before_the_hinge_turns() -> None:
    """A bar's joints run outwards from the tree: the hinge is carried by the arch that bends."""
    tree = adjusted(read_tree("pack-pivoting"), {"arches.flex": 900.0})
    for bar in tree.bars:
        assert [joint.stiffness for joint in bar.joints] == [900.0, 0.0]
        _, still = place_bar(np.eye(4), bar, np.zeros(2))
        _, bent = place_bar(np.eye(4), bar, np.array([0.05, 0.0]))
        assert np.linalg.norm(bent[1].point - still[1].point) > 0.05 * 0.05


@pytest.mark.parametrize("held", [weighed, cinched], ids=["weight", "straps"])
@pytest.mark.parametrize("degrees", [14.0, 20.0, 26.0])
def test_a_bar_hinged_along_lies_flat_on_an_inclined_plane(
    held: Callable[[Tree], Case], degrees: float
) -> None:
    # Closed form: the force through the hinge is carried evenly only by a face parallel to the
    # plane, so that the bar turns by the angle of its face less the slope. Straps change nothing:
    # they pull on the arches and reach the bar through the hinge.
    tree = flat_faced()
    for bar in bars_at_rest(tree, laid_on(tree, degrees, held(tree))):
        # Cells that the bar's edges cut through shift the even load a little: by 0.26 degrees at
        # most where they are 10 mm, 0.18 at 7 mm as here, 0.12 at 5 mm.
        assert np.degrees(bar.angle) == pytest.approx(20.0 - degrees, abs=0.25)
        # The load stands right below the hinge, to a hundredth of a millimetre.
        assert abs(bar.torque) < 1e-5 * bar.carried


def test_a_fixed_bar_on_the_same_plane_carries_on_one_edge() -> None:
    """What the hinge is for: held still, the steeper bar carries on its outer half."""
    stiff = flat_faced(stiffness=1e6)
    for bar in bars_at_rest(stiff, laid_on(stiff, 14.0, weighed(stiff))):
        assert abs(np.degrees(bar.angle)) < 0.01
        assert bar.torque > 0.010 * bar.carried


@pytest.mark.parametrize("stiffness", [20.0, 80.0])
def test_a_sprung_hinge_holds_the_torque_that_turned_it(stiffness: float) -> None:
    tree = flat_faced(stiffness=stiffness)
    for bar in bars_at_rest(tree, laid_on(tree, 14.0, weighed(tree))):
        assert bar.angle > 0.0
        assert bar.torque == pytest.approx(stiffness * bar.angle, rel=1e-3)


@pytest.mark.parametrize(("degrees", "way"), [(6.0, 1.0), (34.0, -1.0)])
def test_beyond_its_stop_the_bar_leans_on_it(degrees: float, way: float) -> None:
    tree = flat_faced()
    for bar in bars_at_rest(tree, laid_on(tree, degrees, weighed(tree))):
        beyond = way * bar.angle - STOP
        assert beyond > 0.0
        assert way * bar.torque == pytest.approx(HARD * beyond, rel=1e-3)
        # 14 degrees wanted: the rest is a bar that stands on one edge.
        assert np.degrees(way * bar.angle) < 9.0
