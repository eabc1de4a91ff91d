"""Cases against hand-added forces, and the places they act at."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitsim.errors import BadSettings
from fitsim.rig.cases import cases_for
from fitsim.rig.load import NO_LOAD, Load, Weight, pack, rider
from fitsim.rig.rig import Cinch, Rig, ring_behind_front
from fitsim.rig.rings import bar_length, middle_line
from tests.build import BAR_LENGTH, BAR_WIDTH, small_back, small_tree

SEAT = np.eye(4)
SEAT[:3, 3] = (-0.02, 0.0, 0.02)
MIRROR = np.array([1.0, -1.0, 1.0])


@pytest.fixture(scope="module")
def back() -> object:
    return small_back(0.020)


@pytest.mark.parametrize(
    ("load", "last"), [(NO_LOAD, "both"), (rider(), "rider"), (pack(), "pack")]
)
def test_cases_are_the_three_cinchings_and_the_load(back: object, load: Load, last: str) -> None:
    cases = cases_for(back, small_tree(), SEAT, Rig(), load)
    names = ["front", "rear", "both"] + ([last] if last != "both" else [])
    assert [case.name for case in cases] == names
    straps = {case.name: [strap.name for strap in case.straps] for case in cases}
    assert straps["front"] == ["front_cinch_left", "front_cinch_right"]
    assert straps["rear"] == ["rear_cinch_left", "rear_cinch_right"]
    assert straps[last] == straps["front"] + straps["rear"]
    assert all(case.forces[0].name == "tree_weight" for case in cases)


def test_weights_are_mass_times_standard_gravity(back: object) -> None:
    *unloaded, ridden = cases_for(back, small_tree(), SEAT, Rig(), rider(80.0))
    for case in unloaded:
        np.testing.assert_allclose(sum(f.force_body for f in case.forces), [0, 0, -8 * 9.80665])
    np.testing.assert_allclose(sum(f.force_body for f in ridden.forces), [0, 0, -88 * 9.80665])


def test_tension_goes_to_its_own_strap_and_a_slack_one_is_left_out(back: object) -> None:
    rig = Rig(front=Cinch(200.0, 150.0), rear=Cinch(0.0, 90.0))
    both = cases_for(back, small_tree(), SEAT, rig, NO_LOAD)[2]
    assert {strap.name: strap.tension for strap in both.straps} == {
        "front_cinch_left": 200.0,
        "front_cinch_right": 150.0,
        "rear_cinch_right": 90.0,
    }


def test_straps_of_a_symmetric_back_and_tree_are_mirrored(back: object) -> None:
    both = cases_for(back, small_tree(), SEAT, Rig(), NO_LOAD)[2]
    straps = {strap.name: strap for strap in both.straps}
    for which in ("front", "rear"):
        left, right = straps[f"{which}_cinch_left"], straps[f"{which}_cinch_right"]
        # The fixture's two bars and girth are mirror images to rounding.
        np.testing.assert_allclose(right.attach_tree, MIRROR * left.attach_tree, atol=1e-9)
        np.testing.assert_allclose(right.anchor_body, MIRROR * left.anchor_body, atol=1e-9)
        run = left.anchor_body - (SEAT @ np.append(left.attach_tree, 1.0))[:3]
        assert run[0] == pytest.approx(0.0, abs=1e-12)  # in the plane of its station
        assert run[2] < 0.0


def test_a_pack_out_of_balance_rolls_the_tree_by_its_difference(back: object) -> None:
    load = pack(40.0, 34.0, 10.0, side_offset=0.42)
    packed = cases_for(back, small_tree(), SEAT, Rig(), load)[3]
    weights = packed.forces[1:]
    assert [w.name for w in weights] == ["pack_left", "pack_right", "pack_top"]
    roll = sum(np.cross(w.point_tree, w.force_body)[0] for w in weights)
    # Heavier on the left: its side goes down, a negative moment about x.
    assert roll == pytest.approx(-6.0 * 9.80665 * 0.42, rel=1e-12)


def test_a_load_sits_where_it_is_told() -> None:
    tree = small_tree()
    middle = np.mean([middle_line(bar, 0.2) for bar in tree.bars], axis=0)
    load = Load("rider", "test", (Weight("rider", 70.0, 0.03, 0.25, 0.2),))
    (seat,) = cases_for(small_back(0.020), tree, SEAT, Rig(), load)[3].forces[1:]
    np.testing.assert_allclose(seat.point_tree, middle * (1, 0, 1) + (0, 0.03, 0.25), atol=1e-12)
    # By the rule of the tree frame of this fixture: x = 0 at the bars' front end.
    assert seat.point_tree[0] == pytest.approx(-0.2, abs=1e-9)


def test_rings_hang_on_the_outer_edge_at_their_station(back: object) -> None:
    tree = small_tree()
    for strap in cases_for(back, tree, SEAT, Rig(front=Cinch(1.0, 1.0, 0.11)), NO_LOAD)[0].straps:
        sign = 1.0 if strap.name.endswith("left") else -1.0
        bar = tree.bars[0 if sign > 0 else 1]
        place = (np.linalg.inv(bar.T_tree_bar) @ np.append(strap.attach_tree, 1.0))[:3]
        assert place[0] == pytest.approx(0.5 * BAR_LENGTH - 0.11, abs=1e-9)
        # Rings hang a few millimetres in from the edge; the fixture's grid is 5 mm.
        assert 0.5 * BAR_WIDTH - 0.010 < sign * place[1] < 0.5 * BAR_WIDTH


def test_middle_line_of_a_straight_bar_is_in_its_middle() -> None:
    for bar in small_tree().bars:
        place = (np.linalg.inv(bar.T_tree_bar) @ np.append(middle_line(bar, 0.28), 1.0))[:3]
        np.testing.assert_allclose(place[:2], 0.0, atol=1e-12)


def test_ring_place_comes_from_the_rig_then_the_tree_then_the_rule() -> None:
    tree = small_tree()
    assert ring_behind_front(Cinch(1, 1, 0.15), tree, "front") == 0.15
    assert ring_behind_front(Cinch(1, 1), tree, "front") == tree.settings["rigging"]["front"]
    bare = replace(tree, settings={})
    assert ring_behind_front(Cinch(1, 1), bare, "rear") == pytest.approx(0.8 * bar_length(tree))


@pytest.mark.parametrize("place", [-0.01, BAR_LENGTH + 0.01])
def test_a_ring_beyond_the_bar_is_refused(place: float) -> None:
    with pytest.raises(BadSettings, match=r"rear_cinch\.behind_front: .* 560 mm long; give"):
        ring_behind_front(Cinch(1, 1, place), small_tree(), "rear")


def test_a_seat_beyond_the_bar_is_refused(back: object) -> None:
    with pytest.raises(BadSettings, match=r"rider\.behind_front"):
        cases_for(back, small_tree(), SEAT, Rig(), rider(80.0, behind_front=0.7))
