"""Marks in a file are in the scan file's own coordinates and unit, whatever that unit is."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
import pytest
import trimesh

from fitsim.demo import demo_folder
from fitsim.errors import BadSettings
from fitsim.study.job import ScanFile, read_back

if TYPE_CHECKING:
    from pathlib import Path

    from fitsim.scan.scan import Unit

PER_METRE: dict[Unit, float] = {"m": 1.0, "mm": 1000.0, "inch": 1.0 / 0.0254}


def written(folder: Path, unit: Unit, *, marks_per_metre: float) -> ScanFile:
    """The demo mule in a unit, with its withers marked where its truth has them."""
    mesh = trimesh.load(demo_folder() / "mule.ply", process=False)
    truth = json.loads((demo_folder() / "mule.json").read_text(encoding="utf-8"))
    withers = np.array(truth["T_scan_body"]) @ [*truth["withers_top"], 1.0]
    mesh.vertices = mesh.vertices * PER_METRE[unit]
    scan, marks = folder / "back.ply", folder / "marks.json"
    mesh.export(scan)
    marks.write_text(json.dumps({"withers": [list(withers[:3] * marks_per_metre)]}))
    return ScanFile(scan, unit=unit, marks=marks)


@pytest.mark.parametrize("unit", PER_METRE)
def test_a_mark_lands_in_the_same_place_in_every_unit(tmp_path: Path, unit: Unit) -> None:
    file = written(tmp_path, unit, marks_per_metre=PER_METRE[unit])
    _, back = read_back(file)
    truth = json.loads((demo_folder() / "mule.json").read_text(encoding="utf-8"))
    withers = np.array(truth["T_scan_body"]) @ [*truth["withers_top"], 1.0]
    found = back.marks["withers"]
    assert found.source == "marked"
    told = back.T_body_scan @ withers
    # The file keeps single precision; the mark may be carried onto the smoothed skin.
    np.testing.assert_allclose(found.points[0], told[:3], atol=0.010)


def test_marks_in_another_unit_than_the_scan_are_refused(tmp_path: Path) -> None:
    file = written(tmp_path, "mm", marks_per_metre=1.0)
    with pytest.raises(BadSettings, match='mark "withers" lies off the scan; give marks in'):
        read_back(file)
