"""A day's work as one map: the back laid flat, and where to look first."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw.day_words import WHAT_IT_IS, change_words, day_sentences
from fitsim.draw.lettering import Pen, broken
from fitsim.draw.paint import TEXEL, canvas, painted_skin
from fitsim.draw.palette import DAYLIGHT_INK, INK, PAPER, QUIET, pressure_map
from fitsim.draw.surface import on_nodes
from fitsim.measure.dose import FIRST, NEXT

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from fitsim.draw.quantity import System
    from fitsim.study.day import Day
    from fitsim.study.set_up import SetUp

SIZE = (2000, 1240)
_SCALE, _REDUCE = 2, 2
_MAP = (60.0, 200.0, 1180.0, 1000.0)  # left, top, right, bottom
_WORDS = 1250.0
_TOP = 1e5  # what a share of 1 is painted as, Pa: the map's colours are those of pressure


def draw_day(on: SetUp, day: Day, path: Path, *, system: System = "metric") -> None:
    """Draw where to look first after a day's work.

    Parameters
    ----------
    on : the tree on the back.
    day : worked out on it.
    path : PNG file to write.
    system : units people chose.
    """
    from PIL import Image

    sheet = Image.new("RGB", (SIZE[0] * _SCALE, SIZE[1] * _SCALE), PAPER)
    pen, problem = Pen(sheet, _SCALE), on.laid.problem
    pen.text(60, 88, "Where to look first after a day's work", 54, face="serif")
    what = f"{problem.tree.name} on {on.back.provenance.name}, pad: {problem.pad.name}"
    pen.quiet(60, 132, what, 24)
    _key(pen, _map(sheet, pen, on, day))
    y = _paragraphs(pen, day_sentences(day, system), 222.0, bold_first=True)
    pen.text(_WORDS, y + 22, "What would lower it", 29, face="bold")
    changes = [change_words(change, day, system) for change in day.changes]
    y = _paragraphs(pen, changes, y + 64, bold_first=False)
    _paragraphs(pen, [WHAT_IT_IS], y + 26, bold_first=False, quiet=True)
    caution = (
        "An estimate from a model, not a measurement. Lameness, pain, swelling or sores go to a "
        "licensed veterinarian."
    )
    pen.text(SIZE[0] - 60, SIZE[1] - 34, caution, 22, colour=DAYLIGHT_INK, anchor="rs")
    sheet.reduce(_REDUCE).save(path, format="PNG")


def _map(sheet: object, pen: Pen, on: SetUp, day: Day) -> float:
    """Lay the painted back on the sheet, head left, left side below; return where it ends."""
    from PIL import Image

    shown = replace(day.rest_pose, pressure=_TOP * day.share, gap=np.zeros_like(day.share))
    skin = painted_skin(canvas(on.back), shown, _TOP)
    picture = Image.fromarray(np.ascontiguousarray(skin[::-1].transpose(1, 0, 2)))
    left, upper, right, lower = _MAP
    corner, size = _window(on, picture.size)
    picture = picture.crop((corner[0], corner[1], corner[0] + size[0], corner[1] + size[1]))
    share = min((right - left) / size[0], (lower - upper) / size[1])
    wide, tall = share * size[0], share * size[1]
    dots = (round(wide * _SCALE), round(tall * _SCALE))
    place = (round(left * _SCALE), round(upper * _SCALE))
    sheet.paste(picture.resize(dots, Image.Resampling.LANCZOS), place)  # type: ignore[attr-defined]
    pen.box((left, upper, left + wide, upper + tall), edge=(*INK, 255), width=1.0)
    pen.text(left, upper - 16, "The back laid flat", 27, face="bold")
    pen.chip(left + 14, upper + tall / 2, "head", 23, anchor="left")
    pen.chip(left + wide / 2, upper + 24, "right side", 23)
    pen.chip(left + wide / 2, upper + tall - 24, "left side", 23)
    chart = on.back.chart

    def placed(x: float, t: float) -> tuple[float, float]:
        along = (chart.x[-1] - x) / TEXEL - corner[0]
        return left + share * along, upper + share * ((t - chart.t[0]) / TEXEL - corner[1])

    for line in _first_lines(on, day):
        pen.line([placed(float(x), float(t)) for t, x in line], (*PAPER, 255), 3.0)
    if day.worst is not None and day.first_area > 0.0:
        pen.disc(*placed(day.worst.x, _across(on, day)), "1")
    return upper + tall


def _first_lines(on: SetUp, day: Day) -> list[NDArray[np.float64]]:
    """Borders of what to look at first, (k, 2) of t and x, m."""
    from contourpy import contour_generator

    chart = on.back.chart
    found = contour_generator(chart.t, chart.x, on_nodes(chart, day.share, 0.0)).lines(FIRST)
    return [np.asarray(line) for line in found]


def _window(on: SetUp, size: tuple[int, int]) -> tuple[tuple[int, int], tuple[int, int]]:
    """Corner and size of what is shown, dots of the painted skin: the bars and some way round."""
    chart, under = on.back.chart, on.laid.problem.near
    x = np.broadcast_to(chart.x[:, None], chart.valid.shape)[chart.valid][under]
    t = np.broadcast_to(chart.t[None, :], chart.valid.shape)[chart.valid][under]
    room = 0.10
    first = (
        round((chart.x[-1] - x.max() - room) / TEXEL),
        round((t.min() - room - chart.t[0]) / TEXEL),
    )
    last = (
        round((chart.x[-1] - x.min() + room) / TEXEL),
        round((t.max() + room - chart.t[0]) / TEXEL),
    )
    corner = max(first[0], 0), max(first[1], 0)
    return corner, (min(last[0], size[0]) - corner[0], min(last[1], size[1]) - corner[1])


def _across(on: SetUp, day: Day) -> float:
    """Place of the worst spot across the chart, m."""
    chart, worst = on.back.chart, day.worst
    if worst is None:
        return 0.0
    away = np.linalg.norm(chart.points - [worst.x, worst.y, worst.z], axis=2)
    _, column = np.unravel_index(int(np.where(chart.valid, away, np.inf).argmin()), away.shape)
    return float(chart.t[column])


def _key(pen: Pen, below: float) -> None:
    """Draw the scale: the share of all curves that a place passes."""
    left, right, y = _MAP[0], _MAP[2], below + 96.0
    pen.text(left, y - 16, "Share of the pressure-time curves that a place passes", 27, face="bold")
    for k, colour in enumerate(pressure_map()):
        red, green, blue = (int(part) for part in colour)
        x = left + k * (right - left) / 256.0
        pen.box((x, y, x + (right - left) / 256.0 + 1, y + 28), fill=(red, green, blue))
    for share, words in (
        (0.0, "none"),
        (NEXT, "half: look next"),
        (FIRST, "look first (white line)"),
    ):
        x = left + share * (right - left)
        pen.line([(x, y + 28), (x, y + 40)], INK, 1.5)
        pen.text(
            x, y + 68, words, 24, anchor="ls" if share == 0.0 else "ms" if share == NEXT else "rs"
        )


def _paragraphs(
    pen: Pen, said: Sequence[str], y: float, *, bold_first: bool, quiet: bool = False
) -> float:
    """Write paragraphs and return where they end."""
    for k, sentence in enumerate(said):
        large = bold_first and k == 0
        size = 31 if large else 24
        _, lines = broken(pen, sentence, SIZE[0] - 60 - _WORDS, (size,))
        for line in lines:
            pen.text(
                _WORDS, y, line, size, face="bold" if large else "sans",
                colour=QUIET if quiet else INK,
            )  # fmt: skip
            y += 1.34 * size
        y += 12
    return y
