"""`summary.pdf`, one page for a customer, and `report.pdf`, the whole of it, both for paper.

Set with reportlab, which the templates need already and which is Python alone: layout engines that
turn HTML into PDF want system libraries or another program beside this one.
"""

from __future__ import annotations

import re
from functools import partial
from html import escape
from typing import TYPE_CHECKING, Any

from fitsim import __version__
from fitsim.draw.quantity import number, percents, shown
from fitsim.draw.words import case_title, working_fit
from fitsim.report.advice import advice, headline
from fitsim.report.contract import CAUTIONS, versions
from fitsim.report.html import comparison, mark_rows
from fitsim.report.sure import measure_next, sure_note, sure_rows
from fitsim.report.verdict import verdict_of
from fitsim.workshop.paper import SHEETS
from fitsim.workshop.printing import POINTS, register_fonts

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from fitsim.draw.quantity import System
    from fitsim.study.fit import FitSet
    from fitsim.workshop.paper import Paper

MARGIN = 42.0
"""Points, of every edge: printers at home leave some 15 unprinted."""
FOOT = 16.0
_HASH_SHOWN = 12
_LEAST = 0.25
"""Of the page's height: a smaller picture cannot be read, so long words then take a second page."""
HOW = (
    "The scan was cleaned and laid in the animal's own frame; skin, fat and "
    "muscle of average depth and stiffness were put under its surface, as layers on bone; the tree "
    "was laid on it with its pad and let come to rest under its straps and weights, with friction "
    "and without pull between tree and back, until forces and moments balance. Hardest pressure "
    "is the highest mean over a patch of 20 x 20 mm of skin."
)


def write_pdfs(
    fitset: FitSet,
    folder: Path,
    pictures: Mapping[str, Path],
    *,
    paper: Paper = "a4",
    system: System = "metric",
) -> None:
    """Write `summary.pdf` and `report.pdf`.

    Parameters
    ----------
    fitset : FitSet
        All cases of one tree on one back.
    folder : that exists.
    pictures : of case name to PNG file, see `fitsim.draw.sheet.draw_cases`.
    paper : "a4" or "letter"
    system : {"metric", "inch"}
    """
    register_fonts()
    width, height = (POINTS * side for side in SHEETS[paper])
    room = (width - 2.0 * MARGIN, height - 2.0 * MARGIN - FOOT)
    _write(fitset, folder / "summary.pdf", paper, _summary(fitset, pictures, system, room))
    _write(fitset, folder / "report.pdf", paper, _whole(fitset, pictures, system, room))


def _write(fitset: FitSet, path: Path, paper: Paper, story: list[Any]) -> None:
    """Set the flow on as many pages as it takes; the same fit gives the same bytes."""
    from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate

    width, height = (POINTS * side for side in SHEETS[paper])
    title = f"{fitset.tree.name} on {fitset.back.provenance.name}"
    document = BaseDocTemplate(str(path), pagesize=(width, height), title=title, invariant=1)
    sides = (width - 2.0 * MARGIN, height - 2.0 * MARGIN - FOOT)
    frame = Frame(MARGIN, MARGIN + FOOT, *sides, 0, 0, 0, 0)
    foot = partial(_foot, fitset)
    document.addPageTemplates(PageTemplate(frames=[frame], onPage=foot))
    document.build(story)


def _foot(fitset: FitSet, canvas: Any, document: Any) -> None:  # noqa: ANN401 - no types
    source = fitset.back.provenance
    words = f"fitsim {__version__}, scan sha256 {source.sha256[:_HASH_SHOWN]}..."
    canvas.setFont("plain", 7)
    canvas.drawString(MARGIN, MARGIN, words)
    canvas.drawRightString(document.pagesize[0] - MARGIN, MARGIN, f"page {document.page}")


def _summary(
    fitset: FitSet, pictures: Mapping[str, Path], system: System, room: tuple[float, float]
) -> list[Any]:
    """One page: verdict, the picture of the case that matters, a short table, the cautions."""
    found, working = verdict_of(fitset, system), working_fit(fitset)
    under = next(iter(pictures)) if working is None else working.case.name
    above = [*_title(fitset), _words(f"{found.word.capitalize()}. {headline(fitset)}.", "large")]
    above += [_words(found.paragraph)]
    below = [_words(f"Picture: {case_title(under).lower()}.", "small")] if under in pictures else []
    below += [_headlines(fitset, system, room[0])]
    if fitset.sure is not None:
        words, cells = sure_rows(fitset.sure, system)[0]
        below.append(_words(f"How sure: {words.lower()} {cells[-1]}. {sure_note(fitset.sure)}"))
    below += [_words("Before you rely on it", "head")]
    below += [_words(" ".join([*CAUTIONS, *fitset.back.cautions]), "small")]
    left = room[1] - sum(_height(part, room) for part in (*above, *below))
    left = max(left - 8.0, _LEAST * room[1])
    middle = [_picture(pictures[under], (room[0], left))] if under in pictures else []
    return [*above, *middle, *below]


def _whole(
    fitset: FitSet, pictures: Mapping[str, Path], system: System, room: tuple[float, float]
) -> list[Any]:
    """Verdict, advice, table of all cases, pictures, marks, how it was computed, versions."""
    from reportlab.platypus import PageBreak

    found = verdict_of(fitset, system)
    story = [*_title(fitset), _words(f"{found.word.capitalize()}. {headline(fitset)}.", "large")]
    story += [_words(found.paragraph), _words("What to try", "head")]
    story += [_words(f"{one.do} ({one.why})") for one in advice(fitset, system)]
    titles = [case_title(name) for name in fitset.fits]
    table = [
        (f"{words}, {unit}" if unit else words, cells)
        for words, unit, cells in comparison(fitset, system)
    ]
    story += [_words("Case by case", "head"), _table(["", *titles], table, room[0])]
    if fitset.sure is not None:
        story += _sure(fitset, system, room[0])
    story += [PageBreak()] if pictures else []
    story += [_picture(file, (room[0], 0.49 * room[1])) for file in pictures.values()]
    rows = [(m["name"], [m["source"], m["sd"], m["basis"]]) for m in mark_rows(fitset, system)]
    story += [_words("Marked and estimated", "head")]
    story += [_table(["Place", "How known", "Give or take", "By what"], rows, room[0])]
    story += [_words("Before you rely on it", "head")]
    story += [_words(caution) for caution in (*CAUTIONS, *fitset.back.cautions)]
    return [*story, *_made(fitset)]


def _sure(fitset: FitSet, system: System, width: float) -> list[Any]:
    assert fitset.sure is not None  # noqa: S101 - asked by the caller
    cases = [case_title(case) for case in fitset.sure.cases]
    following = measure_next(fitset.sure, fitset.sure.cases[-1])
    return [
        _words("How sure these numbers are", "head"),
        _table(["", *cases], sure_rows(fitset.sure, system), width),
        _words(f"{sure_note(fitset.sure)} {following or ''}", "small"),
    ]


def _made(fitset: FitSet) -> list[Any]:
    """How it was computed, from what, and with which versions."""
    source, load = fitset.back.provenance, fitset.load.name
    model = "layered elastic (fast)" if fitset.model == "fast" else "finite-strain elements"
    used = ", ".join(f"{name} {version}" for name, version in versions().items())
    default = f" Not given, so a default: {', '.join(fitset.defaults)}." if fitset.defaults else ""
    return [
        _words("How it was computed", "head"),
        _words(HOW),
        _words(f"Tissue model: {model}. Pad: {fitset.pad.name}. Load: {load}.{default}"),
        _words(f"Scan: {source.name}, sha256 {source.sha256}", "small"),
        _words(f"Versions: {used}", "small"),
    ]


def _title(fitset: FitSet) -> list[Any]:
    return [_words(f"{fitset.tree.name} on {fitset.back.provenance.name}", "title")]


def _headlines(fitset: FitSet, system: System, width: float) -> Any:  # noqa: ANN401 - no types
    """The short table: a row for every case."""
    rows = []
    for name, fit in fitset.fits.items():
        m = fit.measures
        cells = ["does not stay", "", "", ""]
        if m is not None:
            thirds = percents([m.share[third] for third in ("front", "middle", "rear")])
            cells = [number(m.peak, "pressure", system), *thirds]
        rows.append((case_title(name), cells))
    unit = shown("pressure", system).unit
    names = ["", f"Hardest pressure, {unit}", "Front third", "Middle third", "Rear third"]
    return _table(names, rows, width)


_SIZES = {"title": 16.0, "large": 12.0, "head": 10.5, "plain": 9.0, "small": 7.5, "cell": 8.0}


def _words(text: str, kind: str = "plain") -> Any:  # noqa: ANN401 - no types
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph

    size = _SIZES[kind]
    bold = kind in {"title", "large", "head"}
    style = ParagraphStyle(
        kind, fontName="bold" if bold else "plain", fontSize=size, leading=1.3 * size,
        spaceBefore=7.0 if kind == "head" else 0.0, spaceAfter=0.0 if kind == "cell" else 4.0,
        keepWithNext=int(kind == "head"), splitLongWords=1,
    )  # fmt: skip
    # The one space that this library does not break a line at: a number stays by its unit.
    kept = re.sub("[\u2009\u202f]|(?<=\\d) (?=(?:%|mm|in|kPa|psi)\\b|%)", "\u00a0", text)
    return Paragraph(escape(kept), style)


def _table(
    names: Sequence[str],
    rows: Sequence[tuple[str, Sequence[str]]],
    width: float,
) -> Any:  # noqa: ANN401 - no types
    from reportlab.lib.colors import Color
    from reportlab.platypus import Table

    cells = [[_words(word, "cell") for word in names]]
    cells += [[_words(word, "cell") for word in (first, *rest)] for first, rest in rows]
    first = 0.30 * width
    other = (width - first) / (len(names) - 1)
    rule = ("LINEBELOW", (0, 0), (-1, -1), 0.4, Color(0.7, 0.7, 0.7))
    tight = [("TOPPADDING", (0, 0), (-1, -1), 2), ("BOTTOMPADDING", (0, 0), (-1, -1), 2)]
    return Table(
        cells, [first, *[other] * (len(names) - 1)], repeatRows=1, spaceBefore=4, spaceAfter=6,
        style=[rule, *tight, ("VALIGN", (0, 0), (-1, -1), "TOP")],
    )  # fmt: skip


def _picture(file: Path, room: tuple[float, float]) -> Any:  # noqa: ANN401 - no types
    """A picture as large as the room lets it be, undistorted."""
    from PIL import Image as Pixels
    from reportlab.platypus import Image

    with Pixels.open(file) as picture:
        width, height = picture.size
    scale = min(room[0] / width, room[1] / height)
    return Image(str(file), scale * width, scale * height)


def _height(part: Any, room: tuple[float, float]) -> float:  # noqa: ANN401 - no types
    """Points that a part takes on the page, with the space about it."""
    _, height = part.wrap(*room)
    return float(height + part.getSpaceBefore() + part.getSpaceAfter())
