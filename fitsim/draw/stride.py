"""A stride as moving pictures: the back from above and what happens under each bar."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw.bars import bar_pose, daylight, footprint, moved, outline
from fitsim.draw.lettering import Pen
from fitsim.draw.paint import canvas, painted_skin
from fitsim.draw.palette import INK, PANEL, scale_top
from fitsim.draw.profile import Look, draw_strip, heights
from fitsim.draw.quantity import quantity
from fitsim.draw.stage import stage
from fitsim.draw.stride_paper import ABOVE_BOX, CURVE, GLIDING, HELD, SCALE, STRIPS, paper
from fitsim.draw.surface import laid_on
from fitsim.draw.view import ABOVE, View

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray
    from PIL import Image

    from fitsim.draw.bars import Daylight
    from fitsim.draw.paint import Canvas
    from fitsim.draw.quantity import System
    from fitsim.study.stride import Moment, Stride
    from fitsim.tree.tree import Side

    Array = NDArray[np.float64]

BARELY = 0.001
"""m: an edge pressed in less than this is drawn as free."""
_STEEPEST = 4.0
_SHOWN = 0.5
"""Share of the bar, from its front, that the strips show."""


@dataclass(frozen=True)
class _Set:
    """What all frames of a stride share."""

    stride: Stride
    view: View
    place: NDArray[np.int32]
    skin: Canvas
    look: Look
    paper: Image.Image
    unders: list[tuple[Daylight, Daylight]]
    edge_x: dict[Side, float]


def frames(
    stride: Stride, title: str, todo: str, *, system: System = "metric"
) -> Iterator[Image.Image]:
    """Draw a stride, one picture a moment.

    Parameters
    ----------
    stride : Stride
        One through which the tree stays on.
    title, todo : what the stride shows and what to try, written over the pictures.
    system : units people chose.

    Yields
    ------
    Image
        1200 x 800, RGB.

    Raises
    ------
    RuntimeError
        When this machine draws blank pictures.
    """
    on = _set(stride, title, todo, system)
    for number in range(len(stride.moments)):
        yield _frame(on, number)


def _set(stride: Stride, title: str, todo: str, system: System) -> _Set:
    skin = canvas(stride.back)
    view = _view(stride)
    body = stride.tree.vertices, stride.tree.triangles
    with stage(
        stride.back.chart, skin.line.shape, body, (view,), scale=SCALE, reduce=SCALE
    ) as opened:
        place = opened.place
    unders = [_unders(stride, moment) for moment in stride.moments]
    measures = stride.measures
    top = scale_top(*((measures.peak.max(), 0.8 * measures.peak.max()) if measures else (0, 0)))
    look = Look(top, _stretch(unders), stride.pad.thickness > 0.0, system)
    sheet = paper(stride, title, todo, look)
    edge_x = {under.side: _edge_station(stride, under) for under in unders[0]}
    return _Set(stride, view, place, skin, look, sheet, unders, edge_x)


def _view(stride: Stride) -> View:
    """From above, on both bars as seated."""
    rims = np.vstack(
        [
            moved(stride.laid.seat.T_body_tree @ bar.T_tree_bar, outline(bar))
            for bar in stride.tree.bars
        ]
    )
    low, high = rims.min(axis=0), rims.max(axis=0)
    ahead, left, _ = np.eye(3)
    left_edge, top_edge, right_edge, bottom_edge = ABOVE_BOX
    box = (0, 0, right_edge - left_edge, bottom_edge - top_edge)
    per_m = box[3] / (high[0] - low[0] + 0.28)
    return View(ABOVE, -left, ahead, (low + high) / 2 + 0.03 * ahead, per_m, box)


def _unders(stride: Stride, moment: Moment) -> tuple[Daylight, Daylight]:
    """What lies under each bar at one moment, on the moving skin."""
    chart = stride.back.chart
    points = chart.points.copy()
    points[chart.valid] = moment.posture.points
    now = replace(chart, points=points)
    left, right = (_front(daylight(now, stride.tree, moment.equilibrium, side)) for side in (0, 1))
    return left, right


def _front(under: Daylight) -> Daylight:
    """The front part of a strip, where the shoulder blade moves."""
    count = round(_SHOWN * len(under.along))
    fall = under.bar[count - 1, 2] - under.bar[0, 2]
    return replace(
        under,
        slope=float(fall / under.along[count - 1]),
        along=under.along[:count],
        bar=under.bar[:count],
        gap=under.gap[:count],
        indentation=under.indentation[:count],
        pressure=under.pressure[:count],
    )


def _stretch(unders: list[tuple[Daylight, Daylight]]) -> float:
    """How much heights can be stretched against lengths in the strips."""
    left, upper, right, lower = STRIPS[0]
    tall, length = 1e-3, 1e-3
    for under in (one for both in unders for one in both):
        bar, back, free = heights(under)
        tall = max(tall, float(max(bar.max(), free.max()) - back.min()))
        length = max(length, float(under.along[-1]))
    room = ((lower - upper - 16) / tall) / ((right - left) / length)
    return float(np.clip(np.floor(2.0 * room) / 2.0, 1.0, _STEEPEST))


def _frame(on: _Set, number: int) -> Image.Image:
    moment = on.stride.moments[number]
    sheet = on.paper.copy()
    pen = Pen(sheet, SCALE)
    painted = painted_skin(on.skin, moment.equilibrium, on.look.top).reshape(-1, 3)
    dots = np.vstack([np.array([PANEL], dtype=np.uint8), painted])
    _paste_panel(sheet, dots[on.place])
    _rims(pen, on, moment)
    for side in ("left", "right"):
        _edge(pen, on, number, side)
    for edges, under in zip(STRIPS, on.unders[number], strict=True):
        draw_strip(pen, edges, under, (float("nan"), float("nan")), on.look)
        _edge_marker(pen, edges, on, number, under)
    left, upper, right, lower = CURVE
    x = left + moment.posture.phase * (right - left)
    pen.line([(x, upper - 10), (x, lower + 4)], INK, 1.6)
    pen.quiet(right, upper - 30, f"{100 * moment.posture.phase:.0f} % of the stride", 16, "rs")
    return sheet.reduce(SCALE)


def _paste_panel(sheet: Image.Image, dots: NDArray[np.uint8]) -> None:
    """Lay the view on the sheet with round corners."""
    from PIL import Image, ImageDraw

    panel = Image.fromarray(dots)
    mask = Image.new("L", panel.size, 0)
    corners = (0, 0, panel.width - 1, panel.height - 1)
    ImageDraw.Draw(mask).rounded_rectangle(corners, 12 * SCALE, fill=255)
    sheet.paste(panel, (ABOVE_BOX[0] * SCALE, ABOVE_BOX[1] * SCALE), mask)


def _rims(pen: Pen, on: _Set, moment: Moment) -> None:
    """Draw the bars' rims where they lie on the skin at this moment, and which way it looks."""
    tree, chart, corner = on.stride.tree, on.stride.back.chart, np.array(ABOVE_BOX[:2], dtype=float)
    T_standing_now = np.linalg.inv(moment.T_now_standing)
    for index, bar in enumerate(tree.bars):
        rim = moved(T_standing_now @ bar_pose(tree, moment.equilibrium, index), outline(bar))
        page = on.view.page(footprint(chart, rim)) + corner
        pen.line([(float(x), float(y)) for x, y in page], (*INK, 235), 1.6)
    middle = float(corner[0]) + on.view.size[0] / 2
    pen.arrow((middle, corner[1] + 52), (middle, corner[1] + 18), INK, 2, 11)
    pen.chip(middle + 12, corner[1] + 32, "head", 16, anchor="left")


def _edge(pen: Pen, on: _Set, number: int, side: Side) -> None:
    """Draw the rear edge of a blade on the skin, and say how far it has gone back."""
    glide = on.stride.moments[number].posture.glide[side]
    edge = on.stride.moving.blades[side].edge - [glide, 0.0]
    places, normals = laid_on(on.stride.back.chart, edge)
    seen = np.isfinite(places[:, 0]) & (on.view.facing(normals) > 0.0)
    page = on.view.page(places[seen]) + np.array(ABOVE_BOX[:2], dtype=float)
    line = [(float(x), float(y)) for x, y in page]
    if len(line) > 1:
        pen.line(line, (255, 255, 255, 220), 8.0)
        pen.line(line, HELD if _held(on, number, side) > BARELY else GLIDING, 4.6)
    x = ABOVE_BOX[0] + 12 if side == "left" else ABOVE_BOX[2] - 12
    back = quantity(glide, "length", on.look.system)
    pen.chip(x, ABOVE_BOX[1] + 26, side, 16, anchor=side, face="sans")
    pen.chip(x, ABOVE_BOX[1] + 60, f"blade {back} back", 16, anchor=side)


def _edge_marker(
    pen: Pen, edges: tuple[float, float, float, float], on: _Set, number: int, under: Daylight
) -> None:
    """Show where the blade's rear edge is under the bar, and how far it is held down."""
    side = under.side
    at = on.edge_x[side] - on.stride.moments[number].posture.glide[side]
    along = float(np.interp(-at, -under.bar[:, 0], under.along))
    left, _, right, lower = edges
    x = left + along * (right - left) / float(under.along[-1])
    held = _held(on, number, side)
    colour = HELD if held > BARELY else GLIDING
    pen.arrow((x, lower + 40), (x, lower + 8), colour, 2.4, 11)
    how = f"held down {quantity(held, 'length', on.look.system)}" if held > BARELY else "free"
    pen.chip(x + 12, lower + 32, f"blade's edge, {how}", 17, colour=colour, anchor="left")


def _held(on: _Set, number: int, side: Side) -> float:
    """How far a blade's edge is held down at one moment, m."""
    measures = on.stride.measures
    return 0.0 if measures is None else float(measures.shoulders[side].held_down[number])


def _edge_station(stride: Stride, under: Daylight) -> float:
    """Where the standing blade's rear edge crosses the middle of a bar's front, body x, m."""
    chart, edge = stride.back.chart, stride.moving.blades[under.side].edge
    place = under.bar[len(under.bar) // 4]
    off = np.where(chart.valid[..., None], chart.points, np.inf) - place
    _, column = np.unravel_index(int(np.argmin((off**2).sum(axis=-1))), chart.valid.shape)
    return float(np.interp(abs(chart.t[column]), np.abs(edge[:, 1]), edge[:, 0]))
