"""Stickers on the demo mule become the marks that they stand for, on their own side."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import jsonschema
import numpy as np
import pytest
from scipy.spatial import cKDTree

from fitsim.back.back import Back
from fitsim.back.mirror import mirrored
from fitsim.back.sticker_words import USUAL, read_stickers, sticker_words
from fitsim.back.stickers import sticker_cautions, stuck_on
from fitsim.errors import BadSettings
from fitsim.report.contract import as_json, scan_facts
from fitsim.report.summary import scan_lines
from tests.painted import HIDES, STICKERS, hide, lit
from tests.stuck import PLACES, bare, frame, in_scan, scan, stuck

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.scan.scan import Scan


@cache
def marked() -> Back:
    return Back.from_scan(stuck(PLACES))


def in_scan_again(back: Back, name: str) -> NDArray[np.float64]:
    T = np.linalg.inv(back.T_body_scan)
    return np.asarray(back.marks[name].points @ T[:3, :3].T + T[:3, 3])


@pytest.mark.parametrize(
    ("name", "places"),
    [
        ("spine", [(-0.10, 0.0), (-0.20, 0.0), (-0.35, 0.0)]),
        ("scapula_edge_left", [(-0.02, 0.12), (0.0, 0.18), (0.04, 0.25)]),
        ("last_rib_right", [(-0.50, -0.16)]),
        ("withers", [(0.11, 0.0)]),
        ("sore_left", [(-0.25, 0.10), (-0.25, 0.14)]),
        ("sore_2_left", [(-0.45, 0.10)]),
    ],
)
def test_each_makes_its_mark_where_it_was_stuck(
    name: str, places: list[tuple[float, float]]
) -> None:
    mark = marked().marks[name]
    assert mark.source == "sticker"
    told = np.array([in_scan(*xt) for xt in places])
    found = in_scan_again(marked(), name)
    if name.startswith("sore"):  # outlines go round, from anywhere
        order = np.linalg.norm(found[:, None] - told[None], axis=2).argmin(axis=0)
        found = found[order]
    off = np.linalg.norm(found - told, axis=1)
    assert off.max() < mark.sd_m
    assert 0.005 < mark.sd_m < 0.008  # of sticking it on by hand, from memory, and of finding it


def test_one_or_two_move_the_edge_and_keep_its_shape() -> None:
    edge = marked().marks["scapula_edge_right"]
    assert edge.source == "sticker"
    assert len(edge.points) == len(bare().marks["scapula_edge_right"].points)


def test_what_was_stuck_is_said_with_how_sure() -> None:
    lines = scan_lines(scan(), marked())
    (said,) = [line for line in lines if line.startswith("Marked by stickers")]
    assert "withers (give or take 6 mm)" in said
    facts = scan_facts(marked())["back"]
    assert facts["marks"]["withers"]["source"] == "sticker"  # type: ignore[index]
    spots = facts["stickers"]  # type: ignore[index]
    assert {spot["mark"] for spot in spots if spot["used"]} >= {"spine", "sore_2_left"}
    assert any("veterinarian" in said for said in marked().cautions)


def test_the_contract_has_room_for_them() -> None:
    file = Path(__file__).parents[2] / "docs" / "fit.schema.json"
    schema = json.loads(file.read_text(encoding="utf-8"))
    whole = {**schema["properties"]["back"], "$defs": schema["$defs"]}
    jsonschema.validate(json.loads(as_json(scan_facts(marked())["back"])), whole)


def test_the_surface_is_that_of_the_same_scan() -> None:
    assert marked().withers_height == bare().withers_height
    assert len(marked().chart.t) == len(bare().chart.t)


def test_those_that_make_no_sense_are_said_and_not_used() -> None:
    """Ribs on the shoulder, two withers, a rear edge at the loin, a spine on the flank."""
    found = stuck_on(stuck({
        "yellow": [(-0.02, 0.15)], "pink": [(0.11, 0.0), (-0.05, 0.0)],
        "green": [(-0.35, -0.2)], "blue": [(-0.2, 0.15)],
    }, "white"), frame(), USUAL)  # fmt: skip
    assert found.told() == {}
    assert sorted(one.doubt for one in found.stickers) == [
        "2 of its colour lie along the spine, and the withers are one place",
        "2 of its colour lie along the spine, and the withers are one place",
        "the last rib cannot lie there",
        "the shoulder blade's edge cannot lie there",
        "the spine cannot lie there",
    ]
    said = sticker_cautions(found.moved(frame().T_body_scan))
    assert sum("was not taken for a sticker" in one for one in said) == 4
    assert said[-1] == "1 more coloured place was not used."


def test_what_is_not_used_is_a_caution_of_every_result() -> None:
    there = in_scan(0.10, 0.0)[None]
    back = Back.from_scan(stuck({"pink": [(0.13, 0.0)]}), {"withers": there})
    assert back.marks["withers"].source == "marked"
    (one,) = back.stickers
    assert one.doubt == "the marks tell that place already"
    assert any(one.doubt in caution for caution in back.cautions)


def test_colours_may_mean_something_else_or_nothing() -> None:
    grey = stuck({"green": [(-0.05, 0.15), (-0.12, 0.15), (-0.09, 0.24)]}, "grey")
    pocket = stuck_on(grey, frame(), read_stickers("green=fat pocket left"))
    assert len(pocket.told()["fat_pocket_left"]) == 3
    wrong = stuck_on(grey, frame(), read_stickers("green=fat pocket right"))
    assert {one.doubt for one in wrong.stickers} == {"it lies on the other side"}
    assert stuck_on(grey, frame(), read_stickers("none")).stickers == ()
    other = stuck_on(grey, frame(), read_stickers("blue=spine"))
    assert {one.doubt for one in other.stickers} == {"no place was told for its colour"}


def test_the_mirror_image_has_them_on_the_other_side() -> None:
    turned = mirrored(marked())
    assert {one.mark for one in turned.stickers} >= {"sore_right", "scapula_edge_right"}


def test_words_and_meanings_are_each_others() -> None:
    assert read_stickers(sticker_words(USUAL)) == USUAL
    assert read_stickers("usual") == USUAL
    assert read_stickers(sticker_words(())) == ()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("orange=spine", "red, yellow, green, blue or pink"),
        ("blue spine", '"blue spine" does not begin with a sticker\'s colour'),
        ("blue=tail", '"tail" is no place that is marked'),
        ("blue=spine left", '"spine left" is no place that is marked'),
        ("blue=spine, blue=withers", "blue is told twice"),
        ("", "no colour is told"),
        ("back.ply", "does not begin with a sticker's colour"),
    ],
)
def test_other_words_are_refused_in_a_sentence(words: str, said: str) -> None:
    with pytest.raises(BadSettings) as caught:
        read_stickers(words)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def drawn(colour: str, way: NDArray[np.float64], width: float = 0.014) -> Scan:
    """The mule with a line drawn on it along (x, t) places."""
    there = np.array([in_scan(*xt) for xt in way])
    far, _ = cKDTree(there).query(scan().vertices)
    share = np.clip((width / 2 - far) / 0.004 + 0.5, 0.0, 1.0)[:, None]
    rng = np.random.default_rng(4)
    bare_hide = hide(scan().vertices, rng, HIDES["brown"])
    colours = (1.0 - share) * bare_hide + share * np.array(STICKERS[colour])
    return replace(scan(), colours=lit(scan().vertices, colours, rng))


def test_a_chalk_line_is_an_edge() -> None:
    s = np.linspace(0.0, 1.0, 60)
    way = np.column_stack([-0.03 + 0.07 * s**2, 0.10 + 0.2 * s])
    found = stuck_on(drawn("green", way), frame(), USUAL)
    assert found.basis("scapula_edge_left").startswith("1 green chalk line, found by colour")
    edge = found.moved(frame().T_body_scan)
    assert len(edge) > 4
    assert (np.diff([one.place[2] for one in edge]) < 0.0).all()  # from the corner down


def test_a_rope_over_the_back_is_no_mark() -> None:
    """A blue cord from flank to flank crosses the spine: it counts whole, so not at all."""
    across = np.column_stack([np.full(120, -0.2), np.linspace(-0.3, 0.3, 120)])
    found = stuck_on(drawn("blue", across), frame(), USUAL)
    assert found.told() == {}
    (said,) = sticker_cautions(found.moved(frame().T_body_scan))
    assert said.startswith("A blue line")
    assert "the spine cannot lie there" in said
