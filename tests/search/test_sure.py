"""How sure one fit is: in fit.json, on the page, in the terminal, and what is refused."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import jsonschema
import numpy as np
import pytest

from fitsim.cli import main
from fitsim.draw.quantity import percent, plain, quantity
from fitsim.errors import BadSettings
from fitsim.report.contract import contract
from fitsim.report.html import page
from fitsim.report.summary import fit_lines
from fitsim.report.sure import WORDS, measure_next, sure_rows
from fitsim.rig.load import NO_LOAD
from fitsim.study.confidence import HEADLINES, OTHER_UNKNOWNS, Samples, interval, rests_of, sampled
from fitsim.study.fit import fit
from fitsim.study.sure import how_sure
from fitsim.tree.read import read_tree
from tests.build import small_fitset
from tests.fits import back_of
from tests.search.test_confidence import GRID, small

if TYPE_CHECKING:
    from fitsim.study.fit import FitSet

SCHEMA = json.loads(
    (Path(__file__).parents[2] / "docs" / "fit.schema.json").read_text(encoding="utf-8")
)
BACKS = 101


def made_up() -> Samples:
    """Every headline runs evenly from 0 to 1 (SI) over the backs, by the last unknown alone."""
    draws = np.random.default_rng(1).standard_normal((BACKS, len(OTHER_UNKNOWNS)))
    places = np.argsort(np.argsort(draws[:, 0])) / (BACKS - 1)
    values = np.broadcast_to(places[:, None, None, None], (BACKS, 1, 2, len(HEADLINES))).copy()
    values[:10, :, 1] = np.nan  # rider: it leaves ten backs in a hundred and one
    return Samples(draws, OTHER_UNKNOWNS, ("both", "rider"), values)


@cache
def told() -> FitSet:
    return replace(small_fitset(), sure=made_up())


def test_the_file_keeps_its_contract_with_and_without() -> None:
    validator = jsonschema.Draft202012Validator(SCHEMA)
    document = contract(told())
    assert list(validator.iter_errors(document)) == []
    assert "sure" not in contract(small_fitset())
    both = document["sure"]["cases"]["both"]  # type: ignore[index]
    # the 5th, 50th and 95th of evenly spread values, in the unit that the key names
    assert both["peak_kpa"] == pytest.approx({"low": 5e-5, "middle": 5e-4, "high": 9.5e-4})
    assert both["front_share"] == pytest.approx({"low": 0.05, "middle": 0.5, "high": 0.95})
    assert both["rear_lift_mm"] == pytest.approx({"low": 50.0, "middle": 500.0, "high": 950.0})
    rider = document["sure"]["cases"]["rider"]  # type: ignore[index]
    assert rider["stays_on_share_of_backs"] == pytest.approx(91 / 101)


def test_every_headline_has_its_words() -> None:
    assert list(WORDS) == list(HEADLINES)


def test_a_case_that_never_stays_is_said_so() -> None:
    lost = replace(made_up(), values=np.full((BACKS, 1, 2, len(HEADLINES)), np.nan))
    assert sure_rows(lost, "metric")[0][1] == ["leaves", "leaves"]
    document = contract(replace(small_fitset(), sure=lost))
    assert document["sure"]["cases"]["both"]["peak_kpa"] is None  # type: ignore[index]
    assert list(jsonschema.Draft202012Validator(SCHEMA).iter_errors(document)) == []


def test_people_are_told_between_what_and_what_to_measure() -> None:
    lines = "\n".join(fit_lines(told(), "inch"))  # the terminal: plain spaces
    html = page(told(), pictures={}, system="inch")
    assert f"between {percent(0.05)} and {percent(0.95)}" in html
    rider = interval(made_up().of(0, "rider", "front_share"))
    assert rider is not None
    assert plain([f"between {percent(rider.low)} and {percent(rider.high)}"])[0] in lines
    for text in (lines, html):
        assert "101 plausible backs" in text
        assert "how tight the front cinch is" in text
        assert "of the spread)" in text
    assert (
        f"between {quantity(0.05, 'length', 'inch')} and {quantity(0.95, 'length', 'inch')}" in html
    )
    assert "plausible backs" not in page(small_fitset(), pictures={})


def test_nothing_is_said_of_what_to_measure_from_few_backs() -> None:
    few = made_up()
    few = replace(few, draws=few.draws[:10], values=few.values[:10])
    assert measure_next(few, "both") is None


@pytest.mark.slow  # ten backs, the fewest
def test_a_fit_lies_among_its_plausible_backs() -> None:
    back = back_of("mule", GRID)
    found = fit(back, read_tree("riding-middle"), load=NO_LOAD)
    told = how_sure(found, 10, seed=4, processes=1)
    peak = told.of(0, "both", "peak")
    assert peak.min() < found.fits["both"].measures.peak < peak.max()  # type: ignore[union-attr]
    shares = sum(told.of(0, "both", f"{third}_share") for third in ("front", "middle", "rear"))
    np.testing.assert_allclose(shares, 1.0, atol=1e-9)


def test_a_near_start_gives_the_same_answers() -> None:
    found = fit(back_of("mule", GRID), read_tree("riding-middle"), load=NO_LOAD)
    assert set(rests_of(found)) == set(found.fits)
    cold = small(back_of("mule", GRID))
    warm = replace(cold, rests=(rests_of(found),))
    one, other = (sampled(trial, 2, seed=4, processes=1) for trial in (cold, warm))
    for name in ("peak", "front_share", "middle_share", "mean"):
        for case in one.cases:
            # a near start is left where it is balanced to 5e-4 of the load
            exact, near = one.of(0, case, name), other.of(0, case, name)
            np.testing.assert_allclose(near, exact, rtol=1e-3, atol=5e-4 * name.endswith("share"))
    assert rests_of(replace(found, model="reference")) == {}


@pytest.mark.slow  # thirty backs twice
def test_a_near_start_is_off_by_far_less_than_the_spread() -> None:
    found = fit(back_of("mule", GRID), read_tree("riding-middle"), load=NO_LOAD)
    cold = small(back_of("mule", GRID))
    warm = replace(cold, rests=(rests_of(found),))
    exact, near = (sampled(trial, 30, seed=4, processes=1).values for trial in (cold, warm))
    spread = np.nanstd(exact, axis=0)
    some = spread > 0.0
    off = np.sqrt(np.nanmean((near - exact) ** 2, axis=0))[some] / spread[some]
    assert off.max() < 0.02
    assert (np.isnan(near) == np.isnan(exact)).all()


def test_too_few_backs_are_refused_before_any_work(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["fit", "no-such-file.ply", "--sure", "3"])
    assert left.value.code == 3
    said = capsys.readouterr().err
    assert "--sure" in said
    assert "10 or more" in said
    with pytest.raises(BadSettings, match="not laid"):
        how_sure(replace(small_fitset(), seat=None), 10)
