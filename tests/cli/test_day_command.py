"""`fitsim day` from the command line, and a day held against its parts."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from fitsim.commands.day import day as command
from fitsim.draw.day_words import change_words
from fitsim.errors import BadSettings
from fitsim.measure.dose import FIRST, HOUR, Spell, passed
from fitsim.study.day import Change, Day, day
from fitsim.study.job import Job, ScanFile
from fitsim.study.set_up import SetUp, set_up

MULE = Path(__file__).resolve().parents[2] / "meshes" / "mule.ply"


@cache
def on_mule() -> SetUp:
    return set_up(Job(ScanFile(MULE, unit="m", spacing=0.020)))


@cache
def worked(hours: float, walk: float = 1.0, trot: float = 0.0) -> Day:
    return day(on_mule(), hours, {"walk": walk, "trot": trot})


def test_a_day_is_its_pressure_by_the_curves() -> None:
    found = worked(5.0)
    area = on_mule().back.chart.area[on_mule().back.chart.valid]
    share = passed((Spell(5.0 * HOUR, 1.0),), found.pressure)
    np.testing.assert_allclose(found.share, share, rtol=0.0, atol=1e-12)
    assert found.first_area == pytest.approx(area[share >= FIRST].sum())
    assert 0.0 < found.first_area < area[found.pressure > 500.0].sum()
    assert found.case == "rider"  # the usual load


def test_longer_and_faster_days_have_more_to_look_at() -> None:
    areas = [worked(*parts).first_area for parts in ((3.0,), (5.0,), (5.0, 0.5, 0.5), (8.0,))]
    assert areas == sorted(areas)
    assert areas[0] < areas[-1]


def test_looser_cinches_and_fewer_hours_lower_it() -> None:
    found = worked(5.0)
    fewer, looser, pad = found.changes
    assert fewer.first_area < found.first_area
    assert looser.first_area < found.first_area
    assert looser.hours > found.hours_until
    assert "30 mm" in pad.do


def test_a_change_that_is_none_or_worse_is_said_so() -> None:
    found = worked(5.0)
    none = Change("a ribbon", found.first_area, found.hours_until)
    worse = Change("a stone under it", 2.0 * found.first_area, 0.1)
    assert "no change" in change_words(none, found)
    assert ": more," in change_words(worse, found)
    assert "would not stay" in change_words(Change("x", float("nan"), float("nan")), found)


def test_the_front_third_is_held_against_the_study_at_each_pace() -> None:
    found = worked(5.0, 0.5, 0.5)
    walk, trot = found.seen
    assert trot.mean == pytest.approx(walk.mean * 9.8 / 7.8)  # von Peinen 2010, sound backs
    assert walk.hours == trot.hours == pytest.approx(2.5)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--hours", "0"), "no day's work"),
        (("--hours", "30"), "no day's work"),
        (("--hours", "nan"), "no day's work"),
        (("--hours", "4", "--rest", "4"), "leaves no work"),
        (("--rest", "-1"), "leaves no work"),
        (("--walk", "0"), "all shares are 0"),
    ],
)
def test_a_senseless_day_is_refused_before_the_work(words: tuple[str, ...], said: str) -> None:
    with pytest.raises(BadSettings, match=said):
        CliRunner().invoke(command, ["no-such.ply", *words], catch_exceptions=False)


def test_words_json_and_map_agree(tmp_path: Path) -> None:
    out = tmp_path / "out"
    words = [str(MULE), "--unit", "m", "--spacing", "20 mm", "--quiet", "--rest", "1"]
    said = CliRunner().invoke(command, [*words, "-o", str(out)], catch_exceptions=False)
    assert said.exit_code == 0, said.output
    facts = json.loads((out / "day.json").read_text())
    assert facts["hours"] == 6.0
    assert facts["rest_hours"] == 1.0
    assert f"{facts['first_area_cm2']:.0f}" in said.output
    assert "never a diagnosis" in said.output
    assert "veterinarian" in said.output
    with Image.open(out / "day.png") as picture:
        dots = np.asarray(picture.convert("RGB")).astype(int)
    dark = (dots.sum(axis=2) < 200) & (dots[..., 2] > dots[..., 1] + 20)
    assert dark[200:700, :1180].sum() > 2000  # the dark end of the scale, on the map
