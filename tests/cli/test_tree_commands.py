"""`fitsim tree` and `fitsim template` as people call them."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
import trimesh
from click.testing import CliRunner

from fitsim.cli import cli
from fitsim.errors import BadSettings
from fitsim.tree.read import read_tree
from fitsim.workshop.write import FILES
from tests.fits import SCANS

if TYPE_CHECKING:
    from pathlib import Path


def run(*words: str) -> str:
    result = CliRunner().invoke(cli, words, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


def test_template_writes_what_it_names(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    said = run("template", "pack-fixed", "-o", str(folder), "--station", "200", "--units", "inch")
    assert {path.name for path in folder.iterdir()} == set(FILES)
    assert all(str(folder / name) in said for name in FILES)
    assert "22.047 in (22 1/16)" in said
    assert "hold a rule" in said
    assert "200 mm behind the front tip" in (folder / "dimensions.csv").read_text()


def test_mesh_becomes_settings_and_says_what_is_left(tmp_path: Path) -> None:
    tree = read_tree("riding-middle")
    mesh, file = tmp_path / "tree.stl", tmp_path / "fitted.toml"
    trimesh.Trimesh(1e3 * tree.vertices, tree.triangles, process=False).export(mesh)
    said = json.loads(run("tree", str(mesh), "-o", str(file), "--json", "--quiet"))
    assert said["fitted"]["rms_mm"] < 0.1
    assert any("mm off the mesh's undersides" in note for note in said["notes"])
    assert read_tree(file).settings["bar"]["length"] == pytest.approx(0.56, abs=5e-4)  # type: ignore[index]


def test_a_tree_of_the_library_can_be_taken_home_and_drawn(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    said = run("tree", "riding-flat", "-o", str(file))
    assert "Riding tree, flatter and straighter bar" in said
    assert read_tree(file).settings == read_tree("riding-flat").settings


def test_nothing_is_written_for_a_bad_station(tmp_path: Path) -> None:
    words = ("template", "pack-fixed", "-o", str(tmp_path / "out"), "--station", "900 mm")
    with pytest.raises(BadSettings, match="station 900 mm"):
        CliRunner().invoke(cli, words, catch_exceptions=False)
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_grown_tree_is_written_and_said(tmp_path: Path) -> None:
    file = tmp_path / "grown.toml"
    scan = str(SCANS["mule"][0])
    said = json.loads(run("grow", scan, "--spacing", "16", "-o", str(file), "--json", "--quiet"))
    assert said["rms_mm"] < said["rms_before_mm"]
    front = read_tree(file).settings["arches"]["front"]["angle"]  # type: ignore[index]
    assert front == pytest.approx(said["changes_si"]["arches.front.angle"])


@pytest.mark.slow
def test_template_on_a_scan_says_what_it_tried(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    words = ("template", "riding-narrow", "--on", str(SCANS["mule"][0]), "--spacing", "16")
    more = ("--load", "none", "--against", "riding-wide", "--json", "--quiet")
    said = json.loads(run(*words, *more, "-o", str(folder)))
    found = said["take_off"]
    assert found["case"] == "both"
    assert found["peak_after_kpa"] < found["peak_before_kpa"]
    assert said["against"]["rms_mm"] > 1.0
    assert {path.name for path in folder.iterdir()} == {*FILES, "against.png", "take-off.csv"}
    rows = (folder / "take-off.csv").read_text().splitlines()
    assert rows[0].endswith("take_off_mm,or_shim_mm")
    deepest = max(float(row.split(",")[3]) for row in rows[1:])
    most = max(found["deepest_mm"].values())
    assert deepest == pytest.approx(most, abs=0.3)  # rows lie 10 mm apart, to 0.1 mm
