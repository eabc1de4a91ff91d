"""The two forms of the compliance near the bars are one operator, and give one answer.

The dense block, solved by Cholesky, is the slow and obvious form; the convolution with its
conjugate gradients is held against it on random backs, and through the whole solver.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.contact.compliance import Compliance, Convolved, Dense, compliance_of
from fitsim.contact.foundation import Foundation, build_foundation
from fitsim.contact.levels import symbol_on_half
from fitsim.contact.problem import prepare
from fitsim.contact.solve import solve
from fitsim.rig.case import Pad
from tests.analytic.test_contact_operator import random_back
from tests.pressed import BARE, flat_foundation, layer_of, paraboloid, pushed, slab, tree_of

if TYPE_CHECKING:
    from tests.validation.measured import Measured

FELT = Pad("felt", 0.02, 20e3, 4.0, 15e3, 0.4)


def both(seed: int, *, jumps: bool) -> tuple[Foundation, np.ndarray, Compliance, Compliance]:  # type: ignore[type-arg]
    """A random back, two thirds of its nodes, and their compliance in both forms."""
    foundation = build_foundation(*random_back(seed, jumps=jumps))
    rng = np.random.default_rng(seed)
    near = np.flatnonzero(rng.random(len(foundation.nodes)) < 0.67)
    forms = [compliance_of(foundation, near, dense_up_to=most) for most in (10**6, 0)]
    assert isinstance(forms[0], Dense)
    assert isinstance(forms[1], Convolved)
    return foundation, near, forms[0], forms[1]


@pytest.mark.parametrize("jumps", [False, True])
@pytest.mark.parametrize("seed", range(3))
def test_convolution_is_the_dense_block(
    seed: int,
    jumps: bool,  # noqa: FBT001
    measured: Measured,
) -> None:
    _, near, dense, convolved = both(seed, jumps=jumps)
    force = np.random.default_rng(1).uniform(-1.0, 2.0, len(near))
    sinking = dense.sinking(force)
    # two orders of summation of the same numbers, in double precision
    off = np.abs(convolved.sinking(force) - sinking) / np.abs(sinking).max()
    what = "convolution between nodes near the bars, random backs, jumping tissues"
    measured.below(what, off, 1e-11, "", "dense block")
    np.testing.assert_allclose(convolved.diagonal, dense.diagonal, rtol=1e-12)


@pytest.mark.parametrize("jumps", [False, True])
@pytest.mark.parametrize("seed", range(3))
def test_conjugate_gradients_solve_as_cholesky_does(
    seed: int,
    jumps: bool,  # noqa: FBT001
    measured: Measured,
) -> None:
    """Several right-hand sides of different size, from nothing and from a guess.

    What counts is what is left over, as the solver works it out again in double precision.
    """
    _, near, dense, convolved = both(seed, jumps=jumps)
    rng = np.random.default_rng(2)
    chosen = np.flatnonzero(rng.random(len(near)) < 0.6)
    added = dense.diagonal[chosen] * rng.uniform(0.5, 2.0, len(chosen))
    asked = rng.standard_normal((len(chosen), 3)) * [1.0, 1e-3, 0.0]
    for form in (dense, convolved):
        inverse = form.inverse(chosen, added)
        for guess in (None, inverse(asked, None, 1e-2)):
            found = inverse(asked, guess, 1e-6)
            whole = np.zeros((len(near), 3))
            whole[chosen] = found
            sunk = np.stack([dense.sinking(one) for one in whole.T], axis=1)[chosen]
            left = sunk + added[:, None] * found - asked
            size = np.linalg.norm(asked, axis=0)
            over = np.linalg.norm(left, axis=0)[size > 0.0] / size[size > 0.0]
            assert not left[:, size == 0.0].any()
            # 1e-5: single precision of a matrix of condition up to a hundred
            what = "conjugate gradients and Cholesky, several right-hand sides: what is left over"
            measured.below(what, over, 1e-5, "", "nothing, in double precision")


@pytest.mark.parametrize("pad", [BARE, FELT], ids=["bare", "felt"])
@pytest.mark.parametrize("stiffens", [False, True])
def test_both_forms_bring_the_tree_to_the_same_rest(
    pad: Pad,
    stiffens: bool,  # noqa: FBT001
    measured: Measured,
) -> None:
    """Two slabs leant on: pressure and pose alike to 1e-6 of the peak and 1 micrometre.

    Both stop at 1e-5 of the load or better, and the step before it squares what is left.
    """
    foundation = flat_foundation(
        0.006, 0.12, layer_of(0.04, 60e3, 0.47), layer_of(0.015, 40e3, 0.45), stiffens=stiffens
    )
    tree = tree_of(
        slab(0.15, 0.04, np.array([0.0, 0.05, 0.0])), slab(0.15, 0.04, np.array([0.0, -0.05, 0.0]))
    )
    case = pushed(([0.01, 0.006, 0.05], [1.0, 2.0, -60.0]))
    problem = prepare(foundation, tree, pad, np.eye(4))
    found = [
        solve(replace(problem, compliance=compliance_of(foundation, problem.near, most)), case)
        for most in (10**6, 0)
    ]
    assert all(one.found for one in found)
    peak = found[0].pressure.max()
    off = np.abs(found[1].pressure - found[0].pressure) / peak
    moved = np.abs(found[1].T_body_tree - found[0].T_body_tree)  # m and rad
    what, other = "tree at rest by convolution, bare and on felt:", "by the dense block"
    measured.below(f"{what} pressure over the peak", off, 1e-6, "", other)
    measured.below(f"{what} pose, m and rad", moved, 1e-6, "", other)


def test_many_nodes_are_convolved_and_few_are_not() -> None:
    """The form is chosen by number: a fine grid never forms its block."""
    ball = tree_of(paraboloid(0.3, 0.04, 0.002))
    kinds = [
        type(prepare(flat_foundation(spacing, 0.042, layer_of(0.05, 60e3, 0.47)), ball, BARE,
                     np.eye(4)).compliance)
        for spacing in (0.004, 0.002)
    ]  # fmt: skip
    assert kinds == [Dense, Convolved]


@pytest.mark.parametrize("nu", [0.30, 0.50])
def test_symbol_of_the_preconditioner_is_positive(nu: float) -> None:
    """A table cut off at its torus ripples below nought; faded out it must not."""
    table = flat_foundation(0.01, 0.15, layer_of(0.10, 60e3, nu)).tables[0]
    size = (table.shape[0] + 1) // 2
    laid = np.zeros((2 * size, 2 * size))
    reach = np.arange(1 - size, size)
    laid[reach[:, None], reach] = table
    assert (symbol_on_half(laid) > 0.0).all()
