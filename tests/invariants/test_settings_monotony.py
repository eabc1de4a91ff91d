"""What a builder's millimetre does: order and direction of every main setting, on two backs."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from fitsim.contact.foundation import build_foundation
from fitsim.contact.solve import solve
from fitsim.measure.measured import measured
from fitsim.rig.cases import cases_for
from fitsim.rig.read import read_load, read_rig
from fitsim.study.laid import laid
from fitsim.study.moment import with_moment
from fitsim.tree.adjust import adjusted
from fitsim.tree.read import read_tree
from tests.fits import COARSE, back_of

ANIMALS = ["mule", pytest.param("pony", marks=pytest.mark.slow)]
REAR_WIDER = 0.016  # m, as in the library


@dataclass(frozen=True)
class Seen:
    """Under rider and cinches.

    Mean distance of the load from the spine m, shares, peak Pa, station of the highest pressure
    from the bar's front end (-), and pitch from one test moment to the other, rad.
    """

    out: float
    front: float
    middle: float
    rear: float
    peak: float
    at: float
    rock: float


@cache
def seen(animal: str, *changes: tuple[str, float]) -> Seen:
    back, tree = back_of(animal, COARSE), adjusted(read_tree("riding-middle"), dict(changes))
    on = laid(back, tree, foundation=build_foundation(back.chart, back.tissue))
    case = cases_for(back, tree, on.seat.T_body_tree, read_rig(), read_load("rider"))[-1]
    rest = solve(on.problem, case)
    assert rest.found
    found = measured(back, tree, case, rest, None)
    valid = back.chart.valid
    aside = np.broadcast_to(np.abs(back.chart.t)[None, :], valid.shape)[valid]
    force = rest.pressure * back.chart.area[valid]
    pitched = [solve(on.problem, with_moment(case, moment), rest) for moment in (-10.0, 10.0)]
    nose = [np.arcsin(-one.T_body_tree[2, 0]) for one in pitched]
    return Seen(
        out=float(force @ aside / force.sum()),
        front=found.share["front"],
        middle=found.share["middle"],
        rear=found.share["rear"],
        peak=found.peak,
        at=float(rest.along[np.argmax(np.nan_to_num(rest.pressure))]),
        rock=float(nose[1] - nose[0]),
    )


@pytest.mark.parametrize("animal", ANIMALS)
def test_wider_spread_moves_the_load_outward(animal: str) -> None:
    """Common practice, no source: wider than the flat beside the spine puts bars on the pocket."""
    rows = [
        seen(animal, ("arches.front.spread", spread), ("arches.rear.spread", spread + REAR_WIDER))
        for spread in (0.044, 0.068, 0.092)
    ]
    for narrow, wide in pairwise(rows):
        # each bar goes out by 12 mm; its load follows by most of that, since the back is round
        assert 0.006 < wide.out - narrow.out < 0.014


@pytest.mark.parametrize("animal", ANIMALS)
def test_more_curve_loads_the_middle_and_rocks_more(animal: str) -> None:
    """A rocker bears on its middle; a straight bar on its ends (statics)."""
    rows = [seen(animal, ("bar.curve.sagitta", curve)) for curve in (0.0, 0.014, 0.028)]
    for flat, curved in pairwise(rows):
        assert curved.middle > flat.middle + 0.10
        assert curved.rock > 1.1 * flat.rock
        assert curved.front < flat.front
        assert curved.rear < flat.rear
    assert rows[0].middle < 0.2  # it bridges


@pytest.mark.parametrize("animal", ANIMALS)
def test_a_twist_that_does_not_match_loads_that_end(animal: str) -> None:
    """Too steep a front rests on its edge there: the peak grows and sits in the front third."""
    usual = read_tree("riding-middle").settings["arches"]["front"]["angle"]  # type: ignore[index]
    rows = [
        seen(animal, ("arches.front.angle", usual + np.radians(off))) for off in (-4.0, 2.0, 8.0)
    ]
    for less, more in pairwise(rows):
        assert more.peak > 1.1 * less.peak
    assert rows[-1].at < 1.0 / 3.0
