"""Where things stand on a sheet, in sheet units."""

from __future__ import annotations

from fitsim.draw.view import ABOVE, LEFT, QUARTER, RIGHT

SIZE = (2400, 1680)
"""Sheet in its own units; edges of panels are multiples of six, so that they fall on dots."""
SCALE, REDUCE = 5 / 3, 2
"""Dots drawn for one unit, and how many of them make one dot of the file: 2000 x 1400."""
MARGIN = 72
MOSAIC = (MARGIN, 264)
BOXES = {
    ABOVE: (0, 0, 828, 948),
    LEFT: (852, 0, 1542, 450),
    RIGHT: (1566, 0, 2256, 450),
    QUARTER: (852, 498, 1542, 948),
}
TABLE = (MARGIN + 1566, MOSAIC[1] + 498)
STRIPS = ((MARGIN, 1336, 1188, 1530), (1212, 1336, SIZE[0] - MARGIN, 1530))

VERDICT_ROOM = 1500
"""How long a line of what a case shows may be."""
VERDICT_SIZES = (31, 29, 27, 25, 23)
"""Type sizes tried for it."""


def dots(units: float) -> int:
    """Return sheet units in dots as drawn."""
    return round(units * SCALE)
