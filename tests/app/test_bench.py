"""What a hand moves is solved from what was solved before, and must come to the same."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.app.bench import Bench
from fitsim.app.scenario import Scenario

if TYPE_CHECKING:
    from fitsim.app.sessions import Place

MOVES = [
    {"front_wider": 0.020},
    {"rear_steeper": np.radians(4.0)},
    {"more_curve": 0.004},
    {"at": -0.030},
    {"load": "rider"},
]


@pytest.mark.parametrize("last", range(1, len(MOVES) + 1))
def test_a_tree_reshaped_by_hand_rests_as_one_laid_afresh(mule: Place, last: int) -> None:
    """Peak to 1 %, shares to half a point, the tree to 0.2 mm, whatever came before it."""
    by_hand, scenario = Bench.on(mule.bench.back), Scenario()
    by_hand.shown(scenario)
    for move in MOVES[:last]:
        scenario = replace(scenario, **move)
        shown = by_hand.shown(scenario)
    afresh = Bench.on(mule.bench.back).shown(scenario)
    here, there = shown.fit, afresh.fit
    assert here.measures is not None
    assert there.measures is not None
    assert here.measures.peak == pytest.approx(there.measures.peak, rel=0.01)
    for third, share in there.measures.share.items():
        assert here.measures.share[third] == pytest.approx(share, abs=0.005)
    moved = here.equilibrium.T_body_tree[:3, 3] - there.equilibrium.T_body_tree[:3, 3]
    assert np.abs(moved).max() < 2e-4
