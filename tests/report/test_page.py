"""report.html: one whole file that loads nothing, says what was found, and says it in words."""

from __future__ import annotations

import base64
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from fitsim.draw.quantity import percents
from fitsim.draw.words import (
    LIFTED,
    case_title,
    lifted_end,
    lifted_tips,
    verdict,
    what_would_hold,
    zone_share,
)
from fitsim.measure.measures import Measures, ZoneLoad
from fitsim.report.advice import advice, headline
from fitsim.report.contract import CAUTIONS
from fitsim.report.html import page
from fitsim.report.scene import scene
from fitsim.study.fit import Fit, FitSet
from tests.build import small_fitset

VOID = {"meta", "link", "img", "br", "hr", "input"}


class Reader(HTMLParser):
    """Collects what a page loads and whether its elements are closed in order."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.loads: list[str] = []
        self.open: list[str] = []
        self.words: list[str] = []
        self.scripts: dict[str, str] = {}
        self.identity: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.loads += [given[key] or "" for key in ("src", "href", "srcset") if key in given]
        if tag not in VOID:
            self.open.append(tag)
        self.identity = given.get("id")

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] == "script":
            self.scripts[self.identity or str(len(self.scripts))] = data
        elif self.open and self.open[-1] != "style":
            self.words.append(data)


@pytest.fixture(scope="module")
def fitset() -> FitSet:
    return small_fitset(unstable=("front",))


@pytest.fixture(scope="module")
def text(fitset: FitSet) -> str:
    return page(fitset, pictures={})


def read(text: str) -> Reader:
    reader = Reader()
    reader.feed(text)
    reader.close()
    assert reader.open == []
    return reader


def said(text: str) -> str:
    return re.sub(r"\s+", " ", " ".join(read(text).words))


def test_the_page_is_whole_and_loads_nothing(text: str) -> None:
    for address in read(text).loads:
        assert address.startswith(("#", "data:"))
    style = re.findall(r"url\(([^)]{0,30})", text)
    assert style
    assert all(address.startswith("data:") for address in style)
    assert "@import" not in text
    # Nothing in our own script or the library reaches out: no fetch of an address, no worker file.
    assert not re.search(r"(fetch|importScripts|XMLHttpRequest|WebSocket)\(\s*[\"'`]http", text)
    assert len(text.encode()) < 4e6


def test_the_page_says_what_must_be_said(fitset: FitSet, text: str) -> None:
    words = said(text)
    for name in fitset.fits:
        assert case_title(name) in words
    for caution in CAUTIONS:
        assert caution in words
    assert fitset.back.provenance.sha256 in words
    for mark in fitset.back.marks.values():
        assert mark.basis in words
    assert "does not stay" in words
    assert "estimated" in words
    assert headline(fitset) in words


def test_units_follow_the_reader(fitset: FitSet) -> None:
    inch = said(page(fitset, pictures={}, system="inch"))
    assert "psi" in inch
    assert "lbf" in inch
    assert " kPa" not in inch.replace("0.5 kPa or more", "")


def test_names_cannot_break_the_page(fitset: FitSet) -> None:
    wicked = '</script><img src="x.png" onerror=alert(1)>&"'
    named = replace(fitset, tree=replace(fitset.tree, name=wicked))
    reader = read(page(named, pictures={}))
    assert all(address.startswith(("#", "data:")) for address in reader.loads)
    assert any(wicked in part for part in reader.words)


def test_the_scene_holds_the_field_that_was_solved(fitset: FitSet, text: str) -> None:
    told = json.loads(read(text).scripts["scene"])
    chart = fitset.back.chart
    assert (told["rows"], told["columns"]) == chart.valid.shape
    for one in told["cases"]:
        rest = fitset.fits[one["name"]].equilibrium
        raw = base64.b64decode(one["field"])
        share = np.frombuffer(raw, "<f2").astype(float).reshape(*chart.valid.shape, 2)
        pressure = share[..., 0] * told["top"]
        expected = rest.pressure if one["held"] else np.zeros_like(rest.pressure)
        # Half precision keeps 11 bits: one part in two thousand.
        np.testing.assert_allclose(pressure[chart.valid], expected, rtol=5e-4, atol=1.0)
        pose = np.array(one["pose"]).reshape(4, 4).T
        np.testing.assert_allclose(pose, rest.T_body_tree, atol=1e-6)
    assert [one["held"] for one in told["cases"]] == [n != "front" for n in fitset.fits]


def test_scene_is_plain_json(fitset: FitSet) -> None:
    assert json.loads(json.dumps(scene(fitset, top=2e4), allow_nan=False))


def measured(fitset: FitSet, **changes: object) -> Measures:
    held = fitset.fits["both"].measures
    assert held is not None
    return replace(held, **changes)  # type: ignore[arg-type]


def only(fitset: FitSet, measures: Measures) -> FitSet:
    return replace(fitset, fits={"both": replace(fitset.fits["both"], measures=measures)})


EVEN = {"front": 0.34, "middle": 0.33, "rear": 0.33, "left": 0.5, "right": 0.5}
LEVEL = dict.fromkeys(("front_left", "front_right", "rear_left", "rear_right"), 0.004)


@pytest.mark.parametrize(
    ("zone", "words"),
    [("scapula_left", "shoulder blade"), ("fat_pocket_right", "fat pocket"), ("spine", "spine")],
)
def test_a_pressed_zone_is_said_and_a_free_one_is_not(
    fitset: FitSet, zone: str, words: str
) -> None:
    free = {name: ZoneLoad(0.0, 0.0, 0.0) for name in ("scapula_left", "fat_pocket_right", "spine")}
    calm = only(fitset, measured(fitset, zones=free, share=EVEN, lift=LEVEL))
    force = 0.4 * measured(fitset).normal_force
    heavy = {**free, zone: ZoneLoad(force, 2e4, 0.01)}
    pressed = only(fitset, measured(fitset, zones=heavy, share=EVEN, lift=LEVEL))
    assert words in headline(pressed).lower()
    assert words not in headline(calm).lower()
    assert any(words in sentence for sentence in verdict(pressed.fits["both"]))
    assert not any(words in sentence for sentence in verdict(calm.fits["both"]))
    assert any(words in one.do + one.why for one in advice(pressed))


def test_the_end_that_lifts_is_named(fitset: FitSet) -> None:
    for end in ("front", "rear"):
        up = {tip: 0.003 + (2 * LIFTED if tip.startswith(end) else 0.0) for tip in LEVEL}
        m = measured(fitset, lift=up)
        assert lifted_end(m) == end
        fit = replace(fitset.fits["both"], measures=m)
        assert f"{end.capitalize()} tips lift" in " ".join(verdict(fit))
    corner = measured(fitset, lift={**LEVEL, "rear_left": 0.03})
    assert lifted_tips(corner) == ("rear_left",)
    assert lifted_end(corner) is None
    unknown = measured(fitset, lift=dict.fromkeys(LEVEL, float("nan")))
    assert lifted_tips(unknown) == ()


def test_each_way_of_leaving_has_something_that_holds_it() -> None:
    ways = ("tips forward", "tips backward", "rolls left", "slides forward", "slides back", "lifts")
    answers = {way: what_would_hold(way) for way in ways}
    assert "rear cinch" in answers["tips forward"].lower()
    assert "front cinch" in answers["tips backward"].lower()
    assert len(set(answers.values())) >= 5


def test_a_set_in_which_nothing_holds_still_reports(fitset: FitSet) -> None:
    lost = {
        name: Fit(fit.case, replace(fit.equilibrium, found=False, leaves="rolls left"), None)
        for name, fit in fitset.fits.items()
    }
    words = said(page(replace(fitset, fits=lost), pictures={}))
    assert "stays on under none" in words
    assert "rolls left" in words


@pytest.mark.parametrize("seed", range(5))
def test_rounded_shares_add_up(seed: int) -> None:
    shares = np.random.default_rng(seed).dirichlet([1.0, 1.0, 1.0])
    assert sum(int(part.split("\N{NO-BREAK SPACE}")[0]) for part in percents(list(shares))) == 100


def test_zone_share_counts_both_sides(fitset: FitSet) -> None:
    m = measured(
        fitset,
        normal_force=100.0,
        zones={"scapula_left": ZoneLoad(10, 0, 0), "scapula_right": ZoneLoad(15, 0, 0)},
    )
    assert zone_share(m, "scapula") == pytest.approx(0.25)
