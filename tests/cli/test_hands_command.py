"""`fitsim hands` from the command line: words, JSON, files, and refusals."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner
from PIL import Image

from fitsim.commands.hands import hands
from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from click.testing import Result

MULE = str(Path(__file__).resolve().parents[2] / "meshes" / "mule.ply")
COARSE = ("--spacing", "24 mm", "--quiet", "--unit", "m")


def run(*words: str) -> Result:
    return CliRunner().invoke(hands, words, catch_exceptions=False)


def test_words_json_and_picture_agree(tmp_path: Path) -> None:
    out = tmp_path / "out"
    said = run(MULE, *COARSE, "-o", str(out))
    assert said.exit_code == 0
    assert "Laid on, not cinched" in said.output
    assert "veterinarian" in said.output
    facts = json.loads((out / "hands.json").read_text())
    laid, both = facts["cases"]["laid"], facts["cases"]["both"]
    # the cinches hold it down: every test takes more
    assert both["lift_rear"]["force_n"] > laid["lift_rear"]["force_n"] > 0.0
    for side in ("left", "right"):
        assert both["hand_under"][side]["push_n"] > laid["hand_under"][side]["push_n"]
        assert both["pull_fork"][side]["force_n"] > laid["pull_fork"][side]["force_n"]
    assert f"{both['lift_rear']['force_n']:.0f}\N{NO-BREAK SPACE}N" in said.output
    with Image.open(out / "hands.png") as picture:
        assert len(picture.convert("L").getcolors() or [0] * 256) > 50


def test_a_file_in_the_way_is_said_before_the_work(tmp_path: Path) -> None:
    in_the_way = tmp_path / "file"
    in_the_way.write_text("mine")
    with pytest.raises(BadSettings, match="a file is in the way"):
        run(MULE, *COARSE, "-o", str(in_the_way))
    assert in_the_way.read_text() == "mine"
