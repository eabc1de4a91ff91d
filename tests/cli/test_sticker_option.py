"""`--stickers` on the command line: what colours mean, or one sentence."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from fitsim.cli import main
from fitsim.demo import demo_folder
from fitsim.report.scan_file import write_scan
from tests.stuck import PLACES, stuck

if TYPE_CHECKING:
    from pathlib import Path


def test_a_wrong_meaning_is_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["scan", str(demo_folder() / "mule.ply"), "--stickers", "orange=spine"])
    assert left.value.code == 3
    said = capsys.readouterr().err.strip()
    assert said.startswith('--stickers: "orange=spine"')
    assert "\n" not in said


@pytest.mark.slow
def test_scan_uses_stickers_unasked_and_as_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "mule.ply"
    write_scan(stuck(PLACES), file)
    sources = {}
    for told in (None, "none", "green=fat pocket"):
        option = [] if told is None else ["--stickers", told]
        with pytest.raises(SystemExit):
            main(["scan", str(file), "--unit", "m", "--json", "--quiet", *option])
        back = json.loads(capsys.readouterr().out)["back"]
        sources[told] = {name for name, one in back["marks"].items() if one["source"] == "sticker"}
        assert (back["stickers"] == []) is (told == "none")
    assert {"spine", "withers", "scapula_edge_left", "last_rib_right"} <= sources[None]
    assert sources["none"] == set()
    assert not sources["green=fat pocket"] & sources[None]
