"""Each rule of docs/verdict.md on measures made up to meet it, and on two animals."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.measure.measures import BarGap, Rocking, ZoneLoad
from fitsim.measure.spread import USED_TO, inner_edges
from fitsim.report.advice import advice
from fitsim.report.summary import fit_lines
from fitsim.report.verdict import FAULTS, faults, over_pocket, verdict_of
from tests.build import small_fitset
from tests.fits import fit_of, spread_fit
from tests.flat import INNER, bars_on, flat_back

if TYPE_CHECKING:
    from fitsim.measure.measures import Measures
    from fitsim.study.fit import FitSet

DOCS = Path(__file__).resolve().parents[2] / "docs" / "verdict.md"
CALM = {"front": 0.34, "middle": 0.36, "rear": 0.30, "left": 0.5, "right": 0.5}
LEVEL = dict.fromkeys(("front_left", "front_right", "rear_left", "rear_right"), 0.006)


def calm(m: Measures) -> Measures:
    """A tree with nothing to say against it."""
    return replace(
        m,
        share=CALM,
        lift=LEVEL,
        zones=dict.fromkeys(m.zones, ZoneLoad(0.0, 0.0, 0.0)),
        bridging={"left": BarGap(0.0, 0.0), "right": BarGap(0.0, 0.0)},
        rocking=Rocking(0.0003, 0.5, 0.0),
    )


def on_zone(m: Measures, zone: str, share: float) -> Measures:
    half = ZoneLoad(0.5 * share * m.normal_force, 10e3, 20e-4)
    zones = {name: half if name.startswith(zone) else load for name, load in m.zones.items()}
    return replace(m, zones=zones)


def made(changed: Measures | None = None, *, pocket: bool = True) -> FitSet:
    """The made-up set with its working case measured so; its fat pocket lies under the bars."""
    fitset = small_fitset()
    fit = fitset.fits["rider"]
    assert fit.measures is not None
    fits = {**fitset.fits, "rider": replace(fit, measures=changed or calm(fit.measures))}
    if pocket:
        code, chart = fitset.back.zone_code.copy(), fitset.back.chart
        under = (np.abs(chart.x[:, None] + 0.20) < 0.03) & (np.abs(chart.t[None, :] - 0.10) < 0.03)
        code[under] = [zone.name for zone in fitset.back.zones].index("fat_pocket_left")
        return replace(fitset, fits=fits, back=replace(fitset.back, zone_code=code))
    zones = tuple(
        replace(zone, name="ribs_left") if zone.name.startswith("fat_pocket") else zone
        for zone in fitset.back.zones
    )
    return replace(fitset, fits=fits, back=replace(fitset.back, zones=zones))


@pytest.fixture(scope="module")
def quiet() -> Measures:
    measures = small_fitset().fits["rider"].measures
    assert measures is not None
    return calm(measures)


def test_nothing_against_it(quiet: Measures) -> None:
    found = verdict_of(made(quiet))
    assert found.word == "can work"
    assert found.faults == ()
    assert "clear of the spine, the shoulder blades, and the fat pockets" in found.sits
    assert "steady" in found.moves
    assert "Confirm it" in found.paragraph or "Keep" in found.next or "keep" in found.next


def broken(quiet: Measures) -> dict[str, tuple[Measures, str]]:
    """For each rule: measures just past its limit, and words that must be said."""
    spine = {**quiet.zones, "spine": ZoneLoad(1.0, 5e3, 1e-4)}
    lifted = {**LEVEL, "rear_left": 0.017, "rear_right": 0.017}
    return {
        "spine": (replace(quiet, zones=spine), "touches the spine"),
        "shoulder": (on_zone(quiet, "scapula", 0.151), "on the shoulder blades"),
        "pocket": (on_zone(quiet, "fat_pocket", 0.151), "on the fat pockets"),
        "unsteady": (replace(quiet, rocking=Rocking(0.0003, 0.5, math.radians(0.6))), "knocks"),
        "lifts": (replace(quiet, lift=lifted), "rear tips stand off"),
        "one_third": (
            replace(quiet, share={**CALM, "front": 0.51, "middle": 0.3, "rear": 0.19}),
            "51",
        ),
        "bridges": (
            replace(quiet, bridging={"left": BarGap(0.16, 0.004), "right": BarGap(0.0, 0.0)}),
            "of a bar hangs",
        ),
        "uneven": (replace(quiet, share={**CALM, "left": 0.57, "right": 0.43}), ""),
    }


@pytest.mark.parametrize("rule", [name for name in FAULTS if name != "wide"])
def test_each_rule_broken_alone_is_found_and_said(quiet: Measures, rule: str) -> None:
    measures, words = broken(quiet)[rule]
    assert faults(measures) == (rule,)
    found = verdict_of(made(measures, pocket=False))
    assert found.word == "needs a change"
    assert found.faults == (rule,)
    assert words in found.paragraph


@pytest.mark.parametrize("rule", ["shoulder", "pocket", "one_third", "bridges", "uneven"])
def test_just_inside_the_limit_is_no_fault(quiet: Measures, rule: str) -> None:
    inside = {
        "shoulder": on_zone(quiet, "scapula", 0.149),
        "pocket": on_zone(quiet, "fat_pocket", 0.149),
        "one_third": replace(quiet, share={**CALM, "front": 0.49, "middle": 0.31, "rear": 0.2}),
        "bridges": replace(
            quiet, bridging={"left": BarGap(0.149, 0.004), "right": BarGap(0.0, 0.0)}
        ),
        "uneven": replace(quiet, share={**CALM, "left": 0.559, "right": 0.441}),
    }[rule]
    assert faults(inside) == ()


def test_close_to_a_limit_is_said_to_be_unsure(quiet: Measures) -> None:
    assert "close to a limit" in verdict_of(made(on_zone(quiet, "scapula", 0.149))).sure
    assert "close to a limit" in verdict_of(made(on_zone(quiet, "scapula", 0.151))).sure
    assert "close to a limit" not in verdict_of(made(quiet)).sure


def test_over_a_fat_pocket_a_good_tree_may_rock_and_gap(quiet: Measures) -> None:
    """Common practice, no source: judged by being steady and by the shoulder being free."""
    gapping = replace(
        quiet,
        bridging={"left": BarGap(0.25, 0.006), "right": BarGap(0.2, 0.005)},
        rocking=Rocking(math.radians(0.15), 0.5, math.radians(0.1)),
    )
    fitset = made(gapping)
    assert over_pocket(fitset, fitset.fits["rider"])
    found = verdict_of(fitset)
    assert found.word == "can work"
    assert set(found.let_off) == {"bridges", "unsteady"}
    assert "no fault" in found.moves
    assert "leave the tree as it is" in found.next


def test_but_not_one_that_knocks_or_lies_on_the_shoulder(quiet: Measures) -> None:
    gaps = {"left": BarGap(0.25, 0.006), "right": BarGap(0.2, 0.005)}
    knocking = replace(quiet, bridging=gaps, rocking=Rocking(0.0003, 0.5, math.radians(0.8)))
    found = verdict_of(made(knocking))
    assert found.word == "needs a change"
    assert "unsteady" in found.faults
    shouldered = on_zone(replace(quiet, bridging=gaps), "scapula", 0.2)
    found = verdict_of(made(shouldered))
    assert found.word == "needs a change"
    assert found.let_off == ()
    assert found.faults == ("shoulder", "bridges")


def test_nor_without_a_pocket_under_it(quiet: Measures) -> None:
    gaps = {"left": BarGap(0.25, 0.006), "right": BarGap(0.2, 0.005)}
    found = verdict_of(made(replace(quiet, bridging=gaps), pocket=False))
    assert found.faults == ("bridges",)


def test_a_tree_that_stays_nowhere_is_said_to() -> None:
    found = verdict_of(small_fitset(unstable=("front", "rear", "both", "rider")))
    assert found.word == "does not stay"
    assert "does not stay on this back" in found.sits
    assert not any(letter.isdigit() for letter in found.sits + found.moves)


def test_a_tree_lost_under_its_rider_needs_a_change() -> None:
    found = verdict_of(small_fitset(unstable=("rider",)))
    assert found.word == "needs a change"
    assert "under both cinches and rider it" in found.moves


def test_the_inner_edge_is_where_the_bars_were_put() -> None:
    """Bars 25 mm from the spine line; known to half a cell."""
    back = flat_back(0.010)
    level = bars_on(back, back.chart.area[back.chart.valid] * 0.0)
    for edge in inner_edges(back.chart, level).values():
        assert edge == pytest.approx(INNER, abs=0.5 * back.chart.spacing + 1e-9)


@pytest.mark.parametrize("animal", ["mule", "pony"])
def test_bars_set_wide_are_told_from_bars_well_placed(animal: str) -> None:
    """85 mm out against 28 mm, both at the lie of the back."""
    well = verdict_of(fit_of(animal, "riding-middle"))
    wide_set = spread_fit(animal, 0.085, follows=True)
    wide = verdict_of(wide_set)
    assert "wide" not in well.faults
    assert "wide" in wide.faults
    assert wide.word == "needs a change"
    assert wide.sits != well.sits
    assert "wider than the flat" in wide.sits
    assert any("closer to the spine" in one.do for one in advice(wide_set))
    assert "fat pocket" in wide.sits
    edges = inner_edges(wide_set.back.chart, wide_set.fits["both"].equilibrium)
    assert min(edges.values()) > USED_TO


@pytest.mark.parametrize("animal", ["mule", "pony"])
def test_a_well_placed_tree_can_work(animal: str) -> None:
    assert verdict_of(fit_of(animal, "riding-middle")).word == "can work"


def test_every_rule_and_limit_stands_in_the_docs() -> None:
    page = DOCS.read_text(encoding="utf-8")
    for name in FAULTS:
        assert f"`{name}`" in page
    for limit in (
        "15 %",
        "50 %",
        "56 %",
        "10 mm",
        "1 N",
        "50 mm",
        "0.1 deg",
        "0.5 deg",
        "3 points",
    ):
        assert limit in page


def test_the_summary_begins_with_it() -> None:
    fitset = small_fitset()
    lines = fit_lines(fitset)
    assert lines[1].startswith(verdict_of(fitset).word.capitalize())
    assert "How sure" in lines[1]
