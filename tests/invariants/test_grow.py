"""Bars grown to a back follow it more closely than the library's, and alike when mirrored."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from fitsim.back.mirror import mirrored
from fitsim.rig.read import read_pad
from fitsim.study.grow import Grown, grown
from fitsim.tree.read import read_tree
from tests.fits import THEIRS, back_of, cinched, measures


@cache
def grown_on(animal: str, tips: float = 0.010, ease: float = 0.0) -> Grown:
    tree = read_tree("riding-short" if animal == "donkey" else "riding-middle")
    return grown(back_of(animal), tree, pad=read_pad(), clearance=tips, ease=ease)


@pytest.mark.parametrize(
    "animal", ["pony", *(pytest.param(one, marks=pytest.mark.slow) for one in ("mule", *THEIRS))]
)
def test_grown_bars_follow_the_back_more_closely(animal: str) -> None:
    found = grown_on(animal)
    assert found.rms < 0.5 * found.before
    # What rounding to half a degree and a millimetre may cost: 0.25 deg over 30 mm, and 0.5 mm.
    assert found.free <= found.rms + 1e-4
    assert found.rms < found.free + 0.5e-3


@pytest.mark.slow
@pytest.mark.parametrize("animal", ["pony", pytest.param("mule", marks=pytest.mark.slow)])
def test_load_is_spread_over_more_of_the_back(animal: str) -> None:
    base = cinched(back_of(animal), read_tree("riding-middle"), names=("both",))
    found = cinched(back_of(animal), grown_on(animal, ease=0.005).tree, names=("both",))
    assert measures(found, "both").area > 1.05 * measures(base, "both").area


@pytest.mark.slow
def test_more_clearance_raises_the_tips_and_nothing_else() -> None:
    low, high = grown_on("pony", 0.006), grown_on("pony", 0.014)
    for key, value in low.changes.items():
        more = high.changes[key] - value
        # Whole millimetres: 8 mm more, give or take one.
        assert more == pytest.approx(0.008 if "rise" in key else 0.0, abs=1.01e-3)


def test_settings_are_what_a_bench_makes() -> None:
    for key, value in grown_on("mule").changes.items():
        step = np.radians(0.5) if "angle" in key else 0.5e-3
        assert abs(value / step - round(value / step)) < 1e-6


def test_a_mirrored_back_grows_the_same_tree() -> None:
    tree = read_tree("riding-middle")
    other = grown(mirrored(back_of("mule")), tree, pad=read_pad(), ease=0.0)
    for key, value in grown_on("mule").changes.items():
        step = np.radians(0.5) if "angle" in key else 1e-3
        assert other.changes[key] == pytest.approx(value, abs=1.01 * step)
    assert other.free == pytest.approx(grown_on("mule").free, rel=0.01)
