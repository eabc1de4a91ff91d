"""A scan that a viewer brings with stickers on it: the app uses and tells them unasked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitsim.app.page import screen
from fitsim.app.sessions import placed
from fitsim.report.scan_file import write_scan
from fitsim.study.job import ScanFile
from tests.stuck import PLACES, stuck

if TYPE_CHECKING:
    from pathlib import Path


def test_stickers_are_marks_in_the_app(tmp_path: Path) -> None:
    write_scan(stuck(PLACES), tmp_path / "mule.ply")
    place = placed(ScanFile(tmp_path / "mule.ply", "m"))
    shown = screen(place, "metric")
    assert any(str(note).startswith("Marked by stickers or chalk") for note in shown["notes"])  # type: ignore[attr-defined]
    assert any("veterinarian" in str(said) for said in shown["cautions"])  # type: ignore[attr-defined]
    assert place.bench.back.marks["withers"].source == "sticker"
