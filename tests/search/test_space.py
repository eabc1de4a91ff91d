"""What can be searched, and what is said of what cannot."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitsim.errors import BadSettings
from fitsim.rig.rig import Rig
from fitsim.study.search.space import KNOBS, USUAL, space_of
from fitsim.tree.adjust import adjusted
from fitsim.tree.read import read_tree


def test_usual_settings_of_a_fixed_tree() -> None:
    space = space_of(read_tree("riding-middle"), Rig(), None)
    assert [knob.word for knob in space.knobs] == list(USUAL)
    assert space.start["front-spread"] == pytest.approx(0.056)
    assert space.start["at"] == 0.0


def test_a_stepped_tree_is_searched_where_it_can_be_set() -> None:
    space = space_of(read_tree("pack-pivoting"), Rig(), 0.01)
    words = ["front-spread", "front-angle", "rear-spread", "rear-angle", "at"]
    assert [knob.word for knob in space.knobs] == words
    assert space.steps["front-spread"] == pytest.approx((0.044, 0.056, 0.068, 0.080, 0.092))
    assert space.knobs[0].low, space.knobs[0].high == (0.044, 0.092)


@pytest.mark.parametrize("knob", KNOBS, ids=lambda knob: knob.word)
def test_every_setting_can_be_found_on_a_library_tree(knob: object) -> None:
    tree = read_tree("riding-middle")
    space = space_of(tree, Rig(), None, [knob.word])  # type: ignore[attr-defined]
    (own,) = space.knobs
    assert own.low <= space.start[own.word] <= own.high
    if own.where == "tree":
        adjusted(tree, {own.key: space.start[own.word]})


def test_values_and_their_places_in_the_cube_undo_each_other() -> None:
    space = space_of(read_tree("riding-middle"), Rig(), None)
    unit = np.random.default_rng(3).random(len(space.knobs))
    # values are rounded to a micrometre or a microradian
    assert space.unit(space.values(unit)) == pytest.approx(unit, abs=2e-5)


@pytest.mark.parametrize(
    ("told", "low", "high"),
    [
        ("front-spread=44..92 mm", 0.044, 0.092),
        ("front-spread = 2 in .. 3.5 in", 0.0508, 0.0889),
        ("at=-20..20mm", -0.020, 0.020),
        ("front-angle=18..40 deg", np.radians(18.0), np.radians(40.0)),
        ("front-cinch=80..250 N", 80.0, 250.0),
    ],
)
def test_limits_are_read_with_their_unit(told: str, low: float, high: float) -> None:
    (knob,) = space_of(read_tree("riding-middle"), Rig(), None, [told]).knobs
    assert (knob.low, knob.high) == pytest.approx((low, high))


@pytest.mark.parametrize(
    ("told", "says"),
    [
        (["front-spraed"], "there is no such setting to search; did you mean 'front-spread'"),
        (["front-spread=50 mm"], "does not give two limits"),
        (["front-spread=90..50 mm"], "its first limit is not below its second"),
        (["front-spread=50..90"], "no unit"),
        (["front-spread=50..90 kg"], "kg"),
        (["at", "at=-10..10 mm"], "is named twice"),
    ],
)
def test_what_cannot_be_searched_is_said(told: list[str], says: str) -> None:
    with pytest.raises(BadSettings, match=says):
        space_of(read_tree("riding-middle"), Rig(), None, told)


def test_a_tree_from_a_mesh_has_nothing_to_search() -> None:
    with pytest.raises(BadSettings, match="came from a mesh"):
        space_of(replace(read_tree("riding-middle"), settings={}), Rig(), None)
