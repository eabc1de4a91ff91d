"""`fitsim change` on two scans of the demo's mule."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from fitsim.cli import main
from fitsim.demo import demo_folder

if TYPE_CHECKING:
    from pathlib import Path


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as left:
        main(["change", *arguments, "--quiet"])
    return int(left.value.code or 0)


@pytest.mark.slow
def test_a_scan_against_itself(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mule = str(demo_folder() / "mule.ply")
    picture = tmp_path / "change.png"
    assert run(mule, mule, "--spacing", "20 mm", "--json", "-o", str(picture)) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["patches"] == []
    assert not any(zone["sure"] for zone in facts["zones"].values())
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_a_missing_scan_is_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    mule = str(demo_folder() / "mule.ply")
    assert run("no-such.ply", mule) == 3
    assert capsys.readouterr().err.strip().count("\n") == 0
