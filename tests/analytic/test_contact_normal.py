"""A surface pressed square onto the back: Hertz, layers, pads, several patches, any grid.

Sources: Hertz (Johnson, Contact Mechanics, 1985, ch. 4) on the half-space; on layers the dense
problem solved the slow way, by non-negative least squares (scipy.optimize.nnls).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy import linalg, optimize

from fitsim.contact.foundation import build_foundation
from fitsim.contact.levels import gathered, half_space_levels, levels_of, spread_out
from fitsim.contact.normal import NormalContact, pressed
from fitsim.errors import BadSettings
from fitsim.reference import hertz
from tests.analytic.test_contact_operator import random_back
from tests.pressed import flat_foundation, layer_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from tests.validation.measured import Measured

    Array = NDArray[np.float64]

MODULUS, RADIUS, SIDE = 1e5, 0.4, 0.1  # Pa, m, m


def middles(count: int) -> Array:
    """Cell middles along one side of the square, m."""
    return SIDE * ((np.arange(count) + 0.5) / count - 0.5)


def ball(rows: int, columns: int, at: float = 0.0) -> Array:
    return ((middles(rows)[:, None] - at) ** 2 + middles(columns) ** 2) / (2.0 * RADIUS)


@pytest.mark.parametrize("count", [31, 64, 100])
def test_hertz_sphere(count: int, measured: Measured) -> None:
    """Approach, peak and patch: 1 % of Hertz with 19 cells or more to the contact radius.

    Ten cells to the radius on the coarsest grid leave 2 %, most of it in the patch.
    """
    load = 4.0 / 3.0 * MODULUS * 0.03**3 / RADIUS
    found = pressed(half_space_levels(MODULUS, (count, count), SIDE / count), ball(count, count),
                    load)  # fmt: skip
    exact = hertz.sphere(RADIUS, MODULUS, load)
    share = 0.01 if count >= 64 else 0.02
    what = f"sphere on a half-space, {'64 and 100' if count >= 64 else 31} cells square:"
    cell = (SIDE / count) ** 2
    for name, ours, theirs, rel in (
        ("approach", found.approach, exact.approach, share),
        ("peak", found.force.max() / cell, exact.peak, share),
        ("patch", (found.force > 0.0).sum() * cell, np.pi * exact.half_length**2, 3.0 * share),
    ):
        measured.near(f"{what} {name}", ours, theirs, "Hertz (Johnson 1985, ch. 4)", rel=rel)
    obeys(found, load)


def obeys(found: NormalContact, load: float) -> None:
    """No tension, no dip, force and daylight nowhere together, and all of the load."""
    assert (found.force >= 0.0).all()
    assert found.force.sum() == pytest.approx(load, rel=1e-9)
    there = np.isfinite(found.gap)
    # the tolerance is of the mean clearance in the contact; single cells may have 30 times that
    assert found.gap[there].min() > -3e-7 * abs(found.approach)
    assert np.abs(found.gap[found.force > 0.0]).max() < 3e-7 * abs(found.approach)


def slowly(matrix: Array, gap: Array, load: float) -> Array:
    """The same least energy by non-negative least squares, forces (n,) N.

    min 1/2 f C f + g f under f >= 0 is min |L' f + L^-1 g|, C = L L'; the load is held by a heavy
    spring, 1e5 times as stiff as the back.
    """
    stiff = 1e5 * float(matrix.diagonal().mean())
    factor = linalg.cholesky(matrix + stiff, lower=True)
    right = linalg.solve_triangular(factor, stiff * load - gap, lower=True)
    force, _ = optimize.nnls(factor.T, right)
    return np.asarray(force)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("padded", [False, True])
def test_random_backs_and_surfaces(
    seed: int,
    padded: bool,  # noqa: FBT001
    measured: Measured,
) -> None:
    """Jumping layers, missing nodes and a bumpy surface, against the slow way: 1e-4 of the peak.

    What is left is the heavy spring's own give.
    """
    foundation = build_foundation(*random_back(seed, jumps=seed % 2 == 0))
    rng = np.random.default_rng(seed)
    gap = np.full(foundation.shape, np.inf)
    rows, columns = np.indices(foundation.shape) - np.array(foundation.shape)[:, None, None] / 2
    bowl = (rows**2 + columns**2) * foundation.spacing**2 / 0.4
    bumpy = bowl + 3e-4 * rng.standard_normal(foundation.shape)
    gap.ravel()[foundation.nodes] = bumpy.ravel()[foundation.nodes]
    matrix = foundation.block(np.arange(len(foundation.nodes)))
    added = np.full(foundation.shape, matrix.diagonal().mean()) if padded else None
    load = 2e-3 / float(matrix.mean())
    found = pressed(levels_of(foundation), gap, load, added=added)
    obeys(found, load)
    whole = matrix + (np.diag(added.ravel()[foundation.nodes]) if added is not None else 0.0)
    slow = slowly(whole, gap.ravel()[foundation.nodes], load)
    ours = found.force.ravel()[foundation.nodes]
    off = np.abs(ours - slow) / slow.max()
    what = "bumpy surfaces on random backs, with and without a pad: every node, over the peak"
    measured.below(what, off, 1e-4, "", "non-negative least squares")


def test_patches_far_apart_are_all_found() -> None:
    """Two balls, one 0.2 mm higher: a light load meets one, a heavy one both."""
    count = 96
    gap = np.minimum(ball(count, count, -0.035), ball(count, count, 0.035) + 2e-4)
    levels = half_space_levels(MODULUS, (count, count), SIDE / count)
    patches = []
    for load in (0.02, 0.5, 5.0):
        found = pressed(levels, gap, load)
        obeys(found, load)
        halves = found.force[: count // 2], found.force[count // 2 :]
        patches.append(sum(bool(half.any()) for half in halves))
    assert patches == [1, 2, 2]


def test_stiffer_and_heavier() -> None:
    """Twice the modulus and twice the load: the same approach, to rounding and the tolerance."""
    soft, hard = (
        pressed(half_space_levels(e, (40, 56), SIDE / 56), ball(40, 56), 1e-5 * e)
        for e in (MODULUS, 2.0 * MODULUS)
    )
    assert hard.approach == pytest.approx(soft.approach, rel=1e-9)
    np.testing.assert_allclose(hard.force, 2.0 * soft.force, rtol=0.0, atol=1e-7 * hard.force.max())


def test_coarser_grid_means_the_same_layer() -> None:
    """Cells twice as wide made from a fine table, against the table of the wide cells: 0.5 %."""
    stack = layer_of(0.05, 60e3, 0.45)
    fine, coarse = (levels_of(flat_foundation(h, 0.09, stack)) for h in (0.004, 0.008))
    made, own = fine[1].tables[0], coarse[0].tables[0]
    middle, other = (len(made) - 1) // 2, (len(own) - 1) // 2
    near = made[middle - 6 : middle + 7, middle - 6 : middle + 7]
    np.testing.assert_allclose(
        near, own[other - 6 : other + 7, other - 6 : other + 7], rtol=0.0, atol=5e-3 * own.max()
    )


def test_handing_down_keeps_sums_and_slopes() -> None:
    """A linear field comes back from the coarse grid as it was, away from the edges."""
    field = np.add.outer(2.0 * np.arange(12), 3.0 * np.arange(9))
    again = spread_out(gathered(field), field.shape)
    np.testing.assert_allclose(again[1:-1, 1:-2], field[1:-1, 1:-2], rtol=0.0, atol=1e-12)


@pytest.mark.parametrize("load", [0.0, -1.0, float("nan")])
def test_a_load_that_does_not_press(load: float) -> None:
    levels = half_space_levels(MODULUS, (20, 20), SIDE / 20)
    with pytest.raises(BadSettings, match="does not press"):
        pressed(levels, ball(20, 20), load)
