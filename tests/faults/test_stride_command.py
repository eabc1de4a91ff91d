"""`fitsim stride` on bad input: exit code 3, one sentence to act on, and nothing left behind."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from fitsim.back.motion.gait import read_gait
from fitsim.cli import main
from fitsim.demo import demo_folder
from fitsim.errors import BadSettings
from fitsim.study.stride import require_phases

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--gait", "moonwalk"], ("moonwalk", "use walk, single-foot, trot, canter")),
        (["--phases", "3"], ("3 moments", "8 to 240")),
        (["--phases", "100000"], ("100000 moments", "8 to 240")),
        (["--tree", "no-such-tree"], ("no-such-tree",)),
        (["--load", "no-such-load"], ("no-such-load",)),
        (["--case", "pack"], ("pack", "use front, rear, both, rider")),
        (["--case", "rider", "--load", "none"], ("rider", "use front, rear, both.")),
    ],
)
def test_one_sentence_before_any_work(
    options: list[str], words: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    with pytest.raises(SystemExit) as left:
        main(["stride", str(demo_folder() / "mule.ply"), *options, "-o", str(out), "--quiet"])
    assert left.value.code == 3
    said = capsys.readouterr()
    assert said.out == ""
    assert len(said.err.strip().splitlines()) == 1
    for word in words:
        assert word in said.err
    assert not out.exists()


def test_a_file_in_the_way(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "taken").write_text("mine")
    with pytest.raises(SystemExit) as left:
        main(["stride", str(demo_folder() / "mule.ply"), "-o", str(tmp_path / "taken")])
    assert left.value.code == 3
    assert "a file is in the way" in capsys.readouterr().err
    assert (tmp_path / "taken").read_text() == "mine"


def test_not_a_number_of_moments(tmp_path: Path) -> None:
    with pytest.raises(SystemExit) as left:
        main(["stride", "back.ply", "--phases", "many", "-o", str(tmp_path / "out")])
    assert left.value.code == 2


@pytest.mark.parametrize("phases", [-1, 0, 7, 241])
def test_phases_that_make_no_stride(phases: int) -> None:
    with pytest.raises(BadSettings, match="do not make a stride"):
        require_phases(phases)


@pytest.mark.parametrize("name", ["", "Walk", "gallop", "trot "])
def test_a_gait_must_be_one_that_is_known(name: str) -> None:
    with pytest.raises(BadSettings, match="no gait is called"):
        read_gait(name)
