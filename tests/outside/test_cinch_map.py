"""The cinch map: facts of the trade (common practice, no source), and each cell as solved alone."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.contact.solve import solve
from fitsim.measure.measured import measured as measures_of
from fitsim.rig.cases import cases_for
from fitsim.rig.read import read_load, read_rig
from fitsim.rig.rig import Cinch, Rig
from fitsim.study.cinch_map import CinchMap, cinch_map
from fitsim.study.cinch_rules import serving
from fitsim.study.hand_under import hand_room
from fitsim.study.laid import laid
from fitsim.tree.read import read_tree
from tests.fits import back_of

if TYPE_CHECKING:
    from fitsim.study.laid import Laid
    from tests.validation.measured import Measured

OWN = "fits of their own"
SPACING, STEPS = 0.020, 5
ANIMALS = ["mule", pytest.param("pony", marks=pytest.mark.slow)]


@cache
def lying(animal: str) -> Laid:
    return laid(back_of(animal, SPACING), read_tree("riding-middle"))


@cache
def mapped(animal: str, processes: int = 1) -> CinchMap:
    """A coarse map, without load."""
    back = back_of(animal, SPACING)
    return cinch_map(
        back, lying(animal), read_rig(), read_load("none"), steps=STEPS, processes=processes
    )


@pytest.mark.slow
@pytest.mark.parametrize("animal", ANIMALS)
def test_cells_are_what_a_fit_of_their_own_gives(animal: str, measured: Measured) -> None:
    """Warm starts must not change an answer: shares to 0.2 points, peak to 1 %.

    The solver balances to 1e-5 of the load, at most 5e-4 where the tree creeps.
    """
    found, on, back = mapped(animal), lying(animal), back_of(animal, SPACING)
    for row, column in ((1, 3), (4, 4), (3, 0)):
        rig = Rig(
            "pair",
            Cinch(found.front[row], found.front[row]),
            Cinch(found.rear[column], found.rear[column]),
        )
        cases = cases_for(back, on.problem.tree, on.seat.T_body_tree, rig, read_load("none"))
        both = next(case for case in cases if case.name == "both")
        alone = measures_of(back, on.problem.tree, both, solve(on.problem, both))
        cell = {name: values[row, column] for name, values in found.measures.items()}
        thirds = ("front", "middle", "rear")
        off = [100.0 * abs(cell[f"{third}_share"] - alone.share[third]) for third in thirds]
        measured.below("cells of the map: shares off by", off, 0.2, "points", OWN)
        measured.near("cells of the map: peak", cell["peak"], alone.peak, OWN, rel=0.01)
        lift = [alone.lift[f"front_{side}"] for side in ("left", "right")]
        assert cell["front_lift"] == pytest.approx(np.mean(lift), abs=2e-4)


@pytest.mark.slow
def test_a_hand_between_the_tensions_tried_is_as_if_tried_there(measured: Measured) -> None:
    """Interpolated against solved: to 5 %, on a map of five tensions."""
    found, on, back = mapped("mule"), lying("mule"), back_of("mule", SPACING)
    for row, column in ((2, 1),):
        rig = Rig(
            "pair",
            Cinch(found.front[row], found.front[row]),
            Cinch(found.rear[column], found.rear[column]),
        )
        cases = cases_for(back, on.problem.tree, on.seat.T_body_tree, rig, read_load("none"))
        both = next(case for case in cases if case.name == "both")
        rooms = hand_room(on.problem, both, solve(on.problem, both))
        tried = max(room.push for room in rooms.values())
        between = found.measures["hand_push"][row, column]
        measured.near("a hand between the tensions tried", between, tried, "tried there", rel=0.05)


@pytest.mark.slow
@pytest.mark.parametrize("animal", ANIMALS)
def test_the_front_cinch_loads_the_shoulder_and_the_rear_one_frees_it(animal: str) -> None:
    """Along every row and column: more front, more in front; more rear, less.

    Shares may stand still by 0.2 points where nothing changes any more.
    """
    m = mapped(animal).measures
    assert (np.diff(m["front_share"], axis=0) > -2e-3).all()
    assert (np.diff(m["front_share"], axis=1) < 2e-3).all()
    assert (np.diff(m["blade_peak"], axis=0) > -50.0).all()  # Pa
    assert (np.diff(m["blade_peak"][:, 1:], axis=1) < 50.0).all()
    assert (np.diff(m["front_lift"], axis=0) < 2e-4).all()
    assert (np.diff(m["rear_lift"][1:], axis=1) < 2e-4).all()
    assert (np.diff(m["hand_push"], axis=0) > 0.0).all()
    assert (np.diff(m["grip"], axis=0) > 0.0).all()
    assert (np.diff(m["grip"], axis=1) > 0.0).all()


@pytest.mark.slow
@pytest.mark.parametrize("animal", ANIMALS)
def test_the_region_that_serves_draws_both_cinches(animal: str) -> None:
    """Both level it: neither cinch alone keeps all rules, some pair of both does.

    Tensions 100 N apart may miss the narrow band in which a hand goes in as well.
    """
    found = mapped(animal)
    serves = serving(found)
    assert set(serves.broken) <= {"hand"}
    assert serves.inside.any()
    assert not serves.inside[0].any()
    assert not serves.inside[:, 0].any()


@pytest.mark.slow
def test_two_processes_give_the_same_map_as_one() -> None:
    """Neighbours they start from differ, so equal to the solver's own balance, 0.1 points."""
    one, two = mapped("pony"), mapped("pony", 2)
    np.testing.assert_allclose(
        one.measures["front_share"], two.measures["front_share"], atol=1e-3, rtol=0.0
    )
