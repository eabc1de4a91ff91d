"""Drawings printed in true size on sheets of paper, with marks to join them by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from fitsim.workshop.drawing import extent

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from fitsim.workshop.drawing import Drawing

Paper = Literal["a4", "letter"]

#: Sheet sizes, m: ISO 216, and ANSI/ASME Y14.1 A.
SHEETS: dict[Paper, tuple[float, float]] = {"a4": (0.210, 0.297), "letter": (0.2159, 0.2794)}

#: White border that every printer leaves, and room above and below for words and the rule, m.
BORDER, HEAD, FOOT = 0.009, 0.013, 0.022

#: How far neighbouring sheets lap over each other, m, and arm of a mark, m.
LAP, ARM = 0.012, 0.005


@dataclass(frozen=True)
class Sheet:
    """One sheet of paper and the part of a drawing on it.

    Attributes
    ----------
    drawing : what is drawn.
    row, column : which part, from 0, upwards and to the right.
    rows, columns : of how many.
    size : m, of the paper, width and height.
    corner : (2,) array, m, place of the drawing at the window's lower left corner.
    window : (2,) array, m, size of the part shown.
    """

    drawing: Drawing
    row: int
    column: int
    rows: int
    columns: int
    size: tuple[float, float]
    corner: NDArray[np.float64]
    window: NDArray[np.float64]

    @property
    def name(self) -> str:
        """Letter of the row and number of the column, as in "B2"."""
        return f"{chr(ord('A') + self.row)}{self.column + 1}"


def sheets_of(drawing: Drawing, paper: Paper) -> list[Sheet]:
    """Spread a drawing over as few sheets as it needs.

    Parameters
    ----------
    drawing : in true size.
    paper : "a4" or "letter".

    Returns
    -------
    List of Sheet, row by row; upright or lying, whichever takes fewer.
    """
    width, height = SHEETS[paper]
    ways = [_spread(drawing, size) for size in ((width, height), (height, width))]
    return min(ways, key=len)


def window_corner() -> tuple[float, float]:
    """Lower left corner of the window on the paper, m."""
    return BORDER, BORDER + FOOT


def _spread(drawing: Drawing, size: tuple[float, float]) -> list[Sheet]:
    window = np.array([size[0] - 2.0 * BORDER, size[1] - 2.0 * BORDER - HEAD - FOOT])
    low, high = extent(drawing)
    need = high - low + 0.004
    count = np.maximum(np.ceil((need - LAP) / (window - LAP) - 1e-9), 1).astype(int)
    # The drawing is set in the middle of what the sheets show together.
    start = (low + high) / 2.0 - (count * (window - LAP) + LAP) / 2.0
    columns, rows = count
    return [
        Sheet(
            drawing,
            row,
            column,
            rows,
            columns,
            size,
            start + np.array([column, row]) * (window - LAP),
            window,
        )
        for row in range(rows)
        for column in range(columns)
    ]


def joins(sheet: Sheet) -> Iterator[NDArray[np.float64]]:
    """Places where marks are printed on every sheet that shows them, to lay sheets by.

    Parameters
    ----------
    sheet : one of several.

    Yields
    ------
    (2,) array, m, in the drawing; amid the laps, at a quarter and three quarters of their length.
    """
    step = sheet.window - LAP
    for axis, count, own in ((0, sheet.columns, sheet.column), (1, sheet.rows, sheet.row)):
        for beyond in (0, 1):
            if not 0 < own + beyond < count:
                continue
            for share in (0.25, 0.75):
                place = sheet.corner + share * sheet.window
                place[axis] = sheet.corner[axis] + beyond * step[axis] + LAP / 2.0
                yield place


def write_pdf(
    drawings: Sequence[Drawing],
    tables: Sequence[tuple[str, Sequence[Sequence[str]]]],
    name: str,
    paper: Paper,
    path: Path,
) -> None:
    """Write tables, then drawings in true size.

    Parameters
    ----------
    drawings : in true size.
    tables : heading and rows of words, for the first pages.
    name : of the tree.
    paper : "a4" or "letter".
    path : of the file, written in place.
    """
    from fitsim.workshop.printing import print_sheet, print_table, printer

    canvas = printer(path, name)
    for heading, rows in tables:
        print_table(canvas, SHEETS[paper], name, heading, rows)
    for drawing in drawings:
        for sheet in sheets_of(drawing, paper):
            print_sheet(canvas, sheet, name)
    canvas.save()
