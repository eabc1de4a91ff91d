"""One rule for all settings files: no quantity without its unit, whatever the number."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from fitsim.errors import BadSettings
from fitsim.rig.read import read_load, read_pad, read_rig
from fitsim.tree.build import tree_from_settings
from fitsim.tree.library import library_names, library_text
from fitsim.tree.read import read_tree, settings_from

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

DOCS = Path(__file__).parents[2] / "docs"
READERS = {"rig": read_rig, "pad": read_pad, "load": read_load}
QUANTITY = re.compile(r'"(-?[\d.]+) [A-Za-z*/]+"')


def files() -> Iterator[tuple[str, Callable[[Path], object]]]:
    """Every file that comes along or stands in the docs, with what reads it."""
    for name in library_names():
        yield library_text(name), read_tree
    for block in re.findall(r"```toml\n(.*?)```", (DOCS / "rig-file.md").read_text(), re.DOTALL):
        yield block, READERS[block.split()[1]]


FILES = [pytest.param(*one, id=f"{one[1].__name__}-{k}") for k, one in enumerate(files())]


@pytest.mark.parametrize(("text", "read"), FILES)
def test_a_bare_number_is_refused_wherever_a_quantity_stands(
    text: str, read: Callable[[Path], object], tmp_path: Path
) -> None:
    path = tmp_path / "mine.toml"
    quantities = list(QUANTITY.finditer(text))
    assert quantities
    for k, found in enumerate(quantities):
        number = "0" if k % 3 == 0 else found[1]
        path.write_text(text[: found.start()] + number + text[found.end() :], encoding="utf-8")
        with pytest.raises(BadSettings, match=rf"mine\.toml, .+: {number} has no unit; write it"):
            read(path)


def tree_page(language: str) -> list[str]:
    """Code blocks of docs/tree-file.md."""
    page = (DOCS / "tree-file.md").read_text(encoding="utf-8")
    return re.findall(rf"```{language}\n(.*?)```", page, re.DOTALL)


@pytest.mark.parametrize("axis", [None, "along", "across"])
def test_examples_of_the_tree_page_are_right(axis: str | None, tmp_path: Path) -> None:
    tree, openings, pivot = tree_page("toml")
    path = tmp_path / "tree.toml"
    swaps = {None: "", "along": pivot, "across": pivot.replace('"along"', '"across"\nat = "25 cm"')}
    path.write_text(f"{tree}\n{swaps[axis]}", encoding="utf-8")
    bars = read_tree(path).bars
    assert [len(bar.joints) for bar in bars] == [0 if axis is None else 1] * 2
    path.write_text(f"{tree}\n{openings}\n{swaps[axis]}", encoding="utf-8")
    pierced = read_tree(path)
    assert {len(pierced.settings["bar"][one]) for one in ("pocket", "slot", "notch")} == {1}  # type: ignore[index]


def test_sentences_of_the_tree_page_are_the_ones_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tree, _, pivot = tree_page("toml")
    monkeypatch.chdir(tmp_path)
    told = []
    for was, becomes in (
        ('length = "560 mm"', "length = 560"),
        ('length = "560 mm"', 'lenght = "560 mm"'),
        ('axis = "along"', 'axis = "across"'),
    ):
        Path("tree.toml").write_text(f"{tree}\n{pivot}".replace(was, becomes, 1), encoding="utf-8")
        with pytest.raises(BadSettings) as caught:
            read_tree("tree.toml")
        told.append(str(caught.value))
    assert tree_page("text")[0].splitlines() == told


@pytest.mark.parametrize("name", library_names())
def test_programs_hand_settings_over_in_si(name: str) -> None:
    tree = read_tree(name)
    again = tree_from_settings(settings_from(tree.settings), "again")
    assert again.settings == tree.settings
    assert (again.vertices == tree.vertices).all()


def test_a_program_that_hands_over_no_number_is_told() -> None:
    settings = read_tree("pack-fixed").settings
    with pytest.raises(BadSettings, match="mass: nan is not a finite number"):
        settings_from(settings | {"mass": float("nan")})
    with pytest.raises(BadSettings, match="mass: None is no mass"):
        settings_from(settings | {"mass": None})
    with pytest.raises(BadSettings, match="mass: -1 kg is zero or negative; give a positive value"):
        settings_from(settings | {"mass": -1.0})
