"""What is taken off cools the spot, and a shim does the same the other way round."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose

from fitsim.back.mirror import mirrored
from fitsim.contact.foundation import build_foundation
from fitsim.contact.problem import prepare
from fitsim.contact.solve import solve
from fitsim.measure.measured import measured
from fitsim.rig.cases import cases_for
from fitsim.rig.read import read_load, read_pad, read_rig
from fitsim.study.rasp import DEEPEST, Rasped, rasped, rasped_tree
from fitsim.tree.read import read_tree
from fitsim.tree.seat import seat
from tests.fits import back_of


@cache
def found(tree: str) -> Rasped:
    return rasped(back_of("mule"), read_tree(tree), rig=read_rig(), load=read_load("none"))


@pytest.mark.slow
@pytest.mark.parametrize(
    "tree", [pytest.param("riding-middle", marks=pytest.mark.slow), "riding-narrow"]
)
def test_hottest_spot_cools(tree: str) -> None:
    one = found(tree)
    assert one.case == "both"
    assert one.after < 0.9 * one.before
    for depth in one.depth:
        assert depth.min() >= 0.0
        assert 0.0005 < depth.max() <= DEEPEST


def peak_of(name: str, depth: tuple[np.ndarray, ...], rise: float = 0.0) -> float:  # type: ignore[type-arg]
    """Highest pressure with so much off the undersides, all worked out anew."""
    back, tree = back_of("mule"), read_tree(name)
    T = seat(back, tree).T_body_tree
    rig, load = read_rig(), read_load("none")
    (case,) = (c for c in cases_for(back, tree, T, rig, load) if c.name == "both")
    changed = rasped_tree(tree, depth)
    T = T.copy()
    T[2, 3] += rise
    ground = build_foundation(back.chart, back.tissue)
    rest = solve(prepare(ground, changed, read_pad(), T), case)
    assert rest.found
    return measured(back, changed, case, rest).peak


@pytest.mark.slow
def test_peaks_are_those_of_the_changed_tree() -> None:
    one = found("riding-narrow")
    none = tuple(np.zeros_like(depth) for depth in one.depth)
    # Two starts of one equilibrium, settled to 0.1 % of the load.
    assert peak_of("riding-narrow", none) == pytest.approx(one.before, rel=0.01)
    assert peak_of("riding-narrow", one.depth) == pytest.approx(one.after, rel=0.01)


@pytest.mark.slow
def test_a_shim_cools_it_too_and_is_what_was_said() -> None:
    one = found("riding-narrow")
    under = tuple(-shim for shim in one.shim)
    full = max(float(shim.max()) for shim in one.shim)
    assert peak_of("riding-narrow", under, rise=full) == pytest.approx(one.shimmed, rel=0.01)
    assert one.shimmed < 0.95 * one.before
    for depth, shim in zip(one.depth, one.shim, strict=True):
        assert_allclose(depth + shim, full)


@pytest.mark.slow
def test_a_mirrored_back_asks_for_the_mirror_image() -> None:
    one = found("riding-narrow")
    other = rasped(
        mirrored(back_of("mule")),
        read_tree("riding-narrow"),
        rig=read_rig(),
        load=read_load("none"),
    )
    # Equilibria settled to 0.1 % of the load; a depth is some 10 um a per cent of pressure.
    for mine, theirs in zip(one.depth, other.depth[::-1], strict=True):
        assert_allclose(mine, theirs[:, ::-1], atol=0.2e-3)
