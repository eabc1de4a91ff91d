"""The two PDF files as a printer and a reader meet them: sizes, words, edges, the same bytes."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pypdfium2
import pytest
from PIL import Image

from fitsim.report.contract import CAUTIONS
from fitsim.report.pdf import MARGIN, write_pdfs
from fitsim.report.verdict import verdict_of
from fitsim.workshop.paper import SHEETS
from tests.build import small_fitset
from tests.search.test_sure import made_up

if TYPE_CHECKING:
    from pathlib import Path

    from fitsim.study.fit import FitSet
    from fitsim.units import System
    from fitsim.workshop.paper import Paper

POINT = 0.0254 / 72.0  # m
FILES = ("summary.pdf", "report.pdf")


def told(unstable: tuple[str, ...] = ()) -> FitSet:
    fitset = small_fitset(unstable=unstable)
    return replace(fitset, sure=made_up(), tree=replace(fitset.tree, name="Größe <3> & co"))


def sheets(folder: Path) -> dict[str, Path]:
    """Stand-ins for the pictures: what matters here is where they land."""
    found = {}
    for case in ("front", "rear", "both", "rider"):
        found[case] = folder / f"{case}.png"
        Image.new("RGB", (1720, 1210), "navy").save(found[case])
    return found


def written(folder: Path, paper: Paper = "a4", system: System = "metric") -> Path:
    write_pdfs(told(("front",)), folder, sheets(folder), paper=paper, system=system)
    return folder


def words(path: Path) -> str:
    """All text of all pages, lines and odd spaces joined."""
    pages = [page.get_textpage().get_text_bounded() for page in pypdfium2.PdfDocument(str(path))]
    return " ".join(" ".join(pages).split())


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_pages_have_their_size_and_nothing_passes_the_margins(paper: Paper, tmp_path: Path) -> None:
    written(tmp_path, paper)
    for name in FILES:
        document = pypdfium2.PdfDocument(str(tmp_path / name))
        assert len(document) == 1 if name == "summary.pdf" else 2 < len(document) < 8
        for page in document:
            size = np.array(page.get_size()) * POINT
            np.testing.assert_allclose(size, SHEETS[paper], atol=1e-4)
            ink = np.asarray(page.render(scale=1.0).to_pil().convert("L")) < 250
            across, down = np.flatnonzero(ink.any(axis=0)), np.flatnonzero(ink.any(axis=1))
            # a point for rounding to dots; letters hang 2 points below the foot's line
            assert across[0] >= MARGIN - 1
            assert across[-1] <= page.get_width() - MARGIN + 1
            assert down[0] >= MARGIN - 1
            assert down[-1] <= page.get_height() - MARGIN + 3


@pytest.mark.parametrize(
    ("system", "unit", "other"), [("metric", "kPa", "psi"), ("inch", "psi", "kPa")]
)
def test_words_numbers_and_cautions_are_there_in_the_units_asked(
    system: System, unit: str, other: str, tmp_path: Path
) -> None:
    written(tmp_path, system=system)
    fitset = told(("front",))
    for name in FILES:
        text = words(tmp_path / name)
        assert "Größe <3> & co on" in text
        assert " ".join(verdict_of(fitset, system).sits.split()) in text
        assert all(caution in text for caution in CAUTIONS)
        assert unit in text
        assert other not in text
        assert "does not stay" in text or name == "report.pdf"
        assert "plausible backs" in text
        assert fitset.back.provenance.sha256[:12] in text
    whole = words(tmp_path / "report.pdf").replace(" ", "")
    assert fitset.back.provenance.sha256 in whole
    assert "numpy" in whole
    assert "Howitwascomputed" in whole


def test_the_same_fit_gives_the_same_bytes(tmp_path: Path) -> None:
    first, second = tmp_path / "a", tmp_path / "b"
    for folder in (first, second):
        folder.mkdir()
        written(folder)
    for name in FILES:
        assert (first / name).read_bytes() == (second / name).read_bytes()


def test_a_tree_that_never_stays_is_told_so_on_one_page(tmp_path: Path) -> None:
    lost = told(("front", "rear", "both", "rider"))
    write_pdfs(lost, tmp_path, sheets(tmp_path))
    assert len(pypdfium2.PdfDocument(str(tmp_path / "summary.pdf"))) == 1
    assert "Does not stay" in words(tmp_path / "summary.pdf")


def test_long_words_take_a_second_page_and_are_not_cut(tmp_path: Path) -> None:
    fitset = told()
    cautions = tuple(f"Caution number {number} " + "of many words " * 12 for number in range(40))
    fitset = replace(fitset, back=replace(fitset.back, cautions=cautions))
    write_pdfs(fitset, tmp_path, sheets(tmp_path))
    assert "Caution number 39" in words(tmp_path / "summary.pdf")
