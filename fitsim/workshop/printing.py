"""What is put on a sheet of paper, and how thick: the one place that knows the PDF library."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from fitsim.units import INCH
from fitsim.workshop.paper import ARM, BORDER, FOOT, HEAD, joins, window_corner

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from fitsim.workshop.drawing import Layer, Line
    from fitsim.workshop.paper import Sheet

#: Points in a metre: a point is 1/72 of an inch.
POINTS = 72.0 / INCH

#: Width (points), dashes (points) and grey or colour of each layer's lines.
PENS: dict[Layer, tuple[float, tuple[float, ...], tuple[float, float, float]]] = {
    "CUT": (0.7, (), (0.0, 0.0, 0.0)),
    "SLOT": (0.7, (), (0.0, 0.0, 0.0)),
    "POCKET": (0.5, (3.0, 2.0), (0.0, 0.27, 0.55)),
    "MIDDLE": (0.5, (12.0, 3.0, 2.0, 3.0), (0.25, 0.25, 0.25)),
    "LEVEL": (0.4, (6.0, 3.0), (0.4, 0.4, 0.4)),
    "FACE": (0.5, (2.0, 2.0), (0.6, 0.2, 0.0)),
    "STATION": (0.4, (1.5, 2.0), (0.4, 0.4, 0.4)),
    "RASP": (0.5, (), (0.6, 0.2, 0.0)),
}

#: Lengths of the check rule, m.
RULE, INCH_RULE = 0.100, 4.0 * INCH

CAUTION = (
    "An estimate from a model. Fit is confirmed on the standing and the moving animal by a "
    "qualified person; pain, swelling or sores go to a veterinarian."
)


def printer(path: Path, name: str) -> Any:  # noqa: ANN401 - the library has no types
    """Open a PDF; the same drawings give the same bytes.

    Parameters
    ----------
    path : of the file.
    name : of the tree, for the document's title.
    """
    from reportlab.pdfgen.canvas import Canvas

    register_fonts()
    canvas = Canvas(str(path), invariant=1, pageCompression=1)
    canvas.setTitle(f"{name}: templates in true size")
    # Viewers then offer to print without scaling.
    canvas.setViewerPreference("PrintScaling", "None")
    return canvas


def register_fonts() -> None:
    """Make known "plain" and "bold": there wherever the program is, in every alphabet of a name."""
    import matplotlib as mpl
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    fonts = f"{mpl.get_data_path()}/fonts/ttf"
    pdfmetrics.registerFont(TTFont("plain", f"{fonts}/DejaVuSans.ttf"))
    pdfmetrics.registerFont(TTFont("bold", f"{fonts}/DejaVuSans-Bold.ttf"))


def print_sheet(canvas: Any, sheet: Sheet, name: str) -> None:  # noqa: ANN401
    """Print one sheet of a drawing and end the page.

    Parameters
    ----------
    canvas : see `printer`.
    sheet : what is on it.
    name : of the tree.
    """
    width, height = sheet.size
    canvas.setPageSize((width * POINTS, height * POINTS))
    _head(canvas, sheet.size, name, sheet.drawing.title)
    if sheet.rows * sheet.columns > 1:
        text = f"sheet {sheet.name} of {sheet.columns} across, {sheet.rows} up"
        _words(canvas, (width - BORDER, height - BORDER - 0.0035), text, 8.0, bold=True, end=True)
    x, y = window_corner()
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(x * POINTS, y * POINTS, *(sheet.window * POINTS))
    canvas.clipPath(clip, stroke=0, fill=0)
    shift = np.array([x, y]) - sheet.corner
    for line in sheet.drawing.lines:
        _line(canvas, line, shift)
    for label in sheet.drawing.labels:
        _words(canvas, tuple(np.asarray(label.at) + shift), label.text, 7.0)
    canvas.restoreState()
    for place in joins(sheet):
        _cross(canvas, place + shift)
    _rule(canvas, BORDER, BORDER + 0.006)
    canvas.showPage()


def print_table(
    canvas: Any,  # noqa: ANN401
    size: tuple[float, float],
    name: str,
    heading: str,
    rows: Sequence[Sequence[str]],
) -> None:
    """Print a table over as many pages as it takes.

    Parameters
    ----------
    canvas : see `printer`.
    size : m, of the paper.
    name : of the tree.
    heading : of the table.
    rows : of words, first the columns' names.
    """
    step, top = 0.0052, size[1] - BORDER - HEAD - 0.006
    left = [BORDER + share * (size[0] - 2.0 * BORDER) for share in (0.0, 0.56, 0.74)]
    room = int((top - BORDER - 0.012) / step) - 1
    for first in range(1, len(rows), room):
        canvas.setPageSize((size[0] * POINTS, size[1] * POINTS))
        _head(canvas, size, name, heading)
        for number, row in enumerate([rows[0], *rows[first : first + room]]):
            for at, words in zip(left, row, strict=False):
                _words(canvas, (at, top - number * step), words, 8.5, bold=number == 0)
        _words(canvas, (BORDER, BORDER), CAUTION, 6.5)
        canvas.showPage()


def _head(canvas: Any, size: tuple[float, float], name: str, title: str) -> None:  # noqa: ANN401
    top = size[1] - BORDER - 0.0035
    _words(canvas, (BORDER, top), name, 10.0, bold=True)
    _words(canvas, (BORDER, top - 0.0055), title, 8.0)


def _line(canvas: Any, line: Line, shift: NDArray[np.float64]) -> None:  # noqa: ANN401
    width, dashes, colour = PENS[line.layer]
    canvas.setLineWidth(width)
    canvas.setDash(*([list(dashes)] if dashes else []))
    canvas.setStrokeColorRGB(*colour)
    path = canvas.beginPath()
    points = (line.points + shift) * POINTS
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    if line.closed:
        path.close()
    canvas.drawPath(path)


def _words(
    canvas: Any,  # noqa: ANN401
    at: Sequence[float],
    text: str,
    size: float,
    *,
    bold: bool = False,
    end: bool = False,
) -> None:
    canvas.setFillColorRGB(0.0, 0.0, 0.0)
    canvas.setFont("bold" if bold else "plain", size)
    draw = canvas.drawRightString if end else canvas.drawString
    draw(at[0] * POINTS, at[1] * POINTS, text)


def _cross(canvas: Any, at: NDArray[np.float64]) -> None:  # noqa: ANN401
    canvas.setLineWidth(0.4)
    canvas.setDash()
    canvas.setStrokeColorRGB(0.0, 0.0, 0.0)
    x, y = at * POINTS
    arm = ARM * POINTS
    canvas.line(x - arm, y, x + arm, y)
    canvas.line(x, y - arm, x, y + arm)
    canvas.circle(x, y, arm / 2.0)


def _rule(canvas: Any, x: float, y: float) -> None:  # noqa: ANN401
    """A rule of 100 mm, and one of 4 inches under it, to be held against a real one."""
    canvas.setLineWidth(0.4)
    canvas.setDash()
    canvas.setStrokeColorRGB(0.0, 0.0, 0.0)
    canvas.line(x * POINTS, y * POINTS, (x + INCH_RULE) * POINTS, y * POINTS)
    for tick in range(101):
        long = 0.0045 if tick % 10 == 0 else 0.003 if tick % 5 == 0 else 0.0018
        at = (x + tick * 1e-3) * POINTS
        canvas.line(at, y * POINTS, at, (y + long) * POINTS)
    for tick in range(33):
        long = 0.0045 if tick % 8 == 0 else 0.003 if tick % 4 == 0 else 0.0018
        at = (x + tick * INCH / 8.0) * POINTS
        canvas.line(at, y * POINTS, at, (y - long) * POINTS)
    beside = x + INCH_RULE + 0.003
    _words(canvas, (beside, y + 0.0015), "100 mm: hold a rule against it before you cut.", 7.0)
    _words(canvas, (beside, y - 0.0035), "4 in. Print at 100 %, not fitted to the page.", 7.0)
    _words(canvas, (x, y + FOOT - 0.0155), CAUTION, 5.5)
