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
