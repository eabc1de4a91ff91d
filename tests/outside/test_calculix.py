"""The reference model against CalculiX on the same geometry, material and pose.

Figures of the other code are kept in tests/reference/calculix_results.json with its version
and date; ``python tests/reference/compare.py`` makes them anew. Tolerances are what was agreed
for the reference model: force 3 %, peak (20 x 20 mm mean) 8 %, contact area 8 %.
"""

from __future__ import annotations

import importlib
import json
from pathlib import Path
from typing import Any

import pytest

FOLDER = Path(__file__).parents[1] / "reference"
KEPT: dict[str, Any] = json.loads((FOLDER / "calculix_results.json").read_text(encoding="utf-8"))
QUICK = "flat layer, sphere, 10 %"
FORCE, PEAK, AREA = 0.03, 0.08, 0.08


def finest(name: str) -> dict[str, dict[str, float]]:
    levels = KEPT["cases"][name]
    return levels[max(levels)]


@pytest.mark.parametrize("name", KEPT["cases"])
def test_kept_figures_agree_on_their_finest_mesh(name: str) -> None:
    rows = finest(name)
    ours, theirs = rows["ours"], rows["calculix"]
    assert ours["force_n"] == pytest.approx(theirs["force_n"], rel=FORCE)
    assert ours["peak_kpa"] == pytest.approx(theirs["peak_kpa"], rel=PEAK)
    assert ours["area_cm2"] == pytest.approx(theirs["area_cm2"], rel=AREA)


@pytest.mark.parametrize("name", KEPT["cases"])
def test_meshes_have_converged(name: str) -> None:
    """From level 0 to the finest neither code moves more than the tolerances."""
    coarse, fine = KEPT["cases"][name]["0"], finest(name)
    for code in ("ours", "calculix"):
        assert coarse[code]["force_n"] == pytest.approx(fine[code]["force_n"], rel=FORCE)
        assert coarse[code]["peak_kpa"] == pytest.approx(fine[code]["peak_kpa"], rel=PEAK)
        assert coarse[code]["area_cm2"] == pytest.approx(fine[code]["area_cm2"], rel=AREA)


@pytest.mark.parametrize(
    "name",
    [pytest.param(n, marks=() if n == QUICK else pytest.mark.slow) for n in KEPT["cases"]],
)
def test_todays_code_gives_the_kept_figures(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Level 0 run now: only rounding of the kept five digits and of solvers may differ."""
    monkeypatch.syspath_prepend(str(FOLDER))
    cases, ours = importlib.import_module("cases"), importlib.import_module("ours")
    case = next(c for c in cases.CASES if c.name == name)
    told, kept = ours.run(case, 0), KEPT["cases"][name]["0"]["ours"]
    for figure in ("force_n", "peak_kpa", "area_cm2"):
        assert told[figure] == pytest.approx(kept[figure], rel=1e-4)
