"""The rules of the cinch map on maps made up to break them one by one."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.draw.cinch_words import TROUBLE, region_sentences, rig_sentence
from fitsim.draw.cinches import Heading, draw_cinches
from fitsim.report.cinch_lines import COLUMNS, cinch_csv, cinch_facts
from fitsim.study.cinch_map import MEASURES, CinchMap
from fitsim.study.cinch_rules import RULES, middle, serving, span

if TYPE_CHECKING:
    from pathlib import Path

GOOD = {
    "front_share": 0.36, "middle_share": 0.36, "rear_share": 0.28, "peak": 20e3,
    "blade_peak": 10e3, "blade_share": 0.08, "front_lift": 0.006, "rear_lift": 0.009,
    "grip": 220.0, "hand_push": 60.0,
}  # fmt: skip
BREAKS = {
    "shoulder": {"blade_share": 0.16},
    "front_lifts": {"front_lift": 0.020},
    "rear_lifts": {"rear_lift": 0.017},
    "one_third": {"front_share": 0.55},
    "grip": {"grip": 99.0},
    "hand": {"hand_push": 101.0},
}


def made_up(size: int = 5) -> CinchMap:
    tensions = np.linspace(0.0, 400.0, size)
    measures = {name: np.full((size, size), GOOD[name]) for name in MEASURES}
    return CinchMap(tensions + 100.0, tensions, measures, ((None,) * size,) * size, "both")


def broken_at(rule: str, where: tuple[slice | int, slice | int]) -> CinchMap:
    found = made_up()
    measures = {name: values.copy() for name, values in found.measures.items()}
    for name, value in BREAKS[rule].items():
        measures[name][where] = value
    return replace(found, measures=measures)


def test_every_rule_has_a_case_here() -> None:
    assert {*BREAKS, "snug"} == set(RULES) == set(TROUBLE)


@pytest.mark.parametrize("rule", BREAKS)
def test_a_rule_broken_in_a_corner_is_kept_out_of_the_region_and_named(rule: str) -> None:
    found = broken_at(rule, (slice(0, 2), slice(3, 5)))
    serves = serving(found)
    assert serves.kept == RULES
    assert serves.inside.sum() == 25 - 4
    assert not serves.inside[:2, 3:].any()
    assert TROUBLE[rule] in rig_sentence(found, serves, 0.0, 400.0)
    assert rig_sentence(found, serves, 400.0, 0.0) == "As the rig is now every rule is kept."


@pytest.mark.parametrize("rule", BREAKS)
def test_a_rule_broken_everywhere_is_given_up_and_said(rule: str) -> None:
    serves = serving(broken_at(rule, (slice(None), slice(None))))
    assert serves.broken == (rule,)
    assert serves.inside.all()
    assert any("Nowhere there" in line for line in region_sentences(made_up(), serves))


def test_a_front_cinch_too_loose_to_work_in_does_not_serve() -> None:
    """Below 60 N, the least measured in girths in use."""
    found = replace(made_up(), front=np.array([0.0, 59.0, 61.0, 200.0, 400.0]))
    serves = serving(found)
    assert serves.kept == RULES
    assert not serves.inside[:2].any()
    assert serves.inside[2:].all()


def test_of_two_rules_that_exclude_each_other_the_shoulder_is_kept() -> None:
    """The blade is free only where no hand goes in: the hand is given up."""
    found = broken_at("shoulder", (slice(0, 3), slice(None)))
    measures = {name: values.copy() for name, values in found.measures.items()}
    measures["hand_push"][3:] = 150.0
    serves = serving(replace(found, measures=measures))
    assert serves.broken == ("hand",)
    assert serves.inside[3:].all()
    assert not serves.inside[:3].any()


def test_the_middle_of_a_region_is_its_middle() -> None:
    found = made_up()
    measures = {name: values.copy() for name, values in found.measures.items()}
    measures["blade_share"][:] = 0.3
    measures["blade_share"][1:4, 1:4] = 0.05
    found = replace(found, measures=measures)
    serves = serving(found)
    assert middle(found, serves) == (300.0, 200.0)
    assert span(found.front, serves.inside, 0) == (200.0, 400.0)


def lost_at_the_start() -> CinchMap:
    """A tree that rolls left where nothing is drawn."""
    found = made_up()
    measures = {name: values.copy() for name, values in found.measures.items()}
    for values in measures.values():
        values[0, 0] = np.nan
    rows = [list(row) for row in found.leaves]
    rows[0][0] = "rolls left"
    return replace(found, measures=measures, leaves=tuple(tuple(row) for row in rows))


def test_where_the_tree_leaves_there_are_no_numbers_and_the_way_is_said() -> None:
    found = lost_at_the_start()
    serves = serving(found)
    assert not serves.inside[0, 0]
    assert "rolls left" in rig_sentence(found, serves, 0.0, 0.0)
    facts = json.loads(json.dumps(cinch_facts(found), allow_nan=False))
    assert facts["measures"]["peak_kpa"][0][0] is None
    assert facts["leaves"][0][0] == "rolls left"
    rows = list(csv.DictReader(io.StringIO(cinch_csv(found))))
    assert len(rows) == 25
    assert rows[0]["leaves"] == "rolls left"
    assert rows[0]["peak_kpa"] == ""
    assert float(rows[1]["peak_kpa"]) == 20.0
    assert set(rows[0]) == {
        "front_n",
        "rear_n",
        "serves",
        "leaves",
        *(key for key, _, _ in COLUMNS),
    }


def test_the_chart_shows_pressure_region_and_where_the_tree_leaves(tmp_path: Path) -> None:
    from PIL import Image

    found = lost_at_the_start()
    measures = {name: values.copy() for name, values in found.measures.items()}
    measures["blade_share"][3:] = 0.3
    found = replace(found, measures=measures)
    file = tmp_path / "map.png"
    draw_cinches(found, Heading("Tree", "scan.ply", "felt", 180.0, 120.0), file)
    with Image.open(file) as picture:
        dots = np.asarray(picture.convert("RGB")).astype(int)
    served, lost, shoulder = dots[900, 900], dots[1190, 185], dots[330, 900]
    assert tuple(served) == (132, 177, 196)  # the region's blue
    assert np.ptp(lost) < 20  # grey
    assert shoulder.sum() < served.sum()  # the dark end of the scale: 10 kPa is its top here
