"""One sheet per case: four views, hotspots, lift, daylight, and one scale for the whole set."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw import overlay
from fitsim.draw.bars import daylight, moved, outline
from fitsim.draw.lettering import Pen
from fitsim.draw.paint import canvas, painted_skin
from fitsim.draw.palette import DAYLIGHT_INK, INK, PANEL, PAPER, QUIET, pressure_map, scale_top
from fitsim.draw.profile import draw_strip, ruled, stretch
from fitsim.draw.quantity import System, number, quantity, shown
from fitsim.draw.stage import stage, tree_shape
from fitsim.draw.view import ABOVE, LEFT, QUARTER, RIGHT, View, views
from fitsim.draw.words import case_title, verdict, zone_words

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from PIL import Image

    from fitsim.draw.bars import Daylight
    from fitsim.study.fit import Fit, FitSet

SIZE = (2400, 1680)
"""Sheet, dots; A4 landscape at about 205 dots per inch."""
_SCALE = 2
_MARGIN = 72
_MOSAIC = (_MARGIN, 262)
_BOXES = {
    ABOVE: (0, 0, 832, 946),
    LEFT: (856, 0, 1544, 446),
    RIGHT: (1568, 0, 2256, 446),
    QUARTER: (856, 500, 1544, 946),
}
_TABLE = (_MARGIN + 1568, _MOSAIC[1] + 500)
_STRIPS = ((_MARGIN, 1336, 1188, 1530), (1212, 1336, SIZE[0] - _MARGIN, 1530))


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
    return scale_top([fit.measures.peak for fit in fitset.fits.values() if fit.measures])


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
    """
    from fitsim.files import whole_file

    folder, files = Path(directory), {}
    for name, sheet in sheets(fitset, system=system).items():
        files[name] = folder / f"{name}.png"
        with whole_file(files[name]) as draft:
            sheet.save(draft, format="PNG", compress_level=4)
    return files


def sheets(fitset: FitSet, *, system: System = "metric") -> dict[str, Image.Image]:
    """Return one picture per case, by case name."""
    space, top = region(fitset), top_of_scale(fitset)
    seen = views(space.lowest, space.highest, _BOXES)
    skin = canvas(fitset.back)
    body = fitset.tree.vertices, fitset.tree.triangles
    pictures = {}
    with stage(fitset.back.chart, skin.line.shape, body, seen, _SCALE) as on:
        for name, fit in fitset.fits.items():
            painted = painted_skin(skin, fit.equilibrium, top)
            tree = tree_shape(on, moved(fit.equilibrium.T_body_tree, fitset.tree.vertices))
            mosaic = shown_skin(painted, on.place, tree)
            pictures[name] = composed(fitset, fit, mosaic, seen, top=top, system=system)
    return pictures


def shown_skin(
    skin: NDArray[np.uint8], place: NDArray[np.int32], tree: NDArray[np.uint8]
) -> Image.Image:
    """Return the mosaic: painted skin looked up for every dot, the tree as a thin veil over it.

    Parameters
    ----------
    skin : (h, w, 3) painted skin.
    place : over the mosaic, index into the skin, -1 for the panel behind.
    tree : over the mosaic, 255 where the tree is.
    """
    from PIL import Image

    packed = np.empty(skin.shape[0] * skin.shape[1] + 1, dtype=np.uint32)
    dots = packed.view(np.uint8).reshape(-1, 4)
    dots[0] = (*PANEL, 255)
    dots[1:, :3] = skin.reshape(-1, 3)
    # Index -1 would be the last dot: the panel's colour sits at 0 and every index moves up one.
    mosaic = Image.frombuffer("RGBX", place.shape[::-1], packed[place + 1], "raw", "RGBX", 0, 1)
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

    sheet = Image.new("RGB", (SIZE[0] * _SCALE, SIZE[1] * _SCALE), PAPER)
    _paste_panels(sheet, mosaic)
    pen = Pen(sheet, _SCALE)
    _heading(pen, fit, system)
    _scale_bar(pen, top, system)
    for view in seen:
        corner = (_MOSAIC[0] + view.box[0], _MOSAIC[1] + view.box[1])
        pen.text(corner[0], corner[1] - 16, view.name, 25, face="bold")
        overlay.draw(pen, corner, view, fitset, fit, system)
    _hotspot_table(pen, fit, system)
    if fit.measures is not None:
        _daylight(pen, fitset, fit, top, system)
    _foot(pen, fitset)
    return sheet.reduce(_SCALE)


def _paste_panels(sheet: Image.Image, mosaic: Image.Image) -> None:
    """Lay the panels on the sheet with round corners."""
    from PIL import Image, ImageDraw

    for box in _BOXES.values():
        edges = tuple(_SCALE * edge for edge in box)
        panel = mosaic.crop(edges)
        mask = Image.new("L", panel.size, 0)
        ImageDraw.Draw(mask).rounded_rectangle((0, 0, panel.width - 1, panel.height - 1), 28, fill=255)
        sheet.paste(panel, (_SCALE * _MOSAIC[0] + edges[0], _SCALE * _MOSAIC[1] + edges[1]), mask)


def _heading(pen: Pen, fit: Fit, system: System) -> None:
    """Write the case and what it shows."""
    pen.text(_MARGIN, 118, case_title(fit.case.name), 66, face="serif")
    room, line, y = 1440, "", 168
    for word in " ".join(verdict(fit, system)[:4]).split():
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
    strip = Image.fromarray(pressure_map()[None, :, :]).resize(
        (_SCALE * (right - left), _SCALE * (lower - upper))
    )
    pen.picture.paste(strip, (_SCALE * left, _SCALE * upper))
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
    spots = fit.measures.hotspots[:7] if fit.measures else ()
    for row, spot in enumerate(spots):
        base = y + 44 + 56 * row
        pen.disc(left + 18, base - 9, str(spot.number), 16)
        where = zone_words(spot.zone, spot.side).capitalize()
        pen.text(left + 50, base, where, 27)
        wide = 190 * min(spot.peak / max(spots[0].peak, 1.0), 1.0)
        pen.box((right - 262, base - 18, right - 262 + wide, base - 4), fill=(*QUIET, 90), radius=4)
        pen.text(right, base, number(spot.peak, "pressure", system), 27, face="bold", anchor="rs")
        pen.line([(left, base + 20), (right, base + 20)], (*QUIET, 50), 1.0)
    if not spots:
        reason = "Nothing presses as a spot." if fit.measures else "No result: the tree does not stay."
        pen.text(left, y + 44, reason, 27, colour=QUIET)


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
        pen.quiet(edges[0] + wide + 14, edges[1] - 48, f"head on the left; heights drawn {steep:g} times")
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
        pen.box((x, y - 15, x + 34, y + 1), fill=(132, 177, 196, 255), radius=3)
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


def lift_words(metres: float, system: System) -> str:
    """Return a lift as written beside a tip."""
    return f"lifts {quantity(metres, 'length', system)}"
