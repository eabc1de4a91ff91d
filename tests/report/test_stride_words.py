"""What is said of a stride, by the rules the page lists; and a stride in which the tree leaves."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.report.stride_words import (
    FREE,
    HARDER,
    HELD,
    HELPS,
    advice,
    best_trial,
    carries,
    headline,
    interval,
    stride_lines,
    verdict,
    work,
)
from fitsim.report.stride_write import write_stride
from fitsim.study.stride_job import StrideStudy
from fitsim.study.stride_trials import ShoulderRange, Trial, shoulder_range, trials
from tests.strides import measures_of, stride_of

if TYPE_CHECKING:
    from pathlib import Path

    from fitsim.measure.stride import StrideMeasures


def found(left: float, right: float, work_j: float = 1.0, peak: float = 30e3) -> StrideMeasures:
    """Made-up measures: what is taken back on either side, work of each, and the peak."""
    known = measures_of(stride_of("mule"))
    shoulders = {
        side: replace(known.shoulders[side], restricted=share, lift_work=0.0, rub_work=work_j)
        for side, share in (("left", left), ("right", right))
    }
    return replace(known, shoulders=shoulders, peak=np.full_like(known.peak, peak))


def study(measures: StrideMeasures, *tried: Trial) -> StrideStudy:
    return StrideStudy(replace(stride_of("mule"), measures=measures), None, tuple(tried), ())


@pytest.mark.parametrize(
    ("left", "right", "words"),
    [
        (FREE, 0.0, "The shoulder blades glide free"),
        (FREE + 0.01, 0.0, "The bars touch the shoulder blades as they glide"),
        (HELD, 0.0, "The left bar holds its shoulder blade down"),
        (0.0, HELD, "The right bar holds its shoulder blade down"),
        (HELD, HELD, "The bars hold the shoulder blades down"),
    ],
)
def test_headline_follows_its_rule(left: float, right: float, words: str) -> None:
    assert headline(study(found(left, right)).stride) == words


def test_a_free_shoulder_asks_for_nothing() -> None:
    do, _ = advice(study(found(0.0, FREE)))
    assert "Nothing here asks for a change" in do


def test_the_change_that_helps_most_is_named_unless_it_presses_harder() -> None:
    as_it_is = Trial("as it is", found(0.6, 0.6))
    little = Trial("a little", found(0.6, 0.6, 1.0 - HELPS + 0.01))
    good = Trial("the good one", found(0.5, 0.5, 0.8))
    better = Trial("better but harder", found(0.3, 0.3, 0.5, 30e3 * (1.0 + HARDER + 0.01)))
    gone = Trial("it falls off", None)
    assert best_trial((as_it_is, little, good, better, gone)) is good
    do, why = advice(study(found(0.6, 0.6), as_it_is, little, good, better, gone))
    assert do == "The good one."
    assert "2.0 to 1.6 J" in why
    assert best_trial((as_it_is, little, better, gone)) is None
    do, why = advice(study(found(0.6, 0.6), as_it_is, little, better, gone))
    assert "another shape" in do
    assert "were tried" in why
    assert best_trial(()) is None


def test_how_sure_spans_what_was_tried() -> None:
    one = replace(study(found(0.6, 0.5)), range=ShoulderRange(found(0.7, 0.2), found(0.4, 0.4)))
    assert interval(one, lambda m: m.shoulders["left"].restricted) == (0.4, 0.7)
    assert "40" in verdict(one)[0]
    assert "70" in verdict(one)[0]


def test_the_command_line_says_it_all(tmp_path: Path) -> None:
    (tmp_path / "stride.gif").write_bytes(b"")
    lines = stride_lines(study(found(0.6, 0.6)), tmp_path, "inch")
    said = "\n".join(lines)
    for words in ("walk", "rider of 80 kg", "hold the shoulder blades down", "psi", "Try first",
                  "not a measurement", "stride.gif"):  # fmt: skip
        assert words in said
    assert "stride.html" not in said  # it was not written
    front = replace(stride_of("mule"), case=replace(stride_of("mule").case, name="front"))
    assert carries(front) == "front cinch only"


@pytest.mark.slow
def test_trials_and_range_follow_the_same_animal() -> None:
    """Trying nothing gives the stride again; a blade that moves more takes more work."""
    followed = stride_of("mule", "walk", 12)
    tried = trials(followed)
    assert work(tried[0].measures) == pytest.approx(work(followed.measures), rel=1e-3)
    assert all(one.measures is not None for one in tried)
    # Slackening what presses on them frees the shoulders.
    assert work(tried[2].measures) < work(tried[0].measures)
    spread = shoulder_range(followed)
    assert work(spread.little) < work(followed.measures) < work(spread.much)


def test_a_stride_in_which_the_tree_leaves_has_no_numbers(tmp_path: Path) -> None:
    whole = stride_of("mule")
    gone = replace(whole.moments[3].equilibrium, found=False, leaves="rolls left")
    moments = (*whole.moments[:3], replace(whole.moments[3], equilibrium=gone), *whole.moments[4:])
    left = StrideStudy(replace(whole, moments=moments, measures=None), None, (), ("pad",))
    assert "does not stay" in headline(left.stride)
    assert "rolls left 38" in verdict(left)[0]
    do, why = advice(left)
    assert "Do not use" in do
    assert "both cinches snug" in why
    write_stride(left, tmp_path, timing_s={})
    assert not (tmp_path / "stride.gif").exists()
    told = json.loads((tmp_path / "stride.json").read_text("utf-8"))
    assert told["measures"] is None
    assert not told["stays"]
    with (tmp_path / "stride.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert rows[3]["stays"] == "False"
    assert rows[3]["slid_left_mm"] == ""
    arrays = np.load(tmp_path / "pressure.npz")
    assert np.isnan(arrays["pressure_pa"][3]).all()
    assert np.isfinite(arrays["pressure_pa"][4]).all()
    assert "img id" not in (tmp_path / "stride.html").read_text("utf-8")
