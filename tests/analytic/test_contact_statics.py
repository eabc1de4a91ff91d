"""Rigid bars through the product's solver against statics that can be done on paper.

The bed is a pad of constant stiffness on tissue a thousand times stiffer: an even bed of springs
that cannot pull, whose answers are those of the eccentric footing (`fitsim.reference.statics`).
Where a test needs the tissue it says so.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.reference import statics
from fitsim.rig.case import Case, Pad
from fitsim.tree.tree import Joint
from tests.pressed import (
    Pressed,
    flat_foundation,
    layer_of,
    press_down,
    pushed,
    slab,
    strap,
    tree_of,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.contact.foundation import Foundation
    from tests.validation.measured import Measured

# Half a bar less its last cell: the bar's edges fall on the borders of cells.
SPACING, LENGTH, WIDTH = 0.01, 0.51, 0.11
SPRINGS = Pad("springs", 0.02, 25e3, 0.0, 1e5, 0.4)  # 4 p25 / t = 5 MPa/m
BED = 4.0 * SPRINGS.p25 / SPRINGS.thickness  # Pa/m


def seated(height: float = SPRINGS.thickness) -> NDArray[np.float64]:
    T = np.eye(4)
    T[2, 3] = height
    return T


@cache
def bed() -> Foundation:
    return flat_foundation(SPACING, 0.30, layer_of(0.002, 500e6, 0.3))


@cache
def tissue() -> Foundation:
    return flat_foundation(SPACING, 0.30, layer_of(0.05, 60e3, 0.47))


def centre_of_pressure(found: Pressed) -> NDArray[np.float64]:
    """(x, y) of the normal forces' resultant, m."""
    points = found.problem.foundation.points[:, :2]
    return np.asarray(found.node_force @ points / found.force)


@pytest.mark.parametrize("share", [0.0, 0.10, 0.30, 0.40])
def test_eccentric_bar_on_an_even_bed(share: float, measured: Measured) -> None:
    """Length in contact, line force at the ends and share of the front third, to 2 %.

    Inside and outside the kern. The bed is of cells 10 mm long, of which the one where the bar
    lifts counts whole or not: half a cell in 230 mm of contact is 2 %.
    """
    force = 120.0
    exact = statics.bar_on_bed(LENGTH, force, share * LENGTH)
    case = pushed(([share * LENGTH, 0.0, 0.0], [0.0, 0.0, -force]))
    found = press_down(bed(), tree_of(slab(LENGTH, WIDTH, np.zeros(3))), case, SPRINGS, seated())
    assert found.rest.found
    x = found.problem.foundation.points[:, 0]
    rows = np.unique(x)
    line = np.array([found.node_force[x == row].sum() for row in rows]) / SPACING
    touching = np.count_nonzero(line > 1e-6 * line.max()) * SPACING
    what, footing = "bar on an even bed, load in and outside the kern:", "eccentric footing"
    off = 1e3 * abs(touching - exact.length)
    measured.below(f"{what} length in contact off by", off, 1e3 * SPACING, "mm", footing)
    end = 0.5 * LENGTH
    middle_of_last = exact.high - (exact.high - exact.low) * 0.5 * SPACING / exact.length
    at_end = line[np.abs(rows - (end - 0.5 * SPACING)).argmin()]
    measured.near(f"{what} line force at the end", at_end, middle_of_last, footing, rel=0.02)
    front = np.clip((rows - (end - LENGTH / 3.0)) / SPACING + 0.5, 0.0, 1.0)
    third = line @ front * SPACING / force
    measured.near(f"{what} front third", third, exact.share_front_third, footing, rel=0.02)
    pitch = -np.arcsin(found.rest.T_body_tree[2, 0])
    slope = (exact.high - exact.low) / exact.length / (BED * WIDTH)
    if share:
        measured.near(f"{what} pitch", pitch, slope, footing, rel=0.02)
    assert pitch == pytest.approx(slope, rel=0.02, abs=1e-5)
    assert pitch * share >= 0.0  # down on the side of the load


def test_load_beyond_the_end_tips_the_bar_off(measured: Measured) -> None:
    """No equilibrium exists: the way it goes is said, both ways."""
    for sign, way in ((1.0, "tips forward"), (-1.0, "tips back")):
        case = pushed(([sign * 0.56 * LENGTH, 0.0, 0.0], [0.0, 0.0, -120.0]))
        found = press_down(tissue(), tree_of(slab(LENGTH, WIDTH, np.zeros(3))), case, SPRINGS,
                           seated())  # fmt: skip
        assert not found.rest.found
        measured.same("load beyond the bar's end", found.rest.leaves, way, "no equilibrium exists")


@pytest.mark.parametrize("place", [(0.03, 0.01), (-0.05, -0.02), (0.12, 0.0)])
def test_pressure_is_centred_under_a_dead_weight(
    place: tuple[float, float], measured: Measured
) -> None:
    """Lever rule on coupled tissue: moments about the foot of the load vanish."""
    case = pushed(([*place, 0.0], [0.0, 0.0, -200.0]))
    found = press_down(tissue(), tree_of(slab(LENGTH, WIDTH, np.zeros(3))), case, SPRINGS, seated())
    assert found.rest.found
    turned = found.rest.T_body_tree[:3, :3] @ [*place, 0.0] + found.rest.T_body_tree[:3, 3]
    # balance to 1e-5 of load times half the bar's length
    off = np.abs(centre_of_pressure(found) - turned[:2]) / LENGTH
    what = "centre of pressure under a weight, over the bar's length"
    measured.below(what, off, 1e-5, "", "lever rule")
    assert found.force == pytest.approx(200.0, rel=1e-4)


def test_pressure_is_centred_where_straps_and_weight_meet(measured: Measured) -> None:
    """Two straps and a weight, none through the middle: their resultant's foot on the skin.

    By hand: each strap pulls along anchor - ring, the lever rule about the skin's plane; what is
    horizontal goes into friction in that plane, so it has no moment there.
    """
    rings = ([0.10, 0.05, 0.03], [0.06, -0.06, 0.03])
    anchors = ([0.10, 0.25, -0.30], [0.07, -0.25, -0.30])
    pulls = (90.0, 60.0)
    straps = tuple(
        strap(name, *where, pull)
        for name, where, pull in zip(
            ("left", "right"), zip(rings, anchors, strict=True), pulls, strict=True
        )
    )
    weight = pushed(([-0.04, 0.01, 0.10], [0.0, 0.0, -80.0])).forces
    tree = tree_of(slab(LENGTH, WIDTH, np.zeros(3)))
    found = press_down(tissue(), tree, Case("both", straps, weight), SPRINGS, seated())
    assert found.rest.found
    T = found.rest.T_body_tree
    points = [T[:3, :3] @ np.array(p) + T[:3, 3] for p in (*rings, [-0.04, 0.01, 0.10])]
    forces = []
    for ring, anchor, pull in zip(points, anchors, pulls, strict=False):
        line = np.array(anchor) - ring
        forces.append(pull * line / np.linalg.norm(line))
    forces.append(np.array([0.0, 0.0, -80.0]))
    down = -sum(f[2] for f in forces)
    # where each force's line meets the skin's plane z = 0, weighed by what it presses with
    feet = [p - f * p[2] / f[2] for p, f in zip(points, forces, strict=True)]
    expected = sum(-f[2] * foot for f, foot in zip(forces, feet, strict=True)) / down
    off = np.abs(centre_of_pressure(found) - expected[:2]) / LENGTH
    what = "centre of pressure under two straps and a weight, over the bar's length"
    measured.below(what, off, 2e-5, "", "lever rule")
    assert found.force == pytest.approx(down, rel=1e-4)
    sideways = (found.rest.shear * found.problem.foundation.area[:, None]).sum(axis=0)
    np.testing.assert_allclose(sideways, sum(forces) * [1, 1, 0], atol=1e-4 * 230.0)


@pytest.mark.parametrize("offset", [0.0, 0.03, -0.06])
def test_two_bars_share_by_the_lever_rule(offset: float, measured: Measured) -> None:
    """Spread 0.30 m, narrow bars: the resultants move inside a bar by less than 0.5 % of it."""
    bars = (slab(0.31, 0.03, np.array([0, 0.15, 0])), slab(0.31, 0.03, np.array([0, -0.15, 0])))
    case = pushed(([0.0, offset, 0.0], [0.0, 0.0, -150.0]))
    found = press_down(bed(), tree_of(*bars), case, SPRINGS, seated())
    assert found.rest.found
    left, right = statics.shares_of_two_bars(0.30, offset)
    y = found.problem.foundation.points[:, 1]
    shares = np.array([found.node_force[side].sum() for side in (y > 0.0, y < 0.0)]) / found.force
    off = 100.0 * np.abs(shares - [left, right])
    measured.below("two bars, load off the middle: shares", off, 0.5, "points", "lever rule")


def test_load_outside_the_bars_rolls_the_tree(measured: Measured) -> None:
    bars = (slab(0.31, 0.03, np.array([0, 0.10, 0])), slab(0.31, 0.03, np.array([0, -0.10, 0])))
    for sign, way in ((1.0, "rolls left"), (-1.0, "rolls right")):
        case = pushed(([0.0, sign * 0.13, 0.0], [0.0, 0.0, -150.0]))
        found = press_down(tissue(), tree_of(*bars), case, SPRINGS, seated())
        assert not found.rest.found
        measured.same("load outside the bars", found.rest.leaves, way, "no equilibrium exists")


def test_elastic_straps_share_the_load_with_the_bed(measured: Measured) -> None:
    """A weight on a bed K held by two upright elastic straps: s = (W + 2 T0) / (K + 2 k).

    T0 is the pull where the tree is laid; it slackens by k s as the tree sinks. 0.5 %: the bed's
    tissue, taken as rigid by hand, gives 0.2 % of the pad's way.
    """
    stiff, tight, pull = 2e3, 0.30, 40.0
    straps = tuple(
        strap(f"s{y:+}", [0, y, 0], [0, y, SPRINGS.thickness - tight], pull, stiff, tight)
        for y in (0.04, -0.04)
    )
    case = Case("both", straps, pushed(([0, 0, 0], [0, 0, -50.0])).forces)
    tree = tree_of(slab(LENGTH, WIDTH, np.zeros(3)))
    found = press_down(bed(), tree, case, SPRINGS, seated())
    stiffness = BED * LENGTH * WIDTH
    sinks = (50.0 + 2.0 * pull) / (stiffness + 2.0 * stiff)
    by_hand = "springs side by side"
    measured.near("elastic straps: sinking", found.sinking, sinks, by_hand, rel=0.005)
    tension = [np.linalg.norm(f.force) for f in found.rest.forces if f.name.startswith("s")]
    measured.near("elastic straps: tension", tension, pull - stiff * sinks, by_hand, rel=0.001)
    assert found.force == pytest.approx(50.0 + 2.0 * (pull - stiff * sinks), rel=0.001)


def test_a_slack_elastic_strap_does_not_push(measured: Measured) -> None:
    straps = (strap("slack", [0, 0, 0], [0, 0, -0.25], 0.0, 5e4, 0.40),)
    case = Case("both", straps, pushed(([0, 0, 0], [0, 0, -50.0])).forces)
    found = press_down(bed(), tree_of(slab(LENGTH, WIDTH, np.zeros(3))), case, SPRINGS, seated())
    measured.near("slack strap: force of the bed", found.force, 50.0, "the weight alone", rel=1e-4)


def hinged(stiffness: float, stop: float, eccentric: float) -> Pressed:
    """One bar under a cross hinge with a spring, a load `eccentric` from the hinge on the tree."""
    hinge = Joint(np.array([0.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0]), stiffness, (-stop, stop))
    tree = tree_of(slab(LENGTH, WIDTH, np.zeros(3), hinge))
    return press_down(bed(), tree, pushed(([eccentric, 0, 0], [0, 0, -100.0])), SPRINGS, seated())


def test_sprung_hinge_turns_by_moment_over_stiffness(measured: Measured) -> None:
    """Joint turns back by M/c while the bar on its bed pitches by M / (k I): both to 1 %.

    M = W e cos(pitch of the tree), the load being carried by the tree.
    """
    stiffness, eccentric = 400.0, 0.02
    found = hinged(stiffness, 0.2, eccentric)
    assert found.rest.found
    tree_pitch = -np.arcsin(found.rest.T_body_tree[2, 0])
    moment = 100.0 * eccentric * np.cos(tree_pitch)
    turned, series = -found.rest.joint_angles[0], "springs in series"
    measured.near("sprung hinge: its turn", turned, moment / stiffness, series, rel=0.01)
    bed_stiffness = BED * WIDTH * LENGTH**3 / 12.0
    bar_pitch = tree_pitch + found.rest.joint_angles[0]
    tilt = moment / bed_stiffness
    measured.near("sprung hinge: pitch of the bar", bar_pitch, tilt, series, rel=0.01)


def test_free_hinge_goes_to_its_stop_and_holds_there(measured: Measured) -> None:
    """No spring: the stop carries the moment, at 2 kN*m/rad beyond the stop's angle."""
    found = hinged(0.0, 0.02, 0.02)
    assert found.rest.found
    turned = -found.rest.joint_angles[0]
    measured.near("hinge on its stop: turn", turned, 0.02 + 2.0 / 2e3, "stiffness of the stop",
                  rel=0.01)  # fmt: skip


@pytest.mark.parametrize(("side", "axis"), [(1.0, 0), (-1.0, 1)])
def test_coulomb_says_whether_it_slides(side: float, axis: int, measured: Measured) -> None:
    """Friction 0.4: 38 N of side force over 100 N holds, 42 N takes it off the way it is pushed."""
    way = (("slides forward", "slides back"), ("slides left", "slides right"))[axis][side < 0.0]
    tree = tree_of(slab(0.21, WIDTH, np.zeros(3)))
    for size, stays in ((38.0, True), (42.0, False)):
        push = np.zeros(3)
        push[axis] = side * size
        # low, so that it slides before it tips
        case = pushed(([0, 0, -0.02], [0, 0, -100.0]), ([0, 0, -0.02], push))
        found = press_down(tissue(), tree, case, SPRINGS, seated())
        told = "stays" if found.rest.found else found.rest.leaves
        what = "side force of 0.95 and of 1.05 times friction's limit"
        measured.same(what, told, "stays" if stays else way, "Coulomb")
        if stays:
            shear = (found.rest.shear * found.problem.foundation.area[:, None]).sum(axis=0)
            assert shear[axis] == pytest.approx(side * size, rel=1e-3)


def test_sticking_tree_slides_by_its_shear_compliance(measured: Measured) -> None:
    """Far below slip: dx = F (c_tissue + t/G_pad) / A, to 0.1 %."""
    tree = tree_of(slab(LENGTH, WIDTH, np.zeros(3)))
    case = pushed(([0, 0, -0.02], [0, 0, -300.0]), ([0, 0, -0.02], [3.0, 0, 0]))
    found = press_down(tissue(), tree, case, SPRINGS, seated())
    compliance = tissue().shear_compliance[0] + SPRINGS.thickness / SPRINGS.shear_modulus
    moved = found.rest.T_body_tree[0, 3]
    by_hand = 3.0 * compliance / (LENGTH * WIDTH)
    measured.near("slide before slip", moved, by_hand, "compliance of layer and pad", rel=1e-3)


def test_more_load_never_presses_less() -> None:
    """Monotony: force, depth, peak and patch with a growing dead weight on stiffening tissue."""
    foundation = flat_foundation(SPACING, 0.30, layer_of(0.05, 60e3, 0.47), stiffens=True)
    tree = tree_of(slab(LENGTH, WIDTH, np.zeros(3)))
    felt = replace(SPRINGS, stiffening=4.0)
    last = (0.0, 0.0, 0.0)
    for weight in (50.0, 100.0, 200.0, 400.0, 800.0):
        case = pushed(([0.05, 0, 0], [0, 0, -weight]))
        found = press_down(foundation, tree, case, felt, seated())
        now = (found.force, found.sinking, float(found.rest.pressure.max()))
        assert all(new > old for new, old in zip(now, last, strict=True))
        last = now
