"""`fitsim cinches` from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from fitsim.commands.cinches import cinches

MULE = str(Path(__file__).resolve().parents[2] / "meshes" / "mule.ply")


@pytest.mark.slow
def test_words_data_and_chart_agree(tmp_path: Path) -> None:
    out = tmp_path / "out"
    words = [MULE, "--spacing", "24 mm", "--unit", "m", "--steps", "4", "--quiet", "-o", str(out)]
    said = CliRunner().invoke(cinches, words, catch_exceptions=False)
    assert said.exit_code == 0, said.output
    facts = json.loads((out / "cinches.json").read_text())
    assert facts["case"] == "both"  # no load unless one is asked for
    assert len(facts["front_n"]) == 4
    assert facts["front_n"][-1] == 400.0
    assert all(len(rows) == 4 == len(rows[0]) for rows in facts["measures"].values())
    assert len((out / "cinches.csv").read_text().splitlines()) == 1 + 16
    assert (out / "cinches.png").stat().st_size > 20_000
    assert "veterinarian" in said.output
    assert "As the rig is now" in said.output


@pytest.mark.parametrize("words", [("--steps", "1"), ("--steps", "many"), ("--most", "-5")])
def test_senseless_tensions_are_a_question_of_usage(words: tuple[str, str]) -> None:
    said = CliRunner().invoke(cinches, [MULE, *words])
    assert said.exit_code == 2
    assert words[0] in said.output
