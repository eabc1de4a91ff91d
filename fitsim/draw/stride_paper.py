"""What stays the same on every picture of a stride: words, scale, and curves through the stride."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw.lettering import Pen, broken
from fitsim.draw.palette import LINE, PAPER, QUIET, pressure_map
from fitsim.draw.quantity import quantity, shown

if TYPE_CHECKING:
    from PIL import Image

    from fitsim.draw.profile import Look
    from fitsim.study.stride import Stride

SIZE = (1200, 800)
"""Of a picture, units; a unit is a dot of the finished picture."""
SCALE = 2
"""Dots drawn for a unit, reduced at the end."""
MARGIN = 32
ABOVE_BOX = (MARGIN, 150, 492, 770)
STRIPS = ((524, 190, 1168, 322), (524, 412, 1168, 544))
CURVE = (584, 640, 1168, 740)
HELD = (168, 44, 12)
"""Colour of a blade that is held down."""
GLIDING = (24, 84, 107)
"""And of one that is free."""
_OTHER = (201, 122, 60)
_CAUTION = (
    "An estimate from a model, not a measurement. Confirm it on the moving animal; pain, lameness "
    "or sores go to a veterinarian."
)


def paper(stride: Stride, title: str, todo: str, look: Look) -> Image.Image:
    """Return what stays the same from picture to picture, `SCALE` dots a unit.

    Parameters
    ----------
    stride : Stride
    title, todo : what it shows and what to try.
    look : how the strips are drawn.
    """
    from PIL import Image

    sheet = Image.new("RGB", (SIZE[0] * SCALE, SIZE[1] * SCALE), PAPER)
    pen = Pen(sheet, SCALE)
    pen.text(MARGIN, 58, title, 38, face="serif")
    size, lines = broken(pen, todo, 1136 - 400, (22, 20, 18))
    for row, line in enumerate(lines):
        pen.text(MARGIN, 92 + 26 * row, line, size)
    pen.text(MARGIN, 142, f"From above, at {stride.gait.words}", 17, face="bold")
    _scale_bar(pen, look)
    high = f"heights stretched {look.steep:g} times" if look.steep > 1 else "true heights"
    for edges, side, how in zip(
        STRIPS, ("left", "right"), ("dashed: unpressed skin", high), strict=True
    ):
        words = f"Under the front half of the {side} bar"
        wide = pen.text(edges[0], edges[1] - 14, words, 19, face="bold")
        pen.quiet(edges[0] + wide + 10, edges[1] - 14, f"head on the left; {how}", 15)
    _curves(pen, stride, look)
    pen.quiet(MARGIN, SIZE[1] - 10, _CAUTION, 15)
    return sheet


def _scale_bar(pen: Pen, look: Look) -> None:
    from PIL import Image

    left, right, upper, lower = 848, 1168, 92, 108
    how = shown("pressure", look.system)
    pen.text(left, 84, f"Pressure on the skin, {how.unit}", 17, face="bold")
    strip = Image.fromarray(pressure_map()[None, :, :])
    strip = strip.resize(((right - left) * SCALE, (lower - upper) * SCALE))
    pen.picture.paste(strip, (left * SCALE, upper * SCALE))
    for part, anchor in ((0.0, "ls"), (0.5, "ms"), (1.0, "rs")):
        more = " and over" if anchor == "rs" else ""
        value = look.top * part * how.per_si
        words = f"{value:.1f}" if look.system == "inch" else f"{value:g}"
        pen.text(left + part * (right - left), lower + 20, words + more, 16, anchor=anchor)


def _curves(pen: Pen, stride: Stride, look: Look) -> None:
    """How far each blade is held down, and how heavy the load is, through the stride."""
    measures = stride.measures
    left, upper, right, lower = CURVE
    pen.text(
        524, upper - 30, "Held down under the bar's front, through the stride", 19, face="bold"
    )
    pen.line([(left, lower), (right, lower)], LINE, 1.2)
    if measures is None:
        return
    most = max(float(one.lift.max()) for one in measures.shoulders.values())
    most = max(most, *(float(one.held_down.max()) for one in measures.shoulders.values()), 1e-4)
    phase = np.append(stride.phases, 1.0)
    across = left + phase * (right - left)
    for side, colour in (("left", HELD), ("right", _OTHER)):
        values = measures.shoulders[side].held_down
        up = lower - (lower - upper) * np.append(values, values[0]) / most
        pen.line(list(zip(across.tolist(), up.tolist(), strict=True)), colour, 2.4)
    load = np.array([one.posture.load for one in stride.moments])
    up = lower - (lower - upper) * np.append(load, load[0]) / max(float(load.max()), 1.0)
    pen.line(list(zip(across.tolist(), up.tolist(), strict=True)), (*QUIET, 130), 1.4)
    pen.quiet(left - 6, upper + 12, quantity(most, "length", look.system), 15, anchor="rs")
    pen.quiet(left - 6, lower, quantity(0.0, "length", look.system), 15, anchor="rs")
    x = float(left)
    for words, colour in (
        ("left blade", HELD), ("right blade", _OTHER),
        (f"load, up to {load.max():.1f} times its weight", QUIET),
    ):  # fmt: skip
        pen.line([(x, lower + 18), (x + 18, lower + 18)], colour, 2.6)
        x += 24 + pen.text(x + 24, lower + 23, words, 16) + 22
