"""Files appear whole or not at all."""

from __future__ import annotations

import os
import stat
import sys
from typing import TYPE_CHECKING

import pytest

from fitsim.errors import BadSettings
from fitsim.files import output_folder, whole_file, whole_folder, write_text

if TYPE_CHECKING:
    from pathlib import Path


def names(folder: Path) -> list[str]:
    return sorted(file.name for file in folder.iterdir())


def test_the_target_is_untouched_until_the_end(tmp_path: Path) -> None:
    target = tmp_path / "table.csv"
    target.write_text("old")
    with whole_file(target) as draft:
        draft.write_text("new")
        assert draft.suffix == ".csv"
        assert target.read_text() == "old"
    assert target.read_text() == "new"
    assert names(tmp_path) == ["table.csv"]


@pytest.mark.parametrize("stop", [KeyboardInterrupt, ValueError])
def test_an_interrupt_leaves_the_old_file(tmp_path: Path, stop: type[BaseException]) -> None:
    write_text(tmp_path / "a.txt", "old")
    with pytest.raises(stop), whole_file(tmp_path / "a.txt") as draft:
        draft.write_text("half")
        raise stop("now")
    assert (tmp_path / "a.txt").read_text() == "old"
    assert names(tmp_path) == ["a.txt"]


@pytest.mark.parametrize("stop", [KeyboardInterrupt, ValueError])
def test_an_interrupt_leaves_no_new_folder(tmp_path: Path, stop: type[BaseException]) -> None:
    with pytest.raises(stop), whole_folder(tmp_path / "deep" / "out") as draft:
        (draft / "a.txt").write_text("half")
        raise stop("now")
    assert names(tmp_path) == []


def test_a_folder_keeps_what_is_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("kept")
    (tmp_path / "a.txt").write_text("old")
    with whole_folder(tmp_path) as draft:
        (draft / "a.txt").write_text("new")
    assert names(tmp_path) == ["a.txt", "mine.txt"]
    assert (tmp_path / "a.txt").read_text() == "new"


@pytest.mark.skipif(sys.platform == "win32", reason="permissions are POSIX")
def test_permissions_are_those_of_any_new_file(tmp_path: Path) -> None:
    write_text(tmp_path / "a.txt", "text")
    (tmp_path / "plain.txt").write_text("text")
    modes = {stat.S_IMODE(os.stat(file).st_mode) for file in tmp_path.iterdir()}  # noqa: PTH116
    assert len(modes) == 1


def test_text_is_written_as_given(tmp_path: Path) -> None:
    write_text(tmp_path / "a.txt", "å\n1\r\n")
    assert (tmp_path / "a.txt").read_bytes() == "å\n1\r\n".encode()


def test_places_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(BadSettings, match=r"no such file or directory\); choose another folder"):
        write_text(tmp_path / "missing" / "a.txt", "")
    with pytest.raises(BadSettings, match="a file is in the way"):
        output_folder(tmp_path / "file")
    with pytest.raises(BadSettings, match="a file is in the way"), whole_folder(tmp_path / "file"):
        pass
