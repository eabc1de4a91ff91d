"""Every change the solver works out by formula, against finite differences of what it changes.

A semismooth Newton step with a wrong derivative may still come to rest, slowly or not at all;
only this sees it. The pose is one of a curved bar tilted every way on a curved back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest

from fitsim.contact.above import look
from fitsim.contact.applied import applied_forces, wrench, wrench_change
from fitsim.contact.balance import weigh
from fitsim.contact.bars import about
from fitsim.contact.friction import coulomb
from fitsim.contact.pose import Pose
from fitsim.contact.problem import Problem, prepare
from fitsim.contact.skin import press
from fitsim.contact.stiffening import linear_sinking, true_indentation
from fitsim.rig.case import Case, DeadForce, Pad
from fitsim.tree.tree import Joint, MountedBar
from tests.pressed import body, flat_foundation, layer_of, strap, tree_of

FELT = Pad("felt", 0.02, 20e3, 4.0, 15e3, 0.4)
STEP = 1e-7  # m and rad: central differences of smooth functions to about 1e-8


def curved(at: list[float], *joints: Joint) -> MountedBar:
    """A bar crowned across and bowed along, wide of the origin."""
    return body(
        lambda x, y: 1.5 * x**2 + 2.5 * y**2 + 0.3 * x * y,
        lambda x, y: np.minimum(0.06 - np.abs(x), 0.045 - np.abs(y)),
        0.06,
        0.002,
        at=np.array(at),
        joints=joints,
    )


def case() -> Case:
    straps = (
        strap("given", [0.03, 0.12, 0.02], [0.05, 0.25, -0.2], 80.0),
        strap("elastic", [-0.02, -0.1, 0.02], [-0.05, -0.2, -0.25], 20.0, 4e3, 0.28),
    )
    return Case("both", straps, (DeadForce("weight", np.array([0.02, 0.01, 0.1]),
                                           np.array([3.0, -4.0, -90.0])),))  # fmt: skip


@dataclass(frozen=True)
class Spot:
    """A state in the middle of things: some nodes pressed, some slipping, joints turned."""

    problem: Problem
    pose: Pose
    force: np.ndarray  # type: ignore[type-arg]


@cache
def spot() -> Spot:
    """Two bars, one hinged across with a spring, over a dished surface."""
    hinge = Joint(np.array([0.0, 0.08, 0.03]), np.array([0.0, 0.8, 0.6]), 50.0, (-0.02, 0.02))
    tree = tree_of(curved([0.0, 0.08, 0.0], hinge), curved([0.01, -0.08, 0.0]))
    flat = flat_foundation(0.01, 0.16, layer_of(0.05, 60e3, 0.47), stiffens=True)
    points, normals = flat.points.copy(), flat.normals.copy()
    points[:, 2] = -0.6 * points[:, 1] ** 2 - 0.3 * points[:, 0] ** 2 - 0.01
    normals = np.column_stack([0.6 * points[:, 0], 1.2 * points[:, 1], np.ones(len(points))])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    problem = prepare(replace(flat, points=points, normals=normals), tree, FELT, np.eye(4))
    pose = Pose(about(np.zeros(3), np.array([0.03, -0.04, 0.02])), np.array([0.01]))
    pose = replace(pose, T_body_tree=pose.T_body_tree + np.eye(4, k=3) * 0.025)
    force = np.random.default_rng(4).uniform(0.0, 2.0, len(problem.near))
    return Spot(problem, pose, np.where(force < 0.6, 0.0, force))


def size(problem: Problem) -> int:
    return 6 + sum(problem.joints)


def smooth(problem: Problem, above_inside: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
    """Nodes well under a bar, away from the kinks of the outline."""
    return above_inside > 1.5 * problem.foundation.spacing


def test_closing_is_the_change_of_distance() -> None:
    """Of every node under a bar with each of 7 motions: 1e-6, what the differences can tell."""
    s = spot()
    above = look(s.problem, s.pose)
    inner = smooth(s.problem, above.inside)
    assert inner.sum() > 40
    for motion in range(size(s.problem)):
        step = STEP * np.eye(size(s.problem))[motion]
        ahead, behind = (
            look(s.problem, s.pose.moved(sign * step, above.centre)).distance for sign in (1, -1)
        )
        change = (ahead - behind) / (2.0 * STEP)
        np.testing.assert_allclose(
            -above.closing[inner, motion], change[inner], rtol=0.0, atol=1e-6
        )


def test_covering_is_the_change_of_cover() -> None:
    """Of every cell that an edge cuts, with each of 7 motions, to a hundredth.

    Where the outline's corner or a line of its grid passes right over a node the change is not
    defined: one node in ten may differ.
    """
    s = spot()
    above = look(s.problem, s.pose)
    cut = (above.cover > 0.0) & (above.cover < 1.0)
    assert cut.sum() > 50
    for motion in range(size(s.problem)):
        step = STEP * np.eye(size(s.problem))[motion]
        ahead, behind = (
            look(s.problem, s.pose.moved(sign * step, above.centre)).cover for sign in (1, -1)
        )
        change = (ahead - behind) / (2.0 * STEP)
        off = np.abs(change - above.covering[:, motion])
        assert np.quantile(off[cut], 0.9) < 0.01 * np.abs(change[cut]).max()
        assert not off[~cut].any()


def test_balance_changes_with_motion() -> None:
    """`change`: of forces, of moments about a place that stays, and at the hinge that travels."""
    s = spot()
    above = look(s.problem, s.pose)
    force = np.where(smooth(s.problem, above.inside), s.force, 0.0)
    assert (force > 0.0).sum() > 20
    here = weigh(s.problem, case(), s.pose, above, force)

    def after(step: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
        pose = s.pose.moved(step, above.centre)
        there = look(s.problem, pose)
        total = weigh(s.problem, case(), pose, there, force).unbalanced
        total[3:6] += np.cross(there.centre - above.centre, total[:3])
        return total

    for motion in range(size(s.problem)):
        step = STEP * np.eye(size(s.problem))[motion]
        change = (after(step) - after(-step)) / (2.0 * STEP)
        # Where the underside is met moves a little along the node's ray, and with it the arm of
        # what a turn slides: left out of `change`, less than 1 N a metre
        np.testing.assert_allclose(here.change[:, motion], change, rtol=0.01, atol=1.0)


def test_pushing_is_the_work_of_a_normal_newton() -> None:
    """Virtual work: what a unit normal force at a node does on each motion of the tree.

    The force acts on the tree along the node's normal at the skin point, carried by bar and
    joint, so its work is that of the skin point taken as fixed to the bar.
    """
    s = spot()
    above = look(s.problem, s.pose)
    points, normals = s.problem.points, s.problem.normals
    for motion in range(6):
        step = np.eye(6)[motion]
        travel = step[:3] + np.cross(step[3:], points - above.centre)
        work = np.einsum("ni,ni->n", normals, travel)
        np.testing.assert_allclose(above.pushing[:, motion], work, rtol=0.0, atol=1e-12)
    # no joint of the right bar: the hinge does not feel it
    assert not above.pushing[s.problem.bar == 1, 6].any()
    assert np.abs(above.pushing[s.problem.bar == 0, 6]).max() > 0.01


def test_wrench_change_of_straps_and_weights() -> None:
    """6 x 6, taut straps of given tension and elastic, and a dead weight."""
    pose = spot().pose
    centre = np.array([0.01, -0.02, 0.05])
    exact = wrench_change(case(), pose.T_body_tree, centre)
    assert np.linalg.norm(case().straps[1].anchor_body) > 0.28  # it is taut
    for motion in range(6):
        step = STEP * np.eye(6)[motion]
        ahead, behind = (
            wrench(applied_forces(case(), pose.moved(sign * step, centre).T_body_tree), centre)
            for sign in (1, -1)
        )
        # forces of 100 N over differences of 1e-7 m carry 1e-7 of relative rounding
        np.testing.assert_allclose(
            exact[:, motion], (ahead - behind) / (2.0 * STEP), rtol=1e-5, atol=1e-3
        )


def test_balance_changes_with_normal_force() -> None:
    """`by_normal`: the exact change, friction included, where a node does not change state."""
    s = spot()
    above = look(s.problem, s.pose)
    here = weigh(s.problem, case(), s.pose, above, s.force)
    chosen = np.flatnonzero((s.force > 0.0) & (above.cover > 0.0))
    assert here.shear.slipping[chosen].any()
    assert not here.shear.slipping[chosen].all()
    for node in chosen[::7]:
        bump = np.zeros_like(s.force)
        bump[node] = 1e-5
        ahead, behind = (
            weigh(s.problem, case(), s.pose, above, s.force + sign * bump).unbalanced
            for sign in (1, -1)
        )
        np.testing.assert_allclose(
            here.by_normal[node], (ahead - behind) / 2e-5, rtol=1e-5, atol=1e-7
        )


def test_balance_changes_with_joint() -> None:
    """Spring and stop of the hinge, inside its stops and beyond them."""
    s = spot()
    above = look(s.problem, s.pose)
    none = np.zeros_like(s.force)
    for angle, stiffness in ((0.01, 50.0), (0.03, 50.0 + 2e3), (-0.05, 50.0 + 2e3)):
        pose = replace(s.pose, angles=np.array([angle]))
        here = weigh(s.problem, case(), pose, above, none)
        assert here.change[6, 6] == pytest.approx(-stiffness)
        beyond = max(abs(angle) - 0.02, 0.0) * np.sign(angle)
        assert here.unbalanced[6] == pytest.approx(-50.0 * angle - 2e3 * beyond)


def test_shear_changes_with_slide() -> None:
    """Sticking and slipping nodes, three ways of sliding."""
    rng = np.random.default_rng(8)
    arms, normals = rng.uniform(-0.2, 0.2, (50, 3)), rng.normal(size=(50, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    stiffness, limit = rng.uniform(50.0, 500.0, 50), rng.uniform(0.0, 2.0, 50)
    slid = np.array([0.003, -0.002, 0.01])
    grip = {"stiffness": stiffness, "limit": limit, "coefficient": 0.4}
    here = coulomb(slid, arms, normals, **grip)
    assert 5 < here.slipping.sum() < 45
    # in the tangent plane, within Coulomb's limit, and at it where it slips
    tangential = np.einsum("ni,ni->n", here.force, normals)
    np.testing.assert_allclose(tangential, 0.0, atol=1e-12)
    size = np.linalg.norm(here.force, axis=1)
    np.testing.assert_allclose(size[here.slipping], 0.4 * limit[here.slipping], rtol=1e-12)
    assert (size <= 0.4 * limit + 1e-12).all()
    for column, place in ((0, 0), (1, 1), (5, 2)):
        step = STEP * np.eye(3)[place]
        ahead, behind = (
            coulomb(slid + sign * step, arms, normals, **grip).force for sign in (1, -1)
        )
        np.testing.assert_allclose(
            here.by_slide[:, :, column], (ahead - behind) / (2.0 * STEP), rtol=1e-5, atol=1e-4
        )
    assert not here.by_slide[:, :, [2, 3, 4]].any()


def test_law_changes_with_force_and_motion() -> None:
    """`press`: own compliance and slope, against differences of the excess."""
    s = spot()
    above = look(s.problem, s.pose)
    here = press(s.problem, above, s.force)
    chosen = np.flatnonzero((s.force > 0.0) & (above.cover > 0.0))
    inner = smooth(s.problem, above.inside)[chosen]
    assert 20 < inner.sum() < len(chosen) - 20
    compliance = s.problem.foundation.block(s.problem.near)
    for node in chosen[::5]:
        bump = np.zeros_like(s.force)
        bump[node] = 1e-5
        ahead, behind = (
            np.nan_to_num(press(s.problem, above, s.force + k * bump).excess, posinf=0.0)
            for k in (1, -1)
        )
        exact = compliance[:, node].copy()
        exact[node] += here.own[node]
        finite = np.isfinite(here.excess)  # nodes with no bar above have no law
        change = (ahead - behind)[finite] / 2e-5
        np.testing.assert_allclose(exact[finite], change, rtol=1e-6, atol=1e-10)
    for motion in range(size(s.problem)):
        step = STEP * np.eye(size(s.problem))[motion]
        ahead, behind = (
            press(s.problem, look(s.problem, s.pose.moved(k * step, above.centre)), s.force).excess[
                chosen
            ]
            for k in (1, -1)
        )
        exact = here.by_cover[:, None] * above.covering - here.slope[:, None] * above.closing
        off = np.abs(exact[chosen, motion] - (ahead - behind) / (2.0 * STEP))
        # as in the tests of `closing` and `covering`
        np.testing.assert_allclose(off[inner], 0.0, atol=1e-6)
        assert np.quantile(off[~inner], 0.9) < 0.01


def test_slope_of_the_stiffening_law() -> None:
    """Before contact, in it, near the bone, on the straight beyond 0.8 of the depth; and back."""
    d = np.array([-0.01, 0.001, 0.02, 0.039, 0.041, 0.06])
    depth = np.full_like(d, 0.05)
    _, slope = linear_sinking(d, depth)
    change = (linear_sinking(d + STEP, depth)[0] - linear_sinking(d - STEP, depth)[0]) / (2 * STEP)
    np.testing.assert_allclose(slope, change, rtol=1e-5)
    u, _ = linear_sinking(d[:4], depth[:4])
    np.testing.assert_allclose(u[1:], d[1:4] / (1.0 - (d[1:4] / 0.05) ** 2), rtol=1e-12)
    np.testing.assert_allclose(true_indentation(u, depth[:4]), d[:4], rtol=1e-12)
    u, slope = linear_sinking(d, np.full_like(d, np.inf))
    assert np.array_equal(u, d), "an endlessly deep layer does not stiffen"
    assert np.array_equal(slope, np.ones_like(d))
