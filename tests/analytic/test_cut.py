"""Cuts through bars of known shape on a level bed: gaps worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitsim.contact.problem import prepare
from fitsim.contact.solve import solve
from fitsim.draw.cut import cut_across, cut_along
from fitsim.rig.case import Case, DeadForce
from fitsim.rig.pad import library_pad
from tests.analytic.test_hand_tests import GRID, HARD, LENGTH, WEIGHT, level, on_the_flat, plank
from tests.pressed import flat_foundation, flat_square, tree_of

CHART, _ = flat_square(GRID, 0.32, (HARD,))


def arch(x: np.ndarray) -> np.ndarray:
    """An underside that touches at both ends and stands 12 mm clear in its middle."""
    return 0.012 * (1.0 - (2.0 * x / LENGTH) ** 2)


def test_daylight_along_an_arched_bar_is_its_arch() -> None:
    """Rigid arch on a hard bed: it touches at the ends; elsewhere the gap is its height over it.

    The bed bulges a little beside the ends, and the cut takes fields between nodes: 0.2 mm.
    """
    problem, _, rest = on_the_flat(arch)
    for side in (0, 1):
        cut = cut_along(CHART, problem, rest, side)
        assert cut.gaps[3].clear > 0.010
        for gap in cut.gaps[1:-1]:
            by_hand = arch(0.5 * LENGTH - gap.low[0]) + rest.T_body_tree[2, 3]
            assert gap.clear == pytest.approx(float(by_hand), abs=0.0002)
        for gap in cut.gaps:
            assert gap.high[1] - gap.low[1] == pytest.approx(gap.clear, abs=1e-9)
        assert cut.gaps[0].pressure > 0.0


def test_a_cut_across_lies_where_the_bars_do() -> None:
    """Bars 110 mm wide about 80 mm from the middle: inner edges 25 mm beside the spine.

    Edges are looked for every 3 mm.
    """
    problem, _, rest = on_the_flat(arch)
    height = 0.012 + float(rest.T_body_tree[2, 3])
    cut = cut_across(CHART, problem, rest, 0.0)
    assert [gap.where for gap in cut.gaps] == 2 * ["inner edge", "middle", "outer edge"]
    for side, gaps in (("left", cut.gaps[:3]), ("right", cut.gaps[3:])):
        assert cut.beside_spine[side] == pytest.approx(0.025, abs=0.003)
        for gap in gaps:
            assert gap.side == side
            assert gap.clear == pytest.approx(height, abs=0.0002)
            # seen from behind, the animal's left is on the left
            assert (gap.low[0] < 0.0) == (side == "left")
    assert len(cut.bars) == 2
    low = min(float(bar[:, 1].min()) for bar in cut.bars)
    assert low == pytest.approx(height, abs=0.0002)
    assert cut_across(CHART, problem, rest, 0.30).gaps == ()  # beyond the bars' ends


def test_a_pad_fills_its_own_thickness() -> None:
    """A level plank on felt: no gap, and pad plus sinking make up the bar's height over the bed."""
    bed = flat_foundation(GRID, 0.32, HARD)
    tree = tree_of(plank(level, "left"), plank(level, "right"))
    felt = library_pad("felt")
    laid = np.eye(4)
    laid[2, 3] = felt.thickness
    weight = DeadForce("tree_weight", np.zeros(3), np.array([0.0, 0.0, -WEIGHT]))
    problem = prepare(bed, tree, felt, laid)
    rest = solve(problem, Case("laid", (), (weight,)))
    assert rest.found
    cut = cut_across(CHART, problem, rest, 0.0)
    (pad,), ((first, last),) = cut.pads, cut.pad_at
    thick = pad[:, 1] - cut.skin[first : last + 1, 1]
    assert all(gap.clear == 0.0 for gap in cut.gaps)
    under = cut.pressure[first : last + 1] > 1e3
    assert under.any()
    assert (thick[under] < felt.thickness).all()
    assert thick[~under].max() == pytest.approx(felt.thickness, abs=1e-6)
    bar = float(rest.T_body_tree[2, 3])
    middle = cut.gaps[1]
    assert middle.low[1] == pytest.approx(bar, abs=0.0003)
    assert (cut.skin[:, 1] <= cut.rest[:, 1] + 1e-5).all()


def test_no_skin_under_a_bar_is_said() -> None:
    problem, _, rest = on_the_flat(level)
    away = np.array([5.0, 0.0, 0.0])
    nowhere = replace(CHART, x=CHART.x + away[0], points=CHART.points + away)
    with pytest.raises(ValueError, match="no skin lies under the left bar"):
        cut_along(nowhere, problem, rest, 0)
