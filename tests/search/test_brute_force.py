"""The search held against trying thousands of settings, and against the library's middle tree."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.stats import qmc

from fitsim.contact.foundation import build_foundation
from fitsim.rig.load import rider
from fitsim.rig.read import read_pad, read_rig
from fitsim.study.search.journal import Journal
from fitsim.study.search.search import Plan, search
from fitsim.study.search.space import space_of
from fitsim.study.search.trial import Setup, score_of, tried
from fitsim.study.workers import workers
from fitsim.tree.read import read_tree
from tests.fits import back_of

if TYPE_CHECKING:
    from pathlib import Path

GRID = 0.022  # m: the same for both sides of every comparison here
MANY = 5000


def setup_on(animal: str) -> Setup:
    back, tree, rig = back_of(animal, GRID), read_tree("riding-middle"), read_rig()
    foundation = build_foundation(back.chart, back.tissue)
    return Setup(back, foundation, tree, read_pad(), rig, rider(), 0.0, space_of(tree, rig, None))


@pytest.mark.slow
def test_within_two_percent_of_the_best_of_5000(tmp_path: Path) -> None:
    setup = setup_on("mule")
    points = qmc.Sobol(len(setup.space.knobs), rng=np.random.default_rng(7)).random_base2(13)[:MANY]
    with workers(tried, setup) as run:
        brute = min(score_of(one) for one in run([setup.space.values(p) for p in points]))
    found = search(setup, Plan(backs=0), Journal(tmp_path, {}))
    assert score_of(found.best) <= 1.02 * brute
    assert found.count < MANY // 8


@pytest.mark.slow
@pytest.mark.parametrize("animal", ["horse", "donkey"])
def test_beats_the_middle_spread_on_borrowed_animals(animal: str, tmp_path: Path) -> None:
    setup = setup_on(animal)
    found = search(setup, Plan(trials=96, backs=4), Journal(tmp_path, {}))
    assert score_of(found.answer) < 0.95 * score_of(found.start)
    assert found.worst_answer < found.worst_start
