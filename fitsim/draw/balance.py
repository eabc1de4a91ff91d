"""How much heavier one side may be, as a chart of bars."""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees
from typing import TYPE_CHECKING

from fitsim.draw.lettering import Pen
from fitsim.draw.palette import DAYLIGHT, DAYLIGHT_INK, INK, LINE, PANEL, PAPER, TAN
from fitsim.draw.quantity import quantity, shown

if TYPE_CHECKING:
    from pathlib import Path

    from fitsim.draw.quantity import System
    from fitsim.study.balance import Balance, Bears

SIZE = (1700, 1270)
_SCALE, _REDUCE = 2, 2
_LEFT, _TOP, _RIGHT, _BOTTOM = 480.0, 250.0, 1560.0, 1090.0
_COLOURS = (DAYLIGHT_INK, DAYLIGHT, TAN)
_ROUND = (5.0, 10.0, 20.0, 50.0, 100.0)  # steps of the scale, in the units shown


@dataclass(frozen=True)
class Heading:
    """What the chart is of."""

    tree: str
    scan: str
    pad: str


def draw_balance(found: Balance, heading: Heading, path: Path, system: System = "metric") -> None:
    """Draw how much heavier one side may be.

    Parameters
    ----------
    found : the table.
    heading : what it is of.
    path : PNG file to write.
    system : units people chose.
    """
    from PIL import Image

    sheet = Image.new("RGB", (SIZE[0] * _SCALE, SIZE[1] * _SCALE), PAPER)
    pen = Pen(sheet, _SCALE)
    pen.text(60, 88, "How much heavier may one side be?", 54, face="serif")
    what = f"{heading.tree} on {heading.scan}, pad: {heading.pad}; {found.load.name}"
    pen.quiet(60, 132, what, 26)
    _legend(pen, found)
    most = max(one.difference for row in found.rows for one in row)
    _scale(pen, most, system)
    high = (_BOTTOM - _TOP) / len(found.rows)
    for number, row in enumerate(reversed(found.rows)):
        own = number == len(found.rows) - 1 - found.own
        _group(pen, row, _TOP + number * high, high, most, own=own, system=system)
    caution = (
        "An estimate from a model of a standing animal: stay well below. Confirm on the animal; "
        "local welfare rules decide the load."
    )
    pen.text(SIZE[0] - 60, SIZE[1] - 34, caution, 23, colour=DAYLIGHT_INK, anchor="rs")
    sheet.reduce(_REDUCE).save(path, format="PNG")


def going_words(side_slope: float) -> str:
    """Name a side slope.

    Examples
    --------
    >>> going_words(0.0), going_words(0.17453293)
    ('flat', '10 deg side slope')
    """
    return f"{degrees(side_slope):.3g} deg side slope" if side_slope else "flat"


def row_words(one: Bears, system: System = "metric") -> str:
    """Name a pair of tensions."""
    return f"{quantity(one.front, 'force', system)} and {quantity(one.rear, 'force', system)}"


def bar_words(one: Bears, system: System = "metric") -> str:
    """Say what one pair of tensions bears on one slope."""
    if not one.stays:
        return f"{one.leaves} with even loads"
    if one.leaves is None:
        return f"more than {quantity(one.difference, 'mass', system)}"
    return f"{quantity(one.difference, 'mass', system)}, then {one.leaves.split()[0]}"


def _length(difference: float, most: float) -> float:
    return (_RIGHT - _LEFT - 190.0) * difference / max(most, 1e-9)


def _group(
    pen: Pen, row: tuple[Bears, ...], top: float, high: float, most: float,
    *, own: bool, system: System,
) -> None:  # fmt: skip
    """Bars of one pair of tensions, one for each slope."""
    if own:
        pen.box((50, top + 6, SIZE[0] - 50, top + high - 6), fill=(*PANEL, 255), radius=12.0)
    thick = (high - 44.0) / len(row)
    middle = top + 0.5 * high
    pen.text(80, middle + (0 if own else 11), row_words(row[0], system), 32, face="bold")
    if own:
        pen.text(80, middle + 36, "as the rig is now", 25, colour=DAYLIGHT_INK)
    for number, one in enumerate(row):
        y = top + 22.0 + number * thick
        end = _LEFT + _length(one.difference, most)
        if one.stays:
            pen.box(
                (_LEFT, y + 3, max(end, _LEFT + 3), y + thick - 3),
                fill=(*_COLOURS[number % 3], 255),
            )
        words = bar_words(one, system)
        pen.text(max(end, _LEFT) + 12, y + 0.5 * thick + 9, words, 27, face="bold")


def _legend(pen: Pen, found: Balance) -> None:
    pen.text(80, 200, "Front and rear cinch,", 25)
    pen.text(80, 232, "pull of each strap end", 25)
    x = _LEFT
    for number, one in enumerate(found.rows[0]):
        pen.box((x, 182, x + 34, 206), fill=(*_COLOURS[number % 3], 255))
        x += 46 + pen.text(x + 46, 204, going_words(one.side_slope), 28) + 50
    if len(found.rows[0]) > 1:
        pen.quiet(_LEFT, 240, "on a side slope the heavier side is downhill", 24)


def _scale(pen: Pen, most: float, system: System) -> None:
    """Ruled lines and their numbers."""
    how = shown("mass", system)
    step = next((one for one in _ROUND if most * how.per_si / one <= 7.0), _ROUND[-1])  # noqa: PLR2004
    pen.line([(_LEFT, _TOP), (_LEFT, _BOTTOM)], INK, 2.0)
    for number in range(int(most * how.per_si / step) + 1):
        x = _LEFT + _length(number * step / how.per_si, most)
        pen.line([(x, _BOTTOM), (x, _BOTTOM + 10)], INK, 2.0)
        pen.text(x, _BOTTOM + 44, f"{number * step:g}", 28, anchor="ms")
        if number:
            pen.line([(x, _TOP), (x, _BOTTOM)], LINE, 1.0)
    words = f"Heavier by, {how.unit}, before the tree leaves"
    pen.text(0.5 * (_LEFT + _RIGHT), _BOTTOM + 88, words, 30, face="bold", anchor="ms")
