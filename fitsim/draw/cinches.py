"""The cinch map as one chart: pressure on the shoulder blades, and where every rule is kept."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw.cinch_words import TROUBLE, region_sentences, rig_sentence, rule_words
from fitsim.draw.lettering import Pen, broken
from fitsim.draw.palette import (
    DAYLIGHT,
    DAYLIGHT_INK,
    INK,
    LINE,
    PANEL,
    PAPER,
    QUIET,
    painted,
    pressure_map,
    scale_top,
)
from fitsim.draw.quantity import System, shown
from fitsim.draw.words import case_title
from fitsim.study.cinch_rules import RULES, middle, serving

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from fitsim.study.cinch_map import CinchMap
    from fitsim.study.cinch_rules import Serving

    Array = NDArray[np.float64]

SIZE = (2000, 1360)
_SCALE, _REDUCE = 2, 2
_CHART = (170.0, 220.0, 1150.0, 1200.0)  # left, top, right, bottom
_WORDS = 1240.0
_FINE = 500  # dots of the chart's picture
_STEP = 100.0  # N between ticks
_LONG = 6  # corners of a line that is worth a name
_CHIP_OFF = 34.0  # sheet units from a rule's line to its label


@dataclass(frozen=True)
class Heading:
    """What is written around the chart: tree, scan, pad, and the tensions as they are now (N)."""

    tree: str
    scan: str
    pad: str
    front: float
    rear: float


def draw_cinches(
    found: CinchMap, heading: Heading, path: Path, *, system: System = "metric"
) -> None:
    """Draw a cinch map.

    Parameters
    ----------
    found : the map.
    heading : what it is of.
    path : PNG file to write.
    system : units people chose.
    """
    from PIL import Image

    sheet = Image.new("RGB", (SIZE[0] * _SCALE, SIZE[1] * _SCALE), PAPER)
    pen, serves = Pen(sheet, _SCALE), serving(found)
    pen.text(60, 88, "How tight to draw the cinches", 54, face="serif")
    load = case_title(found.case).lower()
    pen.quiet(60, 132, f"{heading.tree} on {heading.scan}, pad: {heading.pad}; {load}", 24)
    hardest = float(np.nanmax(found.measures["blade_peak"], initial=0.0))
    top = scale_top(0.0, hardest / 1.25)  # nothing beyond the scale
    _paint(sheet, found, serves, top)
    _axes(pen, found, system)
    _rule_lines(pen, found, serves, _here(pen, found, heading))
    _beside(pen, found, serves, heading, system, top)
    caution = (
        "An estimate from a model, not a measurement. Confirm on the standing and moving animal; "
        "draw cinches by safe local practice."
    )
    pen.text(SIZE[0] - 60, SIZE[1] - 30, caution, 21, colour=DAYLIGHT_INK, anchor="rs")
    sheet.reduce(_REDUCE).save(path, format="PNG")


def _fine(values: Array) -> Array:
    """Values on the chart's dots, bilinear, front tension upwards."""
    from scipy.ndimage import map_coordinates

    rows, columns = (np.linspace(0.0, size - 1.0, _FINE) for size in values.shape)
    at = np.meshgrid(rows[::-1], columns, indexing="ij")
    return np.asarray(map_coordinates(values, np.array(at), order=1, mode="nearest"))


def _paint(sheet: object, found: CinchMap, serves: Serving, top: float) -> None:
    """Lay the coloured square: pressure, where the tree leaves, and the region that serves."""
    from PIL import Image

    pressure = _fine(np.nan_to_num(found.measures["blade_peak"]))
    colour, cover = painted(pressure, top)
    dots = np.asarray(PAPER) + 0.62 * cover[..., None] * (colour - np.asarray(PAPER))
    gone = _fine(found.stays.astype(float)) < 0.5  # noqa: PLR2004 - nearer to one that leaves
    dots[gone] = np.asarray(LINE)
    least = np.min([_fine(serves.room[rule]) for rule in serves.kept], axis=0)
    inside = (least > 0.0) & ~gone
    dots[inside] = np.asarray(DAYLIGHT)
    left, upper, right, lower = (round(edge * _SCALE) for edge in _CHART)
    square = Image.fromarray(np.clip(dots, 0, 255).astype(np.uint8))
    square = square.resize((right - left, lower - upper), Image.Resampling.BICUBIC)
    sheet.paste(square, (left, upper))  # type: ignore[attr-defined]


def _place(found: CinchMap, front: float, rear: float) -> tuple[float, float]:
    """Where a pair of tensions lies on the sheet."""
    left, upper, right, lower = _CHART
    across = left + (right - left) * rear / found.rear[-1]
    return across, lower - (lower - upper) * front / found.front[-1]


def _axes(pen: Pen, found: CinchMap, system: System) -> None:
    left, upper, right, lower = _CHART
    how = shown("force", system)
    pen.box(_CHART, edge=(*INK, 255), width=1.5)
    step = _STEP if system == "metric" else 20.0 / how.per_si
    for tension in np.arange(0.0, found.front[-1] + 1e-6, step):
        words = f"{tension * how.per_si:.0f}"
        _, y = _place(found, float(tension), 0.0)
        x, _ = _place(found, 0.0, float(tension))
        pen.line([(left - 8, y), (left, y)], INK, 1.5)
        pen.text(left - 16, y + 9, words, 26, anchor="rs")
        pen.line([(x, lower), (x, lower + 8)], INK, 1.5)
        pen.text(x, lower + 38, words, 26, anchor="ms")
    pen.text((left + right) / 2, lower + 82, f"Rear cinch, {how.unit} at each strap end", 30,
             face="bold", anchor="ms")  # fmt: skip
    pen.text(left, upper - 18, f"Front cinch, {how.unit} at each strap end", 30, face="bold")


def _rule_lines(
    pen: Pen, found: CinchMap, serves: Serving, taken: list[tuple[float, float, float]]
) -> None:
    """Draw each rule's lines and say what is wrong beyond them."""
    from contourpy import contour_generator

    _region_chip(pen, found, serves, taken)
    for rule in reversed(RULES):
        room = np.where(found.stays, serves.room[rule], np.nan)
        drawn = contour_generator(found.rear, found.front, np.ma.masked_invalid(room)).lines(0.0)
        lines = [np.asarray(line) for line in drawn]
        for line in lines:
            points = [_place(found, float(front), float(rear)) for rear, front in line]
            pen.line(points, (*INK, 200), 2.4)
        for line in lines:
            if len(line) >= _LONG:
                _name_line(pen, found, rule, line, taken)
        if not lines and (room[found.stays] <= 0.0).all():
            _chip(pen, TROUBLE[rule] + " everywhere", 640.0, 230.0 + 56.0 * len(taken), taken)


def _region_chip(
    pen: Pen, found: CinchMap, serves: Serving, taken: list[tuple[float, float, float]]
) -> None:
    """Name the region, over the pair of tensions with the most room."""
    if serves.inside.any():
        x, y = _place(found, *middle(found, serves))
        _chip(pen, "best here" if serves.broken else "all rules kept", x, y, taken)


def _name_line(
    pen: Pen, found: CinchMap, rule: str, line: Array, taken: list[tuple[float, float, float]]
) -> None:
    """Write a rule's trouble beside its line, on the side where it is broken, clear of others."""
    from scipy.interpolate import RegularGridInterpolator

    room = serving(found).room[rule]
    inside = RegularGridInterpolator((found.front, found.rear), room, bounds_error=False,
                                     fill_value=None)  # fmt: skip
    half = 0.5 * (pen.width(TROUBLE[rule], 23, "bold") + 16)
    left, upper, right, lower = _CHART
    step = 0.01 * found.front[-1]
    order = np.argsort(np.abs(np.arange(len(line)) - 0.5 * len(line)))
    for off in (1.0, 1.8, 2.6, 4.0):
        for rear, front in line[order]:
            slope = np.array([
                inside((front, rear + step)) - inside((front, rear - step)),
                inside((front - step, rear)) - inside((front + step, rear)),
            ], dtype=float).ravel()  # fmt: skip
            way = -slope / max(float(np.hypot(*slope)), 1e-12)
            x, y = np.array(_place(found, front, rear)) + off * _CHIP_OFF * way
            x = float(np.clip(x + way[0] * half * 0.9, left + half + 4, right - half - 4))
            y = float(np.clip(y, upper + 24, lower - 24))
            if all(abs(y - other[1]) > 40 or abs(x - other[0]) > half + other[2] + 6  # noqa: PLR2004
                   for other in taken):  # fmt: skip
                _chip(pen, TROUBLE[rule], x, y, taken)
                return


def _chip(
    pen: Pen, words: str, x: float, y: float, taken: list[tuple[float, float, float]]
) -> None:
    pen.chip(x, y, words, 23)
    taken.append((x, y, 0.5 * (pen.width(words, 23, "bold") + 16)))


def _here(pen: Pen, found: CinchMap, heading: Heading) -> list[tuple[float, float, float]]:
    """Mark the tensions as they are now; return the room that this takes."""
    if heading.front > found.front[-1] or heading.rear > found.rear[-1]:
        return []
    x, y = _place(found, heading.front, heading.rear)
    half = 0.5 * (pen.width("as it is now", 23, "bold") + 16)
    pen.ring(x, y, 13)
    pen.chip(x + 24 + half, y, "as it is now", 23)
    return [(x + 12 + half, y, half + 26)]


def _beside(  # noqa: PLR0917 - all that is written
    pen: Pen, found: CinchMap, serves: Serving, heading: Heading, system: System, top: float
) -> None:
    """Write the answer, the key and the rules."""
    room = SIZE[0] - 60 - _WORDS
    y = 244.0
    said = [rig_sentence(found, serves, heading.front, heading.rear)]
    for k, sentence in enumerate([*region_sentences(found, serves, system), *said]):
        _, lines = broken(pen, sentence, room, (31 if k == 0 else 27,))
        for line in lines:
            pen.text(_WORDS, y, line, 31 if k == 0 else 27, face="bold" if k == 0 else "sans")
            y += 42 if k == 0 else 36
        y += 14
    y += 16
    pen.box((_WORDS, y - 24, _WORDS + 44, y + 2), fill=(*DAYLIGHT, 255), edge=(*INK, 255), radius=3)
    kept = "every rule below is kept" if not serves.broken else "the rules marked below are kept"
    pen.text(_WORDS + 58, y, kept, 25)
    y += 56
    y = _scale(pen, y, room, top, system) + 40
    pen.text(_WORDS, y, "The rules", 27, face="bold")
    y += 40
    for rule in RULES:
        mark = "kept" if rule in serves.kept else "not kept"
        _, lines = broken(pen, rule_words(rule, system), room - 130, (23,))
        pen.text(_WORDS, y, mark, 23, face="bold", colour=INK if rule in serves.kept else QUIET)
        for line in lines:
            pen.text(_WORDS + 130, y, line, 23)
            y += 30
        y += 10
    pen.quiet(_WORDS, y + 12, "Limits are choices; none marks where harm begins.", 22)


def _scale(pen: Pen, y: float, room: float, top: float, system: System) -> float:
    """Draw the pressure scale and return where it ends."""
    how = shown("pressure", system)
    pen.text(_WORDS, y, f"Hardest pressure on the shoulder blades, {how.unit}", 25, face="bold")
    wide = room / 256.0
    pale = np.asarray(PANEL)
    for k, colour in enumerate(pressure_map().astype(float)):
        red, green, blue = (int(part) for part in pale + 0.62 * (colour - pale))
        x = _WORDS + k * wide
        pen.box((x, y + 16, x + wide + 1, y + 40), fill=(red, green, blue))
    for part, anchor in ((0.0, "ls"), (0.5, "ms"), (1.0, "rs")):
        value = top * part * how.per_si
        words = f"{value:.1f}" if system == "inch" else f"{value:g}"
        pen.text(_WORDS + part * room, y + 70, words, 23, anchor=anchor)
    return y + 70
