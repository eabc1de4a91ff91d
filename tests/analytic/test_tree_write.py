"""A tree file that is written reads back as the same tree."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from fitsim.errors import BadSettings
from fitsim.tree.adjust import adjusted
from fitsim.tree.library import library_names
from fitsim.tree.read import read_tree
from fitsim.tree.write import write_tree
from tests.build import small_tree

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize("name", library_names())
def test_library_tree_reads_back_the_same(name: str, tmp_path: Path) -> None:
    tree = read_tree(name)
    write_tree(tree, tmp_path / "tree.toml")
    assert read_tree(tmp_path / "tree.toml").settings == tree.settings


def test_odd_numbers_read_back_to_a_nanometre(tmp_path: Path) -> None:
    spread, angle = 0.0561234567, 0.5012345678
    tree = adjusted(
        read_tree("riding-middle"),
        {"arches.front.spread": spread, "arches.front.angle": angle, "arches.flex": 512.3},
    )
    write_tree(tree, tmp_path / "tree.toml", about="found by a search")
    front = read_tree(tmp_path / "tree.toml").settings["arches"]["front"]
    assert front["spread"] == pytest.approx(spread, abs=1e-9)  # nine digits are written
    assert front["angle"] == pytest.approx(angle, abs=1e-9)
    assert 'about = "found by a search"' in (tmp_path / "tree.toml").read_text()


def test_tree_from_a_mesh_has_no_settings_to_write(tmp_path: Path) -> None:
    with pytest.raises(BadSettings, match="came from a mesh and has no settings"):
        write_tree(replace(small_tree(), settings={}), tmp_path / "tree.toml")
    assert not list(tmp_path.iterdir())
