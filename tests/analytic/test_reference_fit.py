"""Whole trees on the reference model: small-strain limit, balance, mirror, mesh of the ground."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.back.back import Tissue
from fitsim.back.stack import Layer, Stack
from fitsim.contact.foundation import build_foundation
from fitsim.contact.problem import Problem, prepare
from fitsim.contact.reference_model.answer import with_moment
from fitsim.contact.reference_model.ground import Ground, ground_of, spread
from fitsim.contact.reference_model.layers import blended
from fitsim.contact.reference_model.solve import solve as settle
from fitsim.contact.solve import solve
from fitsim.errors import NoEquilibrium
from fitsim.rig.pad import library_pad
from fitsim.study.model import reference_solver
from tests.build import small_back
from tests.pressed import flat_square, layer_of, paraboloid, pushed, tree_of

if TYPE_CHECKING:
    from fitsim.rig.case import Pad

SPACING = 0.010
SOFT = layer_of(0.030, 60e3, 0.45)
THIN = Stack("thin", (Layer("skin", 0.004, 300e3, 0.48), Layer("muscle", 0.011, 60e3, 0.45)))
BOX = np.array([[-0.07, 0.07], [-0.07, 0.07]])
SIZE = 0.0235


def flat(*palette: Stack, pad: Pad | None = None) -> tuple[Problem, Ground]:
    """A round body, its rim clear of everything, over a flat layer and a pad."""
    chart, tissue = flat_square(SPACING, 0.18, palette)
    felt = pad or library_pad("felt-thin")
    bar = paraboloid(0.40, 0.065, 0.0025)
    seat = np.eye(4)
    seat[2, 3] = felt.thickness
    problem = prepare(build_foundation(chart, tissue), tree_of(bar), felt, seat)
    return problem, ground_of(chart, tissue, BOX, SIZE)


@pytest.fixture(scope="module")
def soft() -> tuple[Problem, Ground]:
    return flat(SOFT)


def test_layers_blend_as_the_depth_does() -> None:
    chart, tissue = flat_square(SPACING, 0.05, (SOFT, THIN))
    layers = blended(chart, tissue)
    assert [one.name for one in layers.materials] == ["skin", "muscle"]
    assert layers.thickness[:, 0, 0] == pytest.approx([0.002, 0.5 * 0.030 + 0.5 * 0.011])
    assert layers.depth == pytest.approx(np.full(chart.valid.shape, 0.0225))


def test_ground_follows_depth_and_layers() -> None:
    """Volume of the mesh is area times depth, and each material's share is its thickness'."""
    chart, tissue = flat_square(SPACING, 0.18, (THIN,))
    ground = ground_of(chart, tissue, BOX, SIZE)
    (x, t), volumes = ground.edges, ground.model.slab.volumes
    area = (x[-1] - x[0]) * (t[-1] - t[0])
    assert volumes.sum() == pytest.approx(area * 0.015, rel=1e-9)
    skin = ground.model.shear > 50e3
    assert volumes[skin].sum() == pytest.approx(area * 0.004, rel=1e-9)


def test_spread_is_exact_for_quadratics(soft: tuple[Problem, Ground]) -> None:
    _, ground = soft
    mesh = ground.model.slab.points
    x, t = np.random.default_rng(2).uniform(-0.07, 0.07, (2, 40))
    x[:2], t[:2] = ground.edges[0][3:5], ground.edges[1][4:6]  # where elements meet
    told = spread(ground, x, t)

    def field(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 1.0 + 2.0 * x - 30.0 * x * y + 7.0 * y**2

    nodal = field(mesh[:, 0], mesh[:, 1])
    assert told.value @ nodal == pytest.approx(field(x, t), rel=1e-12)
    assert told.along @ nodal == pytest.approx(2.0 - 30.0 * t, abs=1e-9)
    assert told.across @ nodal == pytest.approx(14.0 * t - 30.0 * x, abs=1e-9)


def test_small_load_is_the_fast_models_answer(soft: tuple[Problem, Ground]) -> None:
    """At 2 % of compression little but the meshes differ: 23 mm elements against 10 mm cells.

    Measured: sinking 0.8 %, indentation 0.2 %, pressure in the middle 3.4 % (2 to 5 % on finer
    meshes: three elements span the contact).
    """
    problem, ground = soft
    case = pushed(([0.0, 0.0, 0.05], [0.0, 0.0, -4.0]))
    fast = solve(problem, case)
    told = settle(problem, ground, case, fast).equilibrium
    assert told.found
    assert told.residual < 1e-5
    sunk = [one.T_body_tree_seat[2, 3] - one.T_body_tree[2, 3] for one in (told, fast)]
    assert sunk[0] == pytest.approx(sunk[1], rel=0.02)
    middle = np.argmin(np.hypot(*problem.foundation.points[:, :2].T))
    assert told.pressure[middle] == pytest.approx(fast.pressure[middle], rel=0.06)
    assert told.indentation[middle] == pytest.approx(fast.indentation[middle], rel=0.02)


def test_forces_listed_balance_the_load(soft: tuple[Problem, Ground]) -> None:
    """Six components by hand from pressure and shear per node, off the middle, pushed sideways."""
    problem, ground = soft
    push = (np.array([0.004, 0.003, 0.05]), np.array([1.0, -0.7, -60.0]))
    case = pushed(push)
    settled = settle(problem, ground, case, solve(problem, case))
    told, foundation = settled.equilibrium, problem.foundation
    force = -told.pressure[:, None] * foundation.normals + told.shear
    force *= foundation.area[:, None]
    here = told.T_body_tree[:3, :3] @ push[0] + told.T_body_tree[:3, 3]
    moment = np.cross(foundation.points, -force).sum(axis=0) + np.cross(here, push[1])
    # The solver was asked for 1e-5 of the load, moments over half the body's length.
    assert np.abs(-force.sum(axis=0) + push[1]).max() < 1e-5 * 61.0
    assert np.abs(moment).max() < 1e-5 * 61.0 * 0.065
    again = settle(problem, ground, case, settled).equilibrium
    assert again.iterations == 0


def test_mirror(soft: tuple[Problem, Ground]) -> None:
    problem, ground = soft
    poses = []
    for side in (1.0, -1.0):
        case = pushed(([0.0, side * 0.004, 0.05], [0.0, 0.0, -60.0]))
        poses.append(settle(problem, ground, case, solve(problem, case)).equilibrium)
    shape = problem.foundation.shape
    left, right = (pose.pressure.reshape(shape) for pose in poses)
    assert left == pytest.approx(right[:, ::-1], abs=2e-4 * left.max())


def test_wide_cut_changes_nothing() -> None:
    """Twice the margin of tissue: what lies beyond the cut is hardly felt.

    Measured 0.4 % of the sinking; a layer that could not lose volume would feel less.
    """
    chart, tissue = flat_square(SPACING, 0.18, (SOFT,))
    problem, near = flat(SOFT)
    far = ground_of(chart, tissue, BOX, SIZE, margin=3.0)
    case = pushed(([0.0, 0.0, 0.05], [0.0, 0.0, -60.0]))
    fast = solve(problem, case)
    told = [settle(problem, one, case, fast).equilibrium for one in (near, far)]
    sunk = [problem.T_body_tree_seat[2, 3] - one.T_body_tree[2, 3] for one in told]
    assert sunk[0] == pytest.approx(sunk[1], rel=0.01)
    assert told[0].pressure.max() == pytest.approx(told[1].pressure.max(), rel=0.01)


def test_tree_that_leaves_is_left_to_the_fast_model(soft: tuple[Problem, Ground]) -> None:
    problem, ground = soft
    case = pushed(([0.20, 0.0, 0.05], [0.0, 0.0, -60.0]))
    fast = solve(problem, case)
    assert not fast.found
    assert settle(problem, ground, case, fast).equilibrium is fast


def test_forces_given_a_moment_keep_their_sum() -> None:
    rng = np.random.default_rng(5)
    points, weight = rng.normal(size=(30, 3)) * [0.25, 0.1, 0.02], rng.random(30)
    force = weight[:, None] * (np.array([0.1, 0.0, 1.0]) + 0.1 * rng.normal(size=points.shape))
    gone = points + 0.002 * rng.normal(size=points.shape)
    moment = np.cross(gone, force).sum(axis=0)
    same = with_moment(force, points, moment, weight)
    assert same.sum(axis=0) == pytest.approx(force.sum(axis=0), rel=1e-12)
    assert np.cross(points, same).sum(axis=0) == pytest.approx(moment, abs=1e-12)
    assert np.abs(same - force).max() < 0.03 * np.abs(force).max()


def test_tissue_too_deep_for_the_back_is_refused() -> None:
    chart, _ = flat_square(SPACING, 0.18, (SOFT,))
    ridge = chart.normals + np.stack([0 * chart.points[..., 0], 40 * chart.points[..., 1],
                                      0 * chart.points[..., 0]], axis=-1)  # fmt: skip
    folded = replace(chart, normals=ridge / np.linalg.norm(ridge, axis=-1, keepdims=True))
    deep = Tissue((SOFT,), np.ones((*chart.valid.shape, 1)))
    with pytest.raises(ValueError, match="inside out"):
        ground_of(folded, deep, BOX, SIZE)


def test_a_search_that_fails_is_not_called_a_tree_that_leaves(
    soft: tuple[Problem, Ground], monkeypatch: pytest.MonkeyPatch
) -> None:
    problem, ground = soft
    monkeypatch.setattr("fitsim.study.model.ground_under", lambda *_: ground)
    monkeypatch.setattr("fitsim.contact.reference_model.solve._SMALLEST_PART", 1.0)
    monkeypatch.setattr("fitsim.contact.reference_model.newton._MOST_STEPS", 1)
    case = pushed(([0.0, 0.0, 0.05], [0.0, 0.0, -20.0]))
    with pytest.raises(NoEquilibrium, match="says nothing about the tree"):
        reference_solver(small_back(), problem)(case)
