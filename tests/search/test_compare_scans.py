"""One tree on several scans: what is told of them, and what cannot be."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.cli import main
from fitsim.report.compare import compare_facts, compare_lines
from fitsim.report.compare_words import in_short, measure_next_on, sentences
from fitsim.rig.load import NO_LOAD
from fitsim.study.compare import Comparison, compared, compared_on, less_often_apart
from fitsim.study.confidence import HEADLINES
from fitsim.tree.read import read_tree
from tests.fits import back_of

if TYPE_CHECKING:
    from collections.abc import Sequence

GRID, COUNT = 0.025, 4  # m: what is tested is counting, not contact
MESHES = Path(__file__).resolve().parents[2] / "meshes"
MULE, PONY = str(MESHES / "mule.ply"), str(MESHES / "broad_pony.ply")


@cache
def on_both(*, same_animal: bool) -> Comparison:
    backs = {name: back_of(name, GRID) for name in ("mule", "pony")}
    return compared_on(backs, read_tree("riding-middle"), load=NO_LOAD, same_animal=same_animal,
                       count=COUNT, processes=1)  # fmt: skip


def test_each_scan_has_the_numbers_it_has_alone() -> None:
    """Against the tree compared on one back: the same fit, the same draws, the same numbers."""
    found = on_both(same_animal=True)
    trees = [read_tree("riding-middle")] * 2
    alone = compared(back_of("pony", GRID), trees, load=NO_LOAD, count=COUNT, processes=1)
    for case in found.samples.cases:
        for headline in HEADLINES:
            np.testing.assert_allclose(
                found.samples.of(1, case, headline), alone.samples.of(0, case, headline), rtol=1e-9
            )
    peaks = [one.fits["both"].measures.peak for one in (found.fits[1], alone.fits[0])]  # type: ignore[union-attr]
    assert peaks[0] == pytest.approx(peaks[1], rel=1e-9)


def test_all_pairs_against_counting_them_by_hand(rng: np.random.Generator) -> None:
    first, second = rng.integers(0, 9, 30).astype(float), rng.integers(0, 9, 20).astype(float)
    first[3] = second[4] = np.nan
    won = 0.0
    for one in np.nan_to_num(first, nan=np.inf):
        for other in np.nan_to_num(second, nan=np.inf):
            won += 1.0 if one < other else 0.5 if one == other else 0.0
    assert less_often_apart(first, second) == pytest.approx(won / 600.0)


def with_peaks(first: Sequence[float], second: Sequence[float], *, apart: bool) -> Comparison:
    """The comparison with other hardest pressures (Pa) under both cinches."""
    found = on_both(same_animal=not apart)
    values = found.samples.values.copy()
    case, place = found.samples.cases.index("both"), list(HEADLINES).index("peak")
    values[:, 0, case, place], values[:, 1, case, place] = first, second
    return replace(found, samples=replace(found.samples, values=values))


def test_of_one_animal_a_small_difference_on_every_back_is_told_of_two_it_is_not() -> None:
    """Each plausible back of the first 1 kPa less than its own twin, but far from the others."""
    first = np.array([10e3, 20e3, 30e3, 40e3])
    told = with_peaks(first, first + 1e3, apart=False)
    assert told.less(0, 1, "both", "peak") == 1.0
    assert (
        "The tree presses less at its hardest on mule than on pony in 4 of 4 plausible backs."
        in sentences(told, "both")
    )
    apart = with_peaks(first, first + 1e3, apart=True)
    assert apart.less(0, 1, "both", "peak") == pytest.approx(10.0 / 16.0)
    assert (
        "On which of mule and pony the tree presses less at its hardest cannot be told"
        " (in 62 of 100 pairs of plausible backs on mule)." in sentences(apart, "both")
    )


def test_in_short_is_one_sentence_that_says_what_cannot_be_told() -> None:
    first = np.array([10e3, 20e3, 30e3, 40e3])
    (short,) = in_short(with_peaks(first + 50e3, first, apart=True), "both")
    assert short.startswith("Both cinches: the tree presses less at its hardest on pony than on")
    (short,) = in_short(with_peaks(first, first, apart=True), "both")
    assert "on which of them it presses less" in short
    assert short.endswith("cannot be told.")


def test_what_is_written_names_the_scans_and_the_tree() -> None:
    found = on_both(same_animal=False)
    facts = compare_facts(found)
    assert facts["tree"] == "Riding tree, middle"
    assert [one["of"] for one in facts["scans"]] == ["mule", "pony"]
    assert facts["scans"][0]["sha256"] != facts["scans"][1]["sha256"]
    assert not facts["same_animal"]
    assert [one["scan"] for one in facts["cases"]["both"]["scans"]] == ["mule", "pony"]
    lines = compare_lines(found, "inch")
    assert lines[0] == "Riding tree, middle on mule, pony"
    assert "different animals" in lines[1]
    assert "psi" in "\n".join(lines)
    assert measure_next_on(found) == []  # four backs say nothing of that


def refused(arguments: Sequence[str], capsys: pytest.CaptureFixture[str]) -> str:
    with pytest.raises(SystemExit) as stopped:
        main(["compare", *arguments])
    assert stopped.value.code == 3
    return capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([MULE, "--tree", "riding-middle"], "is one scan alone"),
        ([MULE, PONY], "two or more scans and one --tree"),
        ([MULE, MULE, "--tree", "riding-middle"], "is named twice"),
        ([MULE, PONY, "--tree", "no-such-tree"], "no such tree"),
        ([MULE, PONY, "--tree", "riding-middle", "--marks", "m.json"], "--marks-on"),
        ([MULE, PONY, "--tree", "riding-middle", "--marks-on", "x.ply", "m.json"], "none of the"),
        ([MULE, "riding-middle", "riding-wide", "--same-animal"], "leave it out"),
        (["no-such.ply", PONY, "--tree", "riding-middle"], "no-such.ply"),
    ],
)
def test_what_makes_no_sense_is_one_sentence(
    arguments: list[str], says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said = refused([*arguments, "-o", str(tmp_path / "out")], capsys)
    assert says in said
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_from_two_scans_to_the_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    truth = json.loads((MESHES / "mule.json").read_text())
    top = (np.array(truth["T_scan_body"]) @ [*truth["withers_top"], 1.0])[:3]
    (tmp_path / "marks.json").write_text(json.dumps({"withers": [top.tolist()]}))
    marks = ["--marks-on", MULE, str(tmp_path / "marks.json")]
    command = ["compare", MULE, PONY, "--tree", "riding-middle", *marks, "--backs", "10", "--json",
               "--load", "none", "--spacing", "20", "-o", str(tmp_path / "out")]  # fmt: skip
    with pytest.raises(SystemExit) as stopped:
        main(command)
    assert stopped.value.code == 0
    told = json.loads(capsys.readouterr().out)
    assert told == json.loads((tmp_path / "out" / "compare.json").read_text())
    page = (tmp_path / "out" / "compare.html").read_text()
    assert "mule or broad_pony" in page
    pictures = sorted(one.name for one in (tmp_path / "out").glob("*.png"))
    assert pictures == [
        f"scan-{n}-{case}.png" for n in (1, 2) for case in ("both", "front", "rear")
    ]
