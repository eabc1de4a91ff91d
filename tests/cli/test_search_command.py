"""`fitsim search` and `fitsim sizes` as they are typed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from fitsim.cli import main
from fitsim.tree.read import read_tree

if TYPE_CHECKING:
    from collections.abc import Sequence

MULE = str(Path(__file__).resolve().parents[2] / "meshes" / "mule.ply")
PONY = str(Path(__file__).resolve().parents[2] / "meshes" / "broad_pony.ply")


def code_of(arguments: Sequence[str]) -> object:
    with pytest.raises(SystemExit) as stopped:
        main(arguments)
    return stopped.value.code


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--vary", "front-spraed"], "did you mean 'front-spread'"),
        (["--vary", "curve=3..1 mm"], "its first limit is not below its second"),
        (["--care", "beauty=2"], "there is no such goal"),
        (["--care", "shoulder=-2"], "has no weight above 0"),
        (["--tree", "no-such-tree"], "no such tree"),
    ],
)
def test_a_search_that_makes_no_sense_is_refused_before_the_scan_is_read(
    more: list[str], says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    output = tmp_path / "out"
    assert code_of(["search", "no-such-scan.ply", *more, "-o", str(output)]) == 3
    assert says in capsys.readouterr().err
    assert not output.exists()


def test_a_folder_without_scans_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert code_of(["sizes", str(tmp_path)]) == 3
    assert "there is no scan in this folder" in capsys.readouterr().err


@pytest.mark.slow
def test_search_from_scan_to_tree_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    command = ["search", MULE, "--vary", "at", "--vary", "curve", "--trials", "24", "--backs", "2",
               "--spacing", "20", "--json", "-o", str(tmp_path)]  # fmt: skip
    assert code_of(command) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["answer"]["score"] <= told["start"]["score"]
    assert told == json.loads((tmp_path / "search.json").read_text())
    tree = read_tree(tmp_path / "tree.toml")
    curve = tree.settings["bar"]["curve"]["sagitta"]  # type: ignore[index]
    assert 1e3 * curve == pytest.approx(told["answer"]["settings"]["curve_mm"])
    assert (tmp_path / "trade-off.png").read_bytes()[:4] == b"\x89PNG"
    assert code_of(command) == 0  # every trial is known: nothing is solved again
    assert json.loads(capsys.readouterr().out) == told
    assert code_of([*command, "--seed", "2"]) == 3
    assert code_of([*command, "--backs", "3"]) == 3  # other draws: the trials are of other backs


@pytest.mark.slow
def test_sizes_of_two_animals_and_a_scan_that_is_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "broken.ply").write_text("ply\n")
    command = ["sizes", MULE, PONY, str(tmp_path), "--tried", "4", "--spacing", "20", "--json"]
    assert code_of(command) == 0
    told = json.loads(capsys.readouterr().out)
    assert [animal["name"] for animal in told["animals"]] == ["mule", "broad_pony"]
    assert list(told["skipped"]) == [str(tmp_path / "broken.ply")]
    assert len(told["sizes"]) == 4
    assert told["fewest"]["left_out"] == []
