"""How many sizes serve how many animals: against counting every choice."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from fitsim.study.sizes import fewest, serves, shape_of
from tests.build import small_back
from tests.fits import COARSE, back_of


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("share", [0.8, 0.95, 1.0])
def test_fewest_sizes_are_as_few_as_trying_every_choice(seed: int, share: float) -> None:
    rng = np.random.default_rng(seed)
    animal, size = rng.random((14, 2)), rng.random((9, 2))
    scores = 1.0 + 2.0 * np.linalg.norm(animal[:, None] - size[None], axis=2)
    scores[rng.random(scores.shape) < 0.1] = np.inf
    served = serves(scores)
    wanted = np.ceil(share * served.any(axis=1).sum() - 1e-9)
    least = next(
        number
        for number in range(1, 10)
        if any(
            served[:, list(choice)].any(axis=1).sum() >= wanted
            for choice in combinations(range(9), number)
        )
    )
    chosen = fewest(scores, served, share)
    assert len(chosen) == least
    assert served[:, list(chosen)].any(axis=1).sum() >= wanted


def test_an_animal_that_nothing_stays_on_is_served_by_none() -> None:
    scores = np.array([[1.0, 2.0], [np.inf, np.inf]])
    served = serves(scores)
    assert served.tolist() == [[True, False], [False, False]]
    assert fewest(scores, served, 1.0) == (0,)


def test_the_shape_of_a_made_up_back_is_what_it_was_made_with() -> None:
    mule, pony = shape_of(back_of("mule", COARSE)), shape_of(back_of("pony", COARSE))
    # the pony is the broad, flat one (meshes/scenario.toml)
    assert pony.front_angle < mule.front_angle
    assert pony.rear_angle < mule.rear_angle
    assert 0.0 <= mule.hollow < 0.05
    assert small_back().withers_height == shape_of(small_back()).withers_height
