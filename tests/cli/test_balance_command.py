"""`fitsim balance` and the slope options."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from fitsim.cli import cli
from tests.fits import ROOT

if TYPE_CHECKING:
    from pathlib import Path

MULE = str(ROOT / "meshes" / "mule.ply")


def test_help_names_an_example() -> None:
    said = CliRunner().invoke(cli, ["balance", "--help"])
    assert said.exit_code == 0
    assert "fitsim balance back.ply" in said.output


@pytest.mark.parametrize("slope", ["60", "60 deg", "-50", "steep"])
def test_a_slope_too_steep_is_refused(slope: str) -> None:
    said = CliRunner().invoke(cli, ["fit", MULE, "--slope", slope])
    assert said.exit_code == 2
    assert "45 deg at most" in said.output or "steep" in said.output


@pytest.mark.slow
def test_table_chart_and_data(tmp_path: Path) -> None:
    out = tmp_path / "out"
    arguments = ["balance", MULE, "--spacing", "16", "--side-slope", "12", "-o", str(out), "--json"]
    said = CliRunner().invoke(cli, [*arguments, "--quiet"])
    assert said.exit_code == 0, said.output
    facts = json.loads(said.stdout)
    assert facts["rows"][2][1]["side_slope_deg"] == 12.0
    assert json.loads((out / "balance.json").read_text(encoding="utf-8")) == facts
    from PIL import Image

    with Image.open(out / "balance.png") as chart:
        assert chart.getextrema() != ((250, 250), (248, 248), (244, 244))  # not bare paper
