"""The sentences in docs/scan-files.md are the ones a user sees."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.errors import BadScan
from fitsim.scan.clean import cleaned
from fitsim.scan.read import read_scan
from tests.trunk import scan_of, sheet, trunk

if TYPE_CHECKING:
    from collections.abc import Callable

DOCS = Path(__file__).resolve().parents[2] / "docs" / "scan-files.md"


def _mesh(scale: float = 1.0, kind: str = "ply") -> bytes:
    mesh = trunk()
    mesh.vertices = mesh.vertices.round(4) * scale
    return mesh.export(file_type=kind)


def _with_nan() -> bytes:
    mesh = trunk()
    mesh.vertices[[400, 5000]] = np.nan
    return mesh.export(file_type="ply")


SPOILT: dict[str, Callable[[], bytes]] = {
    "empty.ply": lambda: b"",
    "cut.ply": lambda: _mesh()[: len(_mesh()) // 2],
    "named.ply": lambda: _mesh(kind="stl"),
    "letter.docx": lambda: b"words",
    "few.xyz": lambda: "\n".join(f"0 0 {n}" for n in range(50)).encode(),
    "nan.ply": _with_nan,
    "mm.ply": lambda: _mesh(1000.0),
    "inch-or-cm.ply": lambda: _mesh(1.0 / 0.0254),
    "statue.ply": lambda: _mesh(0.1),
    "room.ply": lambda: sheet([0, 0, 0], [3, 0, 0], [0, 3, 0], 40).export(file_type="ply"),
}


@pytest.mark.parametrize("name", SPOILT)
def test_the_page_says_what_the_program_says(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(SPOILT[name]())
    with pytest.raises(BadScan) as caught:
        cleaned(read_scan(tmp_path / name, unit="m" if name == "mm.ply" else None))
    sentence = str(caught.value)
    assert f"`{sentence}`" in DOCS.read_text(encoding="utf-8"), sentence


def test_the_page_says_what_cleaning_says() -> None:
    floor = sheet([-1.2, -2.0, 0.2], [4.0, 0.0, 0.0], [0.0, 4.0, 0.0], 60)
    faces = np.r_[trunk().faces[:, ::-1], floor.faces + len(trunk().vertices)]
    scan = cleaned(scan_of(np.r_[trunk().vertices, floor.vertices], faces))
    text = " ".join(DOCS.read_text(encoding="utf-8").split())
    assert len(scan.provenance.notes) == 2
    for note in scan.provenance.notes:
        assert note in text, note
