"""A hole of the scan that was filled: crossed with lines under pressure too, unsure in words."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np

from fitsim.draw.paint import canvas, painted_skin
from fitsim.draw.surface import under_bars
from fitsim.draw.words import peak_unsure
from fitsim.measure.hotspots import hotspots
from fitsim.report.contract import contract
from fitsim.report.html import page
from fitsim.report.scene import back_scene
from fitsim.report.summary import fit_lines
from tests.build import small_back, small_fitset

SCHEMA = json.loads(
    (Path(__file__).parents[2] / "docs" / "fit.schema.json").read_text(encoding="utf-8")
)


def _holed(*, filled: bool):  # noqa: ANN202 - a Back, and the node in the middle of its hole
    """The small back with a hole of 50 mm filled under the left bar, or with none."""
    back = small_back()
    chart = back.chart
    row, column = np.abs(chart.x + 0.20).argmin(), np.abs(chart.t - 0.09).argmin()
    hole = np.zeros_like(chart.filled)
    hole[row - 2 : row + 3, column - 2 : column + 3] = filled
    return replace(back, chart=replace(chart, filled=hole)), (int(row), int(column))


def test_lines_cross_a_filled_hole_under_the_pressure_and_nowhere_else() -> None:
    rest = small_fitset().fits["both"].equilibrium
    whole, _ = _holed(filled=False)
    holed, node = _holed(filled=True)
    pressed = replace(rest, pressure=np.full_like(rest.pressure, 15e3))
    bare, crossed = (painted_skin(canvas(b), pressed, 20e3).astype(int) for b in (whole, holed))
    differs = np.abs(bare - crossed).sum(axis=2) > 60
    x, t = (np.linspace(a[0], a[-1], n) for a, n in zip(
        (whole.chart.x, whole.chart.t), differs.shape, strict=True))  # fmt: skip
    inside = (np.abs(x - whole.chart.x[node[0]]) < 0.024)[:, None] & (
        np.abs(t - whole.chart.t[node[1]]) < 0.024
    )
    # Two sets of lines 1.2 mm wide every 9 mm cover a quarter; pressure lies all over it
    assert 0.15 < differs[inside].mean() < 0.40
    outside = (np.abs(x - whole.chart.x[node[0]]) > 0.032)[:, None] | (
        np.abs(t - whole.chart.t[node[1]]) > 0.032
    )
    assert not differs[outside].any()


def test_a_peak_on_a_filled_hole_is_unsure() -> None:
    holed, (row, column) = _holed(filled=True)
    field = np.zeros(holed.chart.valid.shape)
    field[row + 3, column] = 30e3  # beside the hole: half its patch lies on it
    field[row - 12, column] = 20e3
    found = hotspots(holed, field, field)
    assert [spot.unsure for spot in found] == [True, False]
    whole, _ = _holed(filled=False)
    assert not any(spot.unsure for spot in hotspots(whole, field, field))


def test_people_and_programs_are_told() -> None:
    fitset = small_fitset()
    fit = fitset.fits["both"]
    assert fit.measures is not None
    spots = (replace(fit.measures.hotspots[0], unsure=True), *fit.measures.hotspots[1:])
    unsure = replace(fit, measures=replace(fit.measures, hotspots=spots))
    told = replace(fitset, fits={**fitset.fits, "both": unsure})
    assert peak_unsure(unsure.measures)
    assert not peak_unsure(fit.measures)
    line = "That is unsure: a hole in the scan was filled there."
    assert line in "\n".join(fit_lines(told))
    assert line not in "\n".join(fit_lines(fitset))
    html = page(told, pictures={})
    assert "(unsure: filled hole)" in html
    assert "(unsure)</td>" in html  # beside the number in the table
    assert "(unsure" not in page(fitset, pictures={})
    document = contract(told)
    assert list(jsonschema.Draft202012Validator(SCHEMA).iter_errors(document)) == []
    assert document["cases"]["both"]["hotspots"][0]["unsure"] is True  # type: ignore[index]


def test_what_lies_apart_in_front_of_a_bar_is_no_daylight_under_it() -> None:
    chart = small_back().chart
    rest = small_fitset().fits["both"].equilibrium
    assert (under_bars(chart, rest.bar) == (rest.bar != 0)).all()
    on_neck = np.zeros(chart.valid.shape, dtype=int)
    on_neck[chart.valid] = rest.bar
    row = np.flatnonzero((on_neck != 0).any(axis=1)).max() + 3
    on_neck[row : row + 2, len(chart.t) // 2 + 5] = 1
    assert (under_bars(chart, on_neck[chart.valid]) == (rest.bar != 0)).all()


def test_the_turning_view_knows_the_holes() -> None:
    holed, _ = _holed(filled=True)
    whole, _ = _holed(filled=False)
    assert back_scene(holed, top=20e3)["holes"]
    assert back_scene(whole, top=20e3)["holes"] == ""
