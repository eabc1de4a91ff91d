"""One sheet per case: four views, hotspots, lift, daylight, and one scale for the whole set."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from fitsim.draw import overlay
from fitsim.draw.bars import daylight, moved, outline
from fitsim.draw.lettering import Pen
from fitsim.draw.paint import canvas, painted_skin
from fitsim.draw.palette import (
    DAYLIGHT,
    DAYLIGHT_INK,
    INK,
    LINE,
    PANEL,
    PAPER,
    QUIET,
    TAN,
    pressure_map,
    scale_top,
)
from fitsim.draw.profile import draw_strip, ruled, stretch
from fitsim.draw.quantity import System, number, percent, shown
from fitsim.draw.stage import stage, tree_shape
from fitsim.draw.view import ABOVE, LEFT, QUARTER, RIGHT, View, views
from fitsim.draw.words import case_title, verdict, zone_peak, zone_share, zone_words

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray
    from PIL import Image

    from fitsim.draw.bars import Daylight
    from fitsim.study.fit import Fit, FitSet

SIZE = (2400, 1680)
"""Sheet in its own units; edges of panels are multiples of six, so that they fall on dots."""
_SCALE, _REDUCE = 5 / 3, 2
"""Dots drawn for one unit, and how many of them make one dot of the file: 2000 x 1400."""
_MARGIN = 72
_MOSAIC = (_MARGIN, 264)
_BOXES = {
    ABOVE: (0, 0, 828, 948),
    LEFT: (852, 0, 1542, 450),
    RIGHT: (1566, 0, 2256, 450),
    QUARTER: (852, 498, 1542, 948),
}
_TABLE = (_MARGIN + 1566, _MOSAIC[1] + 498)
_STRIPS = ((_MARGIN, 1336, 1188, 1530), (1212, 1336, SIZE[0] - _MARGIN, 1530))


Kept = TypeVar("Kept")


@dataclass(frozen=True)
class Region:
    """The corner-to-corner box of both bars in every case of a set, m, body frame."""

    lowest: NDArray[np.float64]
    highest: NDArray[np.float64]


def region(fitset: FitSet) -> Region:
    """Return the box that holds both bars where they were seated, the same for every case."""
    fit = next(iter(fitset.fits.values()))
    rims = [
        moved(fit.equilibrium.T_body_tree_seat @ bar.T_tree_bar, outline(bar))
        for bar in fitset.tree.bars
    ]
    corners = np.vstack(rims)
    return Region(corners.min(axis=0), corners.max(axis=0))


def top_of_scale(fitset: FitSet) -> float:
    """Return the one top of the pressure scale for all cases of a set, Pa."""
    held = [fit.measures for fit in fitset.fits.values() if fit.measures]
    peak, usual = max((m.peak for m in held), default=0.0), max((m.p95 for m in held), default=0.0)
    return scale_top(peak, usual)


def draw_cases(
    fitset: FitSet, directory: str | Path, *, system: System = "metric"
) -> dict[str, Path]:
    """Draw one picture per case into a folder.

    Parameters
    ----------
    fitset : all cases of one tree on one back.
    directory : folder that exists.
    system : "metric" or "inch".

    Returns
    -------
    The file of each case, by case name: ``<case>.png``.

    Raises
    ------
    RuntimeError
        When this machine draws blank pictures.
    """
    from fitsim.files import whole_file

    def kept(name: str, sheet: Image.Image) -> Path:
        file = Path(directory) / f"{name}.png"
        with whole_file(file) as draft:
            sheet.save(draft, format="PNG", compress_level=2)
        return file

    return _each_case(fitset, kept, system)


def sheets(fitset: FitSet, *, system: System = "metric") -> dict[str, Image.Image]:
    """Return one picture per case, by case name."""
    return _each_case(fitset, lambda _, sheet: sheet, system)


def _each_case(
    fitset: FitSet, kept: Callable[[str, Image.Image], Kept], system: System
) -> dict[str, Kept]:
    """Draw each case and return what `kept` makes of its name and sheet.

    One thread makes the plotter and renders; the sheets are then put together side by side.
    """
    space, top = region(fitset), top_of_scale(fitset)
    seen = views(space.lowest, space.highest, _BOXES)
    skin = canvas(fitset.back)
    body = fitset.tree.vertices, fitset.tree.triangles
    with stage(fitset.back.chart, skin.line.shape, body, seen, _SCALE, _REDUCE) as on:
        place = on.place
        shapes = {
            name: tree_shape(on, moved(fit.equilibrium.T_body_tree, fitset.tree.vertices))
            for name, fit in fitset.fits.items()
        }

    def drawn(name: str) -> Kept:
        fit = fitset.fits[name]
        painted = painted_skin(skin, fit.equilibrium, top)
        mosaic = shown_skin(painted, place, shapes[name])
        return kept(name, composed(fitset, fit, mosaic, seen, top=top, system=system))

    with ThreadPoolExecutor(max_workers=2) as pool:
        return dict(zip(shapes, pool.map(drawn, shapes), strict=True))


def shown_skin(
    skin: NDArray[np.uint8], place: NDArray[np.int32], tree: NDArray[np.uint8]
) -> Image.Image:
    """Return the mosaic: painted skin looked up for every dot, the tree as a thin veil over it.

    Parameters
    ----------
    skin : (h, w, 3) painted skin.
    place : over the mosaic, one more than the index into the skin, 0 for the panel behind.
    tree : over the mosaic, 255 where the tree is.
    """
    from PIL import Image

    packed = np.empty(skin.shape[0] * skin.shape[1] + 1, dtype=np.uint32)
    dots = packed.view(np.uint8).reshape(-1, 4)
    dots[0] = (*PANEL, 255)
    dots[1:, :3] = skin.reshape(-1, 3)
    looked_up = np.take(packed, place, mode="clip")
    mosaic = Image.frombuffer("RGBX", place.shape[::-1], looked_up, "raw", "RGBX", 0, 1)
    mosaic = mosaic.convert("RGB")
    veil = Image.fromarray((tree > 0).astype(np.uint8) * 26)
    mosaic.paste(INK, (0, 0), veil.resize(mosaic.size, Image.Resampling.BILINEAR))
    return mosaic


def composed(
    fitset: FitSet, fit: Fit, mosaic: Image.Image, seen: tuple[View, ...], *,
    top: float, system: System,
) -> Image.Image:  # fmt: skip
    """Return the sheet of one case around its rendered mosaic."""
    from PIL import Image

    sheet = Image.new("RGB", (_dots(SIZE[0]), _dots(SIZE[1])), PAPER)
    _paste_panels(sheet, mosaic)
    pen = Pen(sheet, _SCALE)
    _heading(pen, fit, system)
    _scale_bar(pen, top, system)
    for view in seen:
        corner = (_MOSAIC[0] + view.box[0], _MOSAIC[1] + view.box[1])
        pen.text(corner[0], corner[1] - 16, view.name, 25, face="bold")
        overlay.draw(pen, corner, view, fitset, fit, system)
    _hotspot_table(pen, fit, system)
    _free_zones(pen, fit, system)
    if fit.measures is None:
        _no_result(pen)
    else:
        _daylight(pen, fitset, fit, top, system)
    _foot(pen, fitset)
    return sheet.reduce(_REDUCE)


def _paste_panels(sheet: Image.Image, mosaic: Image.Image) -> None:
    """Lay the panels on the sheet with round corners."""
    from PIL import Image, ImageDraw

    for box in _BOXES.values():
        left, top, right, bottom = (_dots(edge) for edge in box)
        panel = mosaic.crop((left, top, right, bottom))
        mask = Image.new("L", panel.size, 0)
        corners = (0, 0, panel.width - 1, panel.height - 1)
        ImageDraw.Draw(mask).rounded_rectangle(corners, _dots(14), fill=255)
        sheet.paste(panel, (_dots(_MOSAIC[0]) + left, _dots(_MOSAIC[1]) + top), mask)


def _dots(units: float) -> int:
    """Return sheet units in dots as drawn."""
    return round(units * _SCALE)


def _heading(pen: Pen, fit: Fit, system: System) -> None:
    """Write the case and what it shows."""
    pen.text(_MARGIN, 118, case_title(fit.case.name), 66, face="serif")
    room, line, y = 1440, "", 168
    for word in " ".join(verdict(fit, system)[:4]).split(" "):
        if pen.width(f"{line} {word}", 31) > room:
            pen.text(_MARGIN, y, line, 31)
            line, y = word, y + 39
        else:
            line = f"{line} {word}".strip()
    pen.text(_MARGIN, y, line, 31)


def _scale_bar(pen: Pen, top: float, system: System) -> None:
    """Draw the one scale of the set."""
    from PIL import Image

    left, right, upper, lower = 1640, SIZE[0] - _MARGIN, 104, 132
    how = shown("pressure", system)
    pen.text(left, 88, f"Pressure on the skin, {how.unit}", 25, face="bold")
    pen.quiet(right, 88, "an estimate; darker presses harder", 21, anchor="rs")
    strip = Image.fromarray(pressure_map()[None, :, :])
    strip = strip.resize((_dots(right - left), _dots(lower - upper)))
    pen.picture.paste(strip, (_dots(left), _dots(upper)))
    for part in range(6):
        x = left + (right - left) * part / 5
        pen.line([(x, lower), (x, lower + 7)], QUIET, 1.2)
        value = top * part / 5 * how.per_si
        mark = f"{value:.1f}" if system == "inch" else f"{value:g}"
        if part == 5:
            mark += " and over"
        pen.text(x, lower + 32, mark, 22, anchor="ls" if part == 0 else "rs" if part == 5 else "ms")


def _hotspot_table(pen: Pen, fit: Fit, system: System) -> None:
    """Write the numbered places that press hardest."""
    left, y = _TABLE
    right = SIZE[0] - _MARGIN
    pen.text(left, y - 16, "Where it presses hardest", 25, face="bold")
    pen.quiet(right, y - 16, shown("pressure", system).unit, anchor="rs")
    spots = fit.measures.hotspots[: overlay.SPOTS] if fit.measures else ()
    for row, spot in enumerate(spots):
        base = y + 38 + 48 * row
        pen.disc(left + 18, base - 9, str(spot.number), 16)
        pen.text(left + 50, base, zone_words(spot.zone, spot.side).capitalize(), 26)
        wide = 190 * min(spot.peak / max(spots[0].peak, 1.0), 1.0)
        pen.box((right - 262, base - 16, right - 262 + wide, base - 4), fill=(*TAN, 255), radius=4)
        pen.text(right, base, number(spot.peak, "pressure", system), 26, face="bold", anchor="rs")
        pen.line([(left, base + 16), (right, base + 16)], (*LINE, 255), 1.0)
    if not spots:
        words = "Nothing presses as a spot." if fit.measures else "No result: the tree does not stay."
        pen.text(left, y + 38, words, 26, colour=QUIET)


def _free_zones(pen: Pen, fit: Fit, system: System) -> None:
    """Write what the zones that should stay free carry."""
    if fit.measures is None:
        return
    left, y, right = _TABLE[0], _TABLE[1] + 322, SIZE[0] - _MARGIN
    pen.text(left, y - 16, "What should stay free carries", 25, face="bold")
    pen.quiet(right, y - 16, f"share of load, hardest {shown('pressure', system).unit}", 20, "rs")
    for row, (zone, words) in enumerate(_FREE):
        base = y + 30 + 42 * row
        share = zone_share(fit.measures, zone)
        pen.text(left, base, words, 25)
        wide = 190 * min(share, 1.0)
        pen.box((right - 330, base - 15, right - 140, base - 4), fill=(*PANEL, 255), radius=4)
        if wide >= 1:
            pen.box((right - 330, base - 15, right - 330 + wide, base - 4), fill=(*TAN, 255), radius=3)
        pen.text(right - 62, base, percent(share), 25, face="bold", anchor="rs")
        peak = zone_peak(fit.measures, zone)
        pen.text(right, base, number(peak, "pressure", system), 25, anchor="rs")
        if row < len(_FREE) - 1:
            pen.line([(left, base + 14), (right, base + 14)], (*LINE, 255), 1.0)


_FREE = (("scapula", "Shoulder blades"), ("fat_pocket", "Fat pockets"), ("spine", "Spine"))


def _no_result(pen: Pen) -> None:
    """Say in the place of the strips why there are no numbers."""
    left, top = float(_MARGIN), _STRIPS[0][1] - 40.0
    pen.box((left, top, SIZE[0] - left, top + 150), fill=(*PANEL, 255), radius=14)
    pen.text(left + 32, top + 62, "There are no pressures to show for this case.", 31, face="serif")
    pen.text(
        left + 32, top + 108,
        "The forces find no balance: the tree leaves the back before it comes to rest. "
        "The grey shape is the last place it was met.",
        27, colour=QUIET,
    )  # fmt: skip


def _daylight(pen: Pen, fitset: FitSet, fit: Fit, top: float, system: System) -> None:
    """Draw the two strips of daylight under the bars."""
    lift = fit.measures.lift if fit.measures else {}
    strips: list[Daylight] = [
        daylight(fitset.back.chart, fitset.tree, fit.equilibrium, k) for k in range(2)
    ]
    area = _STRIPS[0]
    steep = stretch(strips, area[2] - area[0], area[3] - area[1] - 24)
    padded = fitset.pad.thickness > 0
    for edges, under in zip(_STRIPS, strips, strict=True):
        pen.text(edges[0], edges[1] - 48, f"Under the {under.side} bar", 25, face="bold")
        wide = pen.width(f"Under the {under.side} bar", 25, "bold")
        pen.quiet(edges[0] + wide + 14, edges[1] - 48, f"head on the left; levelled, heights stretched {steep:g} times")
        ends = lift.get(f"front_{under.side}", np.nan), lift.get(f"rear_{under.side}", np.nan)
        draw_strip(
            pen, edges, under, top=top, steep=steep, system=system, padded=padded, lift=ends
        )
        ruled(pen, edges)
    _strip_key(pen, fitset)


def _strip_key(pen: Pen, fitset: FitSet) -> None:
    """Explain the strips' lines in one row."""
    y, x = 1596.0, float(_MARGIN)
    lower = "back with its pad" if fitset.pad.thickness > 0 else "back"
    for mark, words in (
        ("day", "daylight under the bar (on the views: blue hatching)"),
        ("line", f"dashed: the {lower} before it is pressed in"),
        ("edge", "coloured edge: touching, in the colours of the scale"),
        ("hole", "crossed grey lines on the views: hole in the scan, filled"),
    ):
        x = _key(pen, x, y, mark, words) + 40


def _key(pen: Pen, x: float, y: float, mark: str, words: str) -> float:
    """Draw one entry of the key and return where it ends."""
    if mark == "day":
        pen.box((x, y - 15, x + 34, y + 1), fill=(*DAYLIGHT, 255), radius=3)
    elif mark == "line":
        for k in range(3):
            pen.line([(x + 13 * k, y - 7), (x + 13 * k + 8, y - 7)], QUIET, 1.6)
    elif mark == "edge":
        for k in range(34):
            red, green, blue = (int(part) for part in pressure_map()[min(k * 7, 255)])
            pen.box((x + k, y - 13, x + k + 1, y - 2), fill=(red, green, blue))
    else:
        for k in range(4):
            pen.line([(x + 9 * k, y - 15), (x + 9 * k + 12, y)], QUIET, 1.2)
            pen.line([(x + 9 * k + 12, y - 15), (x + 9 * k, y)], QUIET, 1.2)
    pen.quiet(x + 46, y, words, 20)
    return x + 46 + pen.width(words, 20)


def _foot(pen: Pen, fitset: FitSet) -> None:
    """Write what was fitted, and that it is an estimate."""
    y = SIZE[1] - 34
    parts = [fitset.tree.name, f"pad: {fitset.pad.name}", fitset.back.provenance.name]
    pen.quiet(_MARGIN, y, "  ·  ".join(parts), 20)
    pen.text(
        SIZE[0] - _MARGIN, y,
        "An estimate from a model, not a measurement. Confirm the fit on the standing and moving animal.",
        20, colour=DAYLIGHT_INK, anchor="rs",
    )  # fmt: skip
