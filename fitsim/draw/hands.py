"""The hand tests as one picture: each bar from the side with what a hand finds where."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fitsim.draw.bars import daylight
from fitsim.draw.hand_words import rows, title
from fitsim.draw.lettering import Pen, broken
from fitsim.draw.palette import DAYLIGHT_INK, INK, LINE, PANEL, PAPER, QUIET
from fitsim.draw.profile import Look, draw_strip, stretch
from fitsim.draw.quantity import System, quantity
from fitsim.study.hand_tests import PRESS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fitsim.draw.bars import Daylight
    from fitsim.study.hand_tests import HandTests
    from fitsim.study.set_up import SetUp

SIZE = (2000, 1250)
_SCALE, _REDUCE = 2, 2
_MARGIN, _PANEL = 60, 492
_STRIP = (60.0, 200.0, 1010.0, 360.0)  # within a panel: left, top, right, bottom
_WORDS = 1090.0
_TOP = 40e3  # Pa, dark end of the strip's scale
_SHORT = {
    "Flat hand under the left front": "Hand under left front",
    "Flat hand under the right front": "Hand under right front",
    "Front and rear pressed in turn": "Ends pressed in turn",
    "Daylight under the middle, left": "Daylight, left bar",
    "Daylight under the middle, right": "Daylight, right bar",
}
"""Shorter, for the picture; what is pulled how far stands in the words beside it."""


def draw_hands(
    on: SetUp, tests: Sequence[HandTests], path: Path, *, system: System = "metric"
) -> None:
    """Draw the hand tests of one tree.

    Parameters
    ----------
    on : the tree on the back.
    tests : two cases at most.
    path : PNG file to write.
    system : units people chose.
    """
    from PIL import Image

    sheet = Image.new("RGB", (SIZE[0] * _SCALE, SIZE[1] * _SCALE), PAPER)
    pen = Pen(sheet, _SCALE)
    tree, chart = on.laid.problem.tree, on.back.chart
    pen.text(_MARGIN, 92, f"{tree.name}, tried by hand", 54, face="serif")
    pen.quiet(_MARGIN, 134, f"on {on.back.provenance.name}, pad: {on.laid.problem.pad.name}", 24)
    under = [daylight(chart, tree, one.rest, 0) if one.leaves is None else None for one in tests]
    steep = stretch(one for one in under if one is not None)
    look = Look(_TOP, steep, on.laid.problem.pad.thickness > 0.0, system)
    for row, (one, seen) in enumerate(zip(tests, under, strict=True)):
        _panel(pen, 160.0 + row * (_PANEL + 20), one, seen, look)
    caution = (
        "An estimate from a model, not a measurement. Confirm by hand on the animal, "
        "standing and moving."
    )
    pen.text(SIZE[0] - _MARGIN, SIZE[1] - 30, caution, 21, colour=DAYLIGHT_INK, anchor="rs")
    sheet.reduce(_REDUCE).save(path, format="PNG")


def _panel(pen: Pen, top: float, tests: HandTests, under: Daylight | None, look: Look) -> None:
    """Draw one case: the left bar from the side, and every test in words."""
    pen.box(
        (_MARGIN - 24, top, SIZE[0] - _MARGIN + 24, top + _PANEL), fill=(*PANEL, 255), radius=16
    )
    pen.text(_MARGIN, top + 52, title(tests.case), 36, face="serif")
    if under is not None:
        edges = (_STRIP[0], top + _STRIP[1], _STRIP[2], top + _STRIP[3])
        high = f"heights stretched {look.steep:g} times" if look.steep > 1 else "true heights"
        pen.quiet(_MARGIN, top + 88, f"The left bar, head on the left; {high}", 21)
        draw_strip(pen, edges, under, (math.nan, math.nan), look)
        _marks(pen, edges, tests, look.system)
    y = top + 52
    for words, found in rows(tests, look.system):
        size, _ = broken(pen, _SHORT.get(words, words), 250, (23, 21, 20, 19, 18, 17), most=1)
        pen.text(_WORDS, y, _SHORT.get(words, words), size, face="bold")
        size, lines = broken(pen, found, SIZE[0] - _MARGIN - _WORDS - 280, (23, 21, 20, 19))
        for k, line in enumerate(lines):
            pen.text(_WORDS + 280, y + 26 * k, line, size)
        y += 24 + 26 * max(len(lines), 1)
        pen.line([(_WORDS, y - 30), (SIZE[0] - _MARGIN, y - 30)], (*LINE, 255), 1.0)


def _marks(
    pen: Pen, edges: tuple[float, float, float, float], tests: HandTests, system: System
) -> None:
    """Draw hand, presses, pivot and lift where they act."""
    left, upper, right, lower = edges
    press, lift, hand = tests.press, tests.lift, tests.under.get("left")
    if press is None or lift is None or hand is None:
        return
    if math.isfinite(hand.push):
        pen.arrow((left - 34, upper + 96), (left + 44, upper + 96), INK, 5.0, 20.0)
        words = f"hand: {quantity(hand.push, 'force', system)}"
        pen.chip(left, upper - 62, words, 24, anchor="left")
    if math.isfinite(press.turn):
        for x in (left + 0.30 * (right - left), left + 0.84 * (right - left)):
            pen.arrow((x, upper - 66), (x, upper - 10), QUIET, 3.5, 16.0)
        turn = f"pressed with {quantity(PRESS, 'force', system)}: {math.degrees(press.turn):.1f}°"
        pen.chip(left + 0.57 * (right - left), upper - 62, turn, 24)
        if 0.0 <= press.pivot_along <= 1.0:
            x = left + press.pivot_along * (right - left)
            base = lower + 30
            pen.shape([(x, base), (x - 18, base + 32), (x + 18, base + 32)], (*INK, 255))
            pen.chip(x, base + 56, "rocks about here", 22)
    if math.isfinite(lift.force):
        pen.arrow((right - 6, lower + 84), (right - 6, lower + 26), INK, 5.0, 20.0)
        words = f"lift: {quantity(lift.force, 'force', system)}"
        pen.chip(right - 24, lower + 64, words, 24, anchor="right")
