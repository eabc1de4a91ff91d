"""The back's compliance: symmetric, positive, the same by table and by transform, and the layer's.

The positive definiteness is the property that the contact solution stands on; it is tried on
random palettes and weights, jumps in thickness included, by eigenvalues.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.back.back import Chart, Tissue
from fitsim.back.stack import Layer, Stack
from fitsim.contact.foundation import build_foundation
from fitsim.contact.kernel import influence_tables
from fitsim.reference import bonded_layer
from tests.pressed import flat_foundation, flat_square, layer_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from tests.validation.measured import Measured


def random_stack(rng: np.random.Generator) -> Stack:
    """One to three layers, 1-60 mm, 5 kPa to 1 MPa, up to incompressible."""
    layers = tuple(
        Layer(
            "layer",
            float(np.exp(rng.uniform(np.log(0.001), np.log(0.06)))),
            float(np.exp(rng.uniform(np.log(5e3), np.log(1e6)))),
            float(rng.uniform(0.3, 0.5)),
        )
        for _ in range(rng.integers(1, 4))
    )
    return Stack("random", layers)


def random_weights(
    shape: tuple[int, int], count: int, rng: np.random.Generator, *, jumps: bool
) -> NDArray[np.float64]:
    """Blends that sum to one: smooth over some cells, or one stack a cell at random."""
    if jumps:
        return np.eye(count)[rng.integers(0, count, shape)]
    weights = rng.dirichlet(np.full(count, 0.3), shape)
    return weights / weights.sum(axis=2, keepdims=True)


def random_back(seed: int, *, jumps: bool) -> tuple[Chart, Tissue]:
    """A ragged patch of 150 mm, curved across, with a random palette."""
    rng = np.random.default_rng(seed)
    palette = tuple(random_stack(rng) for _ in range(rng.integers(1, 6)))
    chart, _ = flat_square(float(rng.choice([0.0075, 0.0125])), 0.075, palette)
    chart.curvature[:] = rng.uniform(-5.0, 20.0, chart.curvature.shape)
    chart.valid[:] = rng.random(chart.valid.shape) < 0.9
    return chart, Tissue(palette, random_weights(chart.valid.shape, len(palette), rng, jumps=jumps))


@pytest.mark.parametrize("jumps", [False, True])
@pytest.mark.parametrize("seed", range(6))
def test_compliance_is_symmetric_and_positive_definite(
    seed: int,
    jumps: bool,  # noqa: FBT001
    measured: Measured,
) -> None:
    foundation = build_foundation(*random_back(seed, jumps=jumps))
    matrix = foundation.block(np.arange(len(foundation.nodes)))
    # symmetric to rounding of the largest entry
    off = np.abs(matrix - matrix.T) / matrix.max()
    what = "compliance of random stacks, smooth and jumping:"
    measured.below(f"{what} unlike its transpose by", off, 1e-12, "", "symmetry (Betti)")
    eigenvalues = np.linalg.eigvalsh(matrix)
    # ... and clear of rounding: 1e-12 of the largest is what eigvalsh cannot tell from 0
    ratio = eigenvalues[0] / eigenvalues[-1]
    measured.above(f"{what} least eigenvalue over the largest", ratio, 1e-9, "", "positive energy")


@pytest.mark.parametrize("jumps", [False, True])
def test_deflection_by_transform_is_the_dense_block(jumps: bool, measured: Measured) -> None:  # noqa: FBT001
    foundation = build_foundation(*random_back(3, jumps=jumps))
    force = np.random.default_rng(1).uniform(-1.0, 2.0, len(foundation.nodes))
    dense = foundation.block(np.arange(len(force))) @ force
    # two orders of summation of the same numbers
    off = np.abs(foundation.deflection(force) - dense) / np.abs(dense).max()
    measured.below("deflection by transform", off, 1e-11, "", "dense block")


def test_a_part_of_the_block_is_the_block_of_the_part() -> None:
    foundation = build_foundation(*random_back(5, jumps=True))
    part = np.random.default_rng(2).permutation(len(foundation.nodes))[:60]
    whole = foundation.block(np.arange(len(foundation.nodes)))
    np.testing.assert_array_equal(foundation.block(part), whole[np.ix_(part, part)])


@pytest.mark.parametrize("jumps", [False, True])
def test_blending_one_tissue_with_itself_changes_nothing(
    jumps: bool,  # noqa: FBT001
    measured: Measured,
) -> None:
    """Weights sum to one: evenly blended copies are the tissue, unevenly ones never reach farther.

    Sizes are compared, as a near-incompressible layer heaves beside the load. Where weights vary,
    sum of sqrt(w_i w_j) <= 1 between two nodes, and 1 for a node with itself.
    """
    stack = layer_of(0.04, 60e3, 0.47)
    chart, even = flat_square(0.01, 0.06, (stack, stack, stack))
    every = np.arange(chart.valid.size)
    alone = build_foundation(*flat_square(0.01, 0.06, (stack,))).block(every)
    found = build_foundation(chart, even).block(every)
    measured.near("a tissue blended with itself", found, alone, "the tissue", rel=1e-9)
    weights = random_weights(chart.valid.shape, 3, np.random.default_rng(6), jumps=jumps)
    mixed = build_foundation(chart, Tissue((stack, stack, stack), weights)).block(every)
    np.testing.assert_allclose(np.diagonal(mixed), np.diagonal(alone), rtol=1e-9)
    assert (np.abs(mixed) <= np.abs(alone) + 1e-9 * alone.max()).all()


def test_curvature_softens_by_the_table(measured: Measured) -> None:
    """1 + 0.4 h/R (computed with finite elements, docs/theory), none where hollow, 10 % at most."""
    stack = layer_of(0.04, 60e3, 0.47)
    chart, tissue = flat_square(0.01, 0.03, (stack,))
    flat = build_foundation(chart, tissue).block(np.arange(chart.valid.size))
    for bend, factor in ((0.0, 1.0), (2.5, 1.04), (-5.0, 1.0), (50.0, 1.1)):
        chart.curvature[:] = bend
        bent = build_foundation(chart, tissue).block(np.arange(chart.valid.size))
        what = "softening of a back curved across"
        law = "1 + 0.4 h/R, at most 10 % (finite elements, theory 9)"
        measured.near(what, bent, factor * flat, law, rel=1e-9)


def test_stiffer_tissue_sinks_less_everywhere() -> None:
    """Twice the modulus, half the sinking, to rounding: the operator is linear in compliance."""
    soft, hard = (flat_foundation(0.01, 0.06, layer_of(0.04, young, 0.47)) for young in (3e4, 6e4))
    np.testing.assert_allclose(soft.tables, 2.0 * hard.tables, rtol=1e-9, atol=0.0)


@pytest.mark.parametrize("nu", [0.30, 0.45, 0.50])
@pytest.mark.parametrize("rho", [0.5, 1.0, 2.0])
def test_even_pressure_on_a_circle(nu: float, rho: float, measured: Measured) -> None:
    """Centre deflection under even pressure: 1 % (issue 4), against the closed integral.

    Cells count by the share of them inside the circle, by points a tenth of a cell apart.
    """
    radius, across, young = 0.03, 10, 60e3
    spacing = radius / across
    foundation = flat_foundation(spacing, 0.036, layer_of(radius / rho, young, nu))
    steps = (np.arange(10) + 0.5) / 10.0 - 0.5
    dx, dy = np.meshgrid(steps * spacing, steps * spacing)
    x, y = foundation.points[:, 0], foundation.points[:, 1]
    inside = np.hypot(x[:, None] + dx.ravel(), y[:, None] + dy.ravel()) < radius
    sunk = foundation.deflection(1e3 * foundation.area * inside.mean(axis=1))
    shear = young / (2.0 * (1.0 + nu))
    exact = bonded_layer.uniform_circle_centre(rho, nu) * 1e3 * radius * (1.0 - nu) / shear
    middle = int(np.hypot(x, y).argmin())
    what = "even pressure on a circle, a/h 0.5 to 2, Poisson 0.30 to 0.50: middle"
    measured.near(what, sunk[middle], exact, "closed integral", rel=0.01)


def test_influence_does_not_come_round_the_back() -> None:
    """The table is of an endless surface: a larger grid gives the same near entries."""
    stack = (layer_of(0.04, 60e3, 0.47),)
    small = influence_tables(stack, (10, 14), 0.01)[0]
    large = influence_tables(stack, (40, 44), 0.01)[0]
    cut = large[39 - 9 : 39 + 10, 43 - 13 : 43 + 14]
    # a bonded layer's influence has died away within five depths to 1e-4 of its middle
    np.testing.assert_allclose(small, cut, rtol=0.0, atol=1e-4 * small.max())
