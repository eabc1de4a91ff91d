"""A fit says what moving the tree would do, and what it says is what a fit there finds."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

from fitsim.contact.solve import solve
from fitsim.measure.measured import measured
from fitsim.report.contract import contract
from fitsim.report.html import page
from fitsim.report.moved import moved_lines
from fitsim.rig.cases import cases_for
from fitsim.study.laid import laid
from fitsim.study.moved import STEP, moved_along
from tests.fits import fit_of


def test_what_is_said_is_what_a_fit_there_finds() -> None:
    fitset = fit_of("mule", "riding-middle")
    rear, front = moved_along(fitset)
    assert (rear.by, front.by) == (-STEP, STEP)
    on = laid(fitset.back, fitset.tree, pad=fitset.pad, at=STEP)
    cases = cases_for(fitset.back, fitset.tree, on.seat.T_body_tree, fitset.rig, fitset.load)
    (case,) = (one for one in cases if one.name == "both")
    there = measured(fitset.back, fitset.tree, case, solve(on.problem, case))
    assert front.measures is not None
    assert front.measures.peak == pytest.approx(there.peak, rel=1e-3)
    fitset = replace(fitset, moved=(rear, front))
    lines = moved_lines(fitset)
    assert [line.split(":")[0].strip() for line in lines[1:]] == [
        "30 mm further back",
        "as it lies",
        "30 mm further forward",
    ]
    assert all("kPa" in line for line in lines[1:])
    assert "psi" in moved_lines(fitset, "inch")[1]


def test_where_it_cannot_lie_is_said() -> None:
    fitset = fit_of("mule", "riding-middle")
    (far,) = moved_along(fitset, (-0.6,))
    assert far.measures is None
    assert "end of the scan" in moved_lines(replace(fitset, moved=(far,)))[1]


def test_the_files_carry_it() -> None:
    fitset = fit_of("mule", "riding-middle")
    fitset = replace(fitset, moved=moved_along(fitset, (-0.6, STEP)))
    document = json.loads(json.dumps(contract(fitset)))
    schema = Path(__file__).parents[2] / "docs" / "fit.schema.json"
    jsonschema.validate(document, json.loads(schema.read_text(encoding="utf-8")))
    far, near = document["moved"]
    assert (far["equilibrium"], near["equilibrium"]) == (False, True)
    assert near["by_mm"] == pytest.approx(30.0)
    said = page(fitset, pictures={})
    assert "30 mm further forward" in said
    assert far["why_not"] in said
