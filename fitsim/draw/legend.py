"""What explains a sheet: the scale, the key of the strips, and what was fitted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitsim.draw.layout import MARGIN, SIZE, dots
from fitsim.draw.palette import DAYLIGHT, DAYLIGHT_INK, QUIET, pressure_map
from fitsim.draw.quantity import System, shown

if TYPE_CHECKING:
    from fitsim.draw.lettering import Pen
    from fitsim.study.fit import FitSet


def scale_bar(pen: Pen, top: float, system: System) -> None:
    """Draw the one scale of the set."""
    from PIL import Image

    left, right, upper, lower = 1640, SIZE[0] - MARGIN, 104, 132
    how = shown("pressure", system)
    pen.text(left, 88, f"Pressure on the skin, {how.unit}", 25, face="bold")
    pen.quiet(right, 88, "an estimate; darker presses harder", 21, anchor="rs")
    strip = Image.fromarray(pressure_map()[None, :, :])
    strip = strip.resize((dots(right - left), dots(lower - upper)))
    pen.picture.paste(strip, (dots(left), dots(upper)))
    anchors = ("ls", "ms", "ms", "ms", "ms", "rs")
    for part, anchor in enumerate(anchors):
        share = part / (len(anchors) - 1)
        x = left + (right - left) * share
        pen.line([(x, lower), (x, lower + 7)], QUIET, 1.2)
        value = top * share * how.per_si
        mark = f"{value:.1f}" if system == "inch" else f"{value:g}"
        more = " and over" if anchor == "rs" else ""
        pen.text(x, lower + 32, mark + more, 22, anchor=anchor)


def strip_key(pen: Pen, fitset: FitSet) -> None:
    """Explain the strips' lines in one row."""
    y, x = 1596.0, float(MARGIN)
    lower = "back with its pad" if fitset.pad.thickness > 0 else "back"
    for mark, words in (
        ("day", "daylight under the bar (on the views: blue hatching)"),
        ("line", f"dashed: the {lower} before it is pressed in"),
        ("edge", "coloured edge: touching, in the colours of the scale"),
        ("hole", "crossed lines: hole in the scan, filled; pressure there is unsure"),
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


def foot(pen: Pen, fitset: FitSet) -> None:
    """Write what was fitted, and that it is an estimate."""
    y = SIZE[1] - 34
    parts = [fitset.tree.name, f"pad: {fitset.pad.name}", fitset.back.provenance.name]
    pen.quiet(MARGIN, y, "  ·  ".join(parts), 20)
    caution = (
        "An estimate from a model, not a measurement. "
        "Confirm the fit on the standing and moving animal."
    )
    pen.text(SIZE[0] - MARGIN, y, caution, 20, colour=DAYLIGHT_INK, anchor="rs")
