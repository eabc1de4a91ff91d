"""What is written on a view: head, sides, zones, numbered hotspots, lift at the tips."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw.bars import bar_pose, footprint, middle_line, moved, outline
from fitsim.draw.paint import OUTLINED
from fitsim.draw.palette import DAYLIGHT_INK, INK
from fitsim.draw.quantity import System, quantity
from fitsim.draw.surface import laid_on
from fitsim.draw.view import ABOVE, LEFT, QUARTER, RIGHT, View
from fitsim.draw.words import lifted_tips, zone_words

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.draw.lettering import Pen
    from fitsim.study.fit import Fit, FitSet

Corner = tuple[float, float]
Rect = tuple[float, float, float, float]
"""Left, top, right, bottom of something already written on a panel."""
SPOTS = 5
"""Most hotspots numbered on a sheet."""


@dataclass(frozen=True)
class Panel:
    """One view on the sheet: what to write with, its left top corner, and its projection."""

    pen: Pen
    corner: Corner
    view: View


_SEEN = 0.12
"""Cosine between skin and sight from which a place counts as seen."""


def draw(on: Panel, fitset: FitSet, fit: Fit, system: System) -> None:
    """Write everything that belongs on one view.

    Parameters
    ----------
    on : the view.
    fitset, fit : the set and the case shown.
    system : units people chose.
    """
    taken: list[Rect] = []
    _bearings(on)
    if fit.measures is not None:
        _rims(on, fitset, fit)
        taken += _tips(on, fitset, fit, system)
    if on.view.name == ABOVE:
        taken += _zone_names(on, fitset)
    if fit.measures is not None and on.view.name != QUARTER:
        _hotspots(on, fitset, fit, taken)


def _bearings(on: Panel) -> None:
    """Show where the head is, and left and right from above, and a length to scale."""
    pen, corner, view = on.pen, on.corner, on.view
    left, top = corner
    wide, high = view.size
    if view.name == ABOVE:
        pen.arrow((left + wide / 2, top + 64), (left + wide / 2, top + 22), INK, 2.4, 13)
        pen.chip(left + wide / 2 + 18, top + 40, "head", 22, anchor="left")
        pen.chip(left + 16, top + 34, "animal's left", 21, anchor="left", face="sans")
        pen.chip(left + wide - 16, top + 34, "animal's right", 21, anchor="right", face="sans")
        _ruler(pen, left + 22, top + high - 26, view.dots_per_m)
        return
    way = -1 if view.name == LEFT else 1
    if view.name == QUARTER:
        pen.text(left + 22, top + high - 22, "from the front, left and above", 21)
        return
    x = left + 22 if way < 0 else left + wide - 22
    pen.arrow((x - way * 42, top + 34), (x, top + 34), INK, 2.4, 13)
    pen.text(x - way * 52, top + 42, "head", 23, face="bold", anchor="ls" if way < 0 else "rs")


def _ruler(pen: Pen, x: float, y: float, per_m: float) -> None:
    """Draw a length of 100 mm to scale."""
    wide = 0.1 * per_m
    pen.line([(x, y - 8), (x, y), (x + wide, y), (x + wide, y - 8)], INK, 1.6)
    pen.text(x + wide + 12, y + 2, "100 mm (4 in)", 20)


def _rims(on: Panel, fitset: FitSet, fit: Fit) -> None:
    """Draw the rim of each bar's underside, from above where it falls on the skin."""
    pen, corner, view = on.pen, on.corner, on.view
    wide, high = view.size
    for index, bar in enumerate(fitset.tree.bars):
        if view.name not in (ABOVE, QUARTER) and _hidden(view, bar.side):
            continue
        rim = moved(bar_pose(fitset.tree, fit.equilibrium, index), outline(bar))
        rim = view.page(footprint(fitset.back.chart, rim) if view.name == ABOVE else rim)
        rim = np.clip(rim, 0, [wide, high]) + corner
        pen.line([(float(x), float(y)) for x, y in rim], (*INK, 235), 1.8)


def _zone_names(on: Panel, fitset: FitSet) -> list[Rect]:
    """Name the outlined zones, at their outer edge and off the bars."""
    pen, corner, view = on.pen, on.corner, on.view
    written: list[Rect] = []
    for zone in fitset.back.zones:
        words = zone_words(zone.name.rsplit("_", 1)[0] if "_" in zone.name else zone.name)
        points, normals = laid_on(fitset.back.chart, zone.outline)
        seen = np.isfinite(points[:, 0]) & (view.facing(normals) > _SEEN)
        if not zone.name.startswith(OUTLINED) or not seen.any():
            continue
        page = view.page(points[seen])
        half = (pen.width(words, 21) + 16) / 2
        if zone.name == "spine":
            x, y = view.size[0] / 2, view.size[1] - 34.0
        else:
            x, y = page[np.argmax(np.abs(page[:, 0] - view.size[0] / 2))]
            x += (half + 10) * (-1 if zone.name.endswith("left") else 1)
        x = float(np.clip(x, half + 8, view.size[0] - half - 8))
        y = float(np.clip(y, 84, view.size[1] - 34))
        pen.chip(corner[0] + x, corner[1] + y, words, 21, face="sans")
        written.append((x - half, y - 18, x + half, y + 18))
    return written


def _hotspots(on: Panel, fitset: FitSet, fit: Fit, taken: list[Rect]) -> None:
    """Ring each hotspot seen from here and number it on a disc beside it."""
    pen, corner, view = on.pen, on.corner, on.view
    if fit.measures is None:
        return
    chart = fitset.back.chart
    nodes, normals = chart.points[chart.valid], chart.normals[chart.valid]
    for spot in fit.measures.hotspots[:SPOTS]:
        place = np.array([spot.x, spot.y, spot.z])
        normal = normals[np.argmin(np.linalg.norm(nodes - place, axis=1))]
        if view.facing(normal)[0] < _SEEN or (view.name != ABOVE and _hidden(view, spot.side)):
            continue
        at = view.page(place)[0]
        disc = _free_place(at, view, taken)
        taken.append((disc[0] - 19, disc[1] - 19, disc[0] + 19, disc[1] + 19))
        x, y = corner[0] + at[0], corner[1] + at[1]
        pen.line([(x, y), (corner[0] + disc[0], corner[1] + disc[1])], INK, 1.8)
        pen.ring(x, y, 5.5)
        pen.disc(corner[0] + disc[0], corner[1] + disc[1], str(spot.number), 16)


def _hidden(view: View, side: str) -> bool:
    """Whether a side is turned away in a view from the left or right."""
    return side in ("left", "right") and (side == "left") != (view.name == LEFT)


def _free_place(at: NDArray[np.float64], view: View, taken: list[Rect]) -> NDArray[np.float64]:
    """Return a place for a disc beside a hotspot, off what is already written."""
    wide, high = view.size
    outward = 1.0 if at[0] >= wide / 2 else -1.0
    if view.name == ABOVE:
        steps = [(outward * far, up) for far in (92, 132, 172) for up in (0, -44, 44)]
    else:
        steps = [(aside, down) for down in (74, 112, 150) for aside in (0, 44, -44)]
    places = [np.clip(at + step, [24, 70], [wide - 24, high - 24]) for step in steps]

    def free(place: NDArray[np.float64]) -> bool:
        return not any(
            left - 19 < place[0] < right + 19 and top - 19 < place[1] < bottom + 19
            for left, top, right, bottom in taken
        )

    return next((place for place in places if free(place)), places[0])


def _tips(on: Panel, fitset: FitSet, fit: Fit, system: System) -> list[Rect]:
    """Write the clearance of each tip that lifts, beyond the tip."""
    pen, corner, view = on.pen, on.corner, on.view
    written: list[Rect] = []
    if fit.measures is None:
        return written
    lifted = lifted_tips(fit.measures)
    for index, bar in enumerate(fitset.tree.bars):
        if view.name in (LEFT, RIGHT) and _hidden(view, bar.side):
            continue
        line = moved(bar_pose(fitset.tree, fit.equilibrium, index), middle_line(bar))
        for end, place, inner in (("front", line[0], line[4]), ("rear", line[-1], line[-5])):
            if f"{end}_{bar.side}" not in lifted:
                continue
            at, back = view.page(place)[0], view.page(inner)[0]
            way = (at - back) / max(float(np.linalg.norm(at - back)), 1e-9)
            step = way * 36 if view.name == ABOVE else np.array([way[0] * 20, -46.0])
            words = f"lifts {quantity(fit.measures.lift[f'{end}_{bar.side}'], 'length', system)}"
            half = (pen.width(words, 22, "bold") + 16) / 2
            edge = [half + 8, 84]
            x, y = (float(v) for v in np.clip(at + step, edge, np.array(view.size) - [edge[0], 30]))
            pen.chip(corner[0] + x, corner[1] + y, words, 22, colour=DAYLIGHT_INK)
            written.append((x - half, y - 18, x + half, y + 18))
    return written
