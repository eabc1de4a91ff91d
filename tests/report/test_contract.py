"""`fit.json` against its schema, and the edge where SI becomes mm, kPa and cm2."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import jsonschema
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fitsim.errors import BadSettings
from fitsim.report.contract import contract, pose, write_contract
from tests.build import small_fitset

if TYPE_CHECKING:
    from fitsim.study.fit import FitSet

SCHEMA = json.loads(
    (Path(__file__).parents[2] / "docs" / "fit.schema.json").read_text(encoding="utf-8")
)
RELATIVE = 1e-6  # seven significant digits are written


@pytest.fixture(scope="module")
def fitset() -> FitSet:
    return small_fitset(unstable=("front",))


@pytest.fixture(scope="module")
def document(fitset: FitSet) -> dict[str, Any]:
    return contract(fitset)


def faults(document: dict[str, Any]) -> list[str]:
    """Every way in which the document breaks the schema."""
    validator = jsonschema.Draft202012Validator(SCHEMA)
    return [f"{fault.json_path}: {fault.message}" for fault in validator.iter_errors(document)]


def test_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_document_is_valid_and_survives_the_file(
    fitset: FitSet, document: dict[str, Any], tmp_path: Path
) -> None:
    write_contract(fitset, tmp_path / "fit.json")
    read = json.loads((tmp_path / "fit.json").read_text(encoding="utf-8"))
    assert faults(read) == []
    assert read == document
    assert [file.name for file in tmp_path.iterdir()] == ["fit.json"]


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("schema",), 2),
        (("scan", "sha256"), "not a hash"),
        (("scan", "unit"), "furlong"),
        (("extra",), 1),
        (("cases", "rear", "peak_kpa"), -1.0),
        (("cases", "rear", "peak"), 1.0),
        (("cases", "rear", "share", "front"), 1.2),
        (("cases", "rear", "pose", "dx_mm"), None),
        (("cases", "gallop"), {"equilibrium": False, "leaves": "rolls left", "residual": 1.0}),
        (("cases", "front", "peak_kpa"), 12.0),
        (("back", "marks", "spine", "source"), "guessed"),
        (("back", "frame"), [[1, 0, 0, 0]]),
    ],
)
def test_schema_refuses(document: dict[str, Any], path: tuple[str, ...], value: object) -> None:
    broken = copy.deepcopy(document)
    inner = broken
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    assert faults(broken)


def test_case_that_does_not_hold_carries_no_numbers(document: dict[str, Any]) -> None:
    assert document["cases"]["front"].keys() == {"equilibrium", "leaves", "residual"}
    assert document["cases"]["front"]["leaves"] == "tips forward"


def test_units_at_the_edge(fitset: FitSet, document: dict[str, Any]) -> None:
    case, measures = document["cases"]["rider"], fitset.fits["rider"].measures
    assert measures is not None
    assert case["peak_kpa"] == pytest.approx(measures.peak / 1e3, rel=RELATIVE)
    assert case["area_cm2"] == pytest.approx(measures.area * 1e4, rel=RELATIVE)
    assert case["hotspots"][0]["x_mm"] == pytest.approx(measures.hotspots[0].x * 1e3, rel=RELATIVE)
    assert case["rocking"]["deg_per_nm"] == pytest.approx(np.degrees(0.0009), rel=RELATIVE)
    assert document["pad"]["thickness_mm"] == pytest.approx(20.0, rel=RELATIVE)
    assert document["back"]["marks"]["withers"]["sd_mm"] == pytest.approx(5.0, rel=RELATIVE)
    assert document["tree"]["bar_length_mm"]["left"] == pytest.approx(560.0, rel=RELATIVE)


@pytest.mark.parametrize("angles", [(3.0, 0.0, 0.0), (0.0, -4.0, 0.0), (2.0, 5.0, -7.0)])
def test_pose_is_undone_by_its_own_definition(
    fitset: FitSet, angles: tuple[float, float, float]
) -> None:
    """An independent rotation library composes what `pose` takes apart."""
    from dataclasses import replace

    roll, pitch, yaw = angles
    seat, rest = np.eye(4), np.eye(4)
    seat[:3, :3] = Rotation.from_euler("xyz", (10.0, -3.0, 2.0), degrees=True).as_matrix()
    turn = Rotation.from_euler("ZYX", (yaw, pitch, roll), degrees=True).as_matrix()
    rest[:3, :3] = turn @ seat[:3, :3]
    rest[:3, 3] = (0.001, -0.002, -0.012)
    found = pose(replace(fitset.fits["rear"].equilibrium, T_body_tree=rest, T_body_tree_seat=seat))
    expected = {"dx_mm": 1.0, "dy_mm": -2.0, "dz_mm": -12.0}
    expected |= {"roll_deg": roll, "pitch_deg": pitch, "yaw_deg": yaw}
    assert found == pytest.approx(expected, abs=1e-9)


def test_pitch_is_positive_when_the_front_goes_down() -> None:
    front, rear = (contract(small_fitset())["cases"][name]["pose"] for name in ("front", "rear"))
    assert front["pitch_deg"] > 0 > rear["pitch_deg"]


def test_unwritable_place_is_one_sentence(fitset: FitSet, tmp_path: Path) -> None:
    with pytest.raises(BadSettings, match="cannot be written"):
        write_contract(fitset, tmp_path / "missing" / "fit.json")
