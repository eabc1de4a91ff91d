"""The skin as a picture in chart coordinates: hide, pressure, daylight and filled holes.

Painting in the chart and laying the picture on the surface keeps colours exactly as on the
scale (nothing is lit afterwards) and interpolates pressure, not colour, between nodes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw.palette import DAYLIGHT, DAYLIGHT_INK, HIDE, INK, painted
from fitsim.draw.surface import on_nodes, rounded, under_bars

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Back, Chart
    from fitsim.contact.equilibrium import Equilibrium

TEXEL = 0.001
"""m on the skin for one dot of the painted picture."""
_LIGHT = np.array([0.30, 0.0, 0.95])
"""Way to the light: the same on both sides, so that shade is never taken for a difference."""
OUTLINED = ("scapula", "fat_pocket", "spine")
"""Zones drawn on the skin: those that must stay free."""
_INSIDE = 0.5
"""Cover from which a dot counts as inside a hole."""
_CROSSED = (0.45, 0.7)
"""Cover of the lines that cross a filled hole, on bare skin and on pressure."""
_MIDDLE = 120.0
"""Lightness, 0-255, below which lines on pressure are pale: both stand out from there."""
_OPEN = 0.0015
"""m: a gap under a bar is hatched as daylight from here."""


Window = tuple[slice, slice]


@dataclass(frozen=True)
class Canvas:
    """The unpainted skin of one back, made once and painted for every case.

    Attributes
    ----------
    chart : the surface it belongs to.
    hide : (h, w, 3) float32 array, 0-255, shaded hide with filled holes hatched.
    bare : (h, w, 3) uint8 array, the same with the zones' outlines: a skin that nothing presses.
    casing, line : (h, w) float32 arrays, 0-1, cover of the zones' outlines.
    crossed : (h, w) float32 array, 0-1, cover of the crossed lines over filled holes.
    across_x, across_t : (h, nx) and (w, nt) float32 arrays that carry node values to dots.
    """

    chart: Chart
    hide: NDArray[np.float32]
    bare: NDArray[np.uint8]
    casing: NDArray[np.float32]
    line: NDArray[np.float32]
    crossed: NDArray[np.float32]
    across_x: NDArray[np.float32]
    across_t: NDArray[np.float32]


def dots(count: int, spacing: float) -> NDArray[np.float64]:
    """Return where the dots of the painted picture lie along one axis, in node steps."""
    n = round((count - 1) * spacing / TEXEL) + 1
    return np.linspace(0.0, count - 1.0, n)


def spline_weights(count: int, at: NDArray[np.float64]) -> NDArray[np.float32]:
    """Return weights of the cubic B-spline through node values used as coefficients.

    The spline is smooth, never overshoots and keeps the sum, at the price of a blur of half a
    node spacing, less than that of the 20 mm patch in which peaks are given.

    Parameters
    ----------
    count : number of nodes.
    at : (m,) array, places in node steps.

    Returns
    -------
    (m, count) array; rows sum to one.

    Examples
    --------
    >>> weights = spline_weights(9, np.linspace(0, 8, 33))
    >>> bool(np.allclose(weights.sum(axis=1), 1)), bool((weights >= 0).all())
    (True, True)
    """
    distance = np.abs(at[:, None] - np.arange(-1, count + 1)[None, :])
    near = 2 / 3 - distance**2 * (1 - distance / 2)
    far = np.clip(2 - distance, 0.0, None) ** 3 / 6
    padded = np.where(distance < 1, near, far)
    weights = padded[:, 1:-1].copy()
    weights[:, 0] += padded[:, 0]  # the field goes on level beyond its rim
    weights[:, -1] += padded[:, -1]
    return weights.astype(np.float32)


def line_weights(count: int, at: NDArray[np.float64]) -> NDArray[np.float32]:
    """Return weights of linear interpolation between nodes, (m, count)."""
    distance = np.abs(at[:, None] - np.arange(count)[None, :])
    return np.asarray(np.clip(1 - distance, 0.0, None), dtype=np.float32)


def _hatch(
    shape: tuple[int, int], angle: float, period: float, width: float,
    window: Window = (slice(None), slice(None)),
) -> NDArray[np.float32]:  # fmt: skip
    """Return the cover (0-1) of parallel lines; period and width in m on the skin."""
    rows = np.arange(shape[0], dtype=np.float32)[window[0], None] * np.float32(np.sin(angle))
    columns = np.arange(shape[1], dtype=np.float32)[None, window[1]] * np.float32(np.cos(angle))
    place = (rows + columns) * np.float32(TEXEL)
    off = np.abs(np.mod(place, period) - period / 2)
    return np.asarray(np.clip(0.5 + (width / 2 - off) / TEXEL, 0.0, 1.0), dtype=np.float32)


def _laid(
    under: NDArray[np.float32], colour: tuple[int, int, int], cover: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Return `under` with a colour laid over it."""
    paint = np.asarray(colour, dtype=np.float32)
    laid: NDArray[np.float32] = under + cover[..., None] * (paint - under)
    return laid


def _coat(chart: Chart) -> NDArray[np.float64]:
    """Return the coat's lightness at each node relative to its mean, muted, (nx, nt)."""
    if chart.colours is None:
        return np.ones(chart.valid.shape)
    light = chart.colours @ np.array([0.2126, 0.7152, 0.0722])
    mean = float(light[chart.valid].mean()) or 1.0
    return np.asarray(np.clip(1 + 0.22 * (light / mean - 1), 0.8, 1.15))


def canvas(back: Back) -> Canvas:
    """Return the unpainted skin of a back: muted coat, soft shading, filled holes hatched."""
    chart = back.chart
    at_x, at_t = dots(len(chart.x), chart.spacing), dots(len(chart.t), chart.spacing)
    spline_x, spline_t = spline_weights(len(chart.x), at_x), spline_weights(len(chart.t), at_t)
    normals = np.where(chart.valid[..., None], chart.normals, [0.0, 0.0, 1.0])
    facing = np.clip(normals @ (_LIGHT / np.linalg.norm(_LIGHT)), -1.0, 1.0)
    shade = (0.72 + 0.36 * facing) * np.where(chart.valid, _coat(chart), 1.0)
    shaded = spline_x @ shade.astype(np.float32) @ spline_t.T
    hide = np.clip(shaded[..., None] * np.asarray(HIDE, dtype=np.float32), 0, 255)
    line_x, line_t = line_weights(len(chart.x), at_x), line_weights(len(chart.t), at_t)
    hole = line_x @ chart.filled.astype(np.float32) @ line_t.T
    crossed = np.maximum(
        _hatch(hole.shape, np.pi / 4, 0.009, 0.0012), _hatch(hole.shape, -np.pi / 4, 0.009, 0.0012)
    )
    crossed = (crossed * (hole > _INSIDE)).astype(np.float32)
    hide = _laid(hide.astype(np.float32), INK, np.float32(_CROSSED[0]) * crossed)
    casing, line = zone_lines(back, hole.shape)
    bare = _lined(hide, casing, line)
    return Canvas(chart, hide, bare, casing, line, crossed, spline_x, spline_t)


def zone_lines(
    back: Back, shape: tuple[int, int]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return the cover (0-1) of the outlines of zones that must stay free: casing and line."""
    from PIL import Image, ImageDraw

    covers: list[NDArray[np.float32]] = []
    corner = np.array([back.chart.x[0], back.chart.t[0]])
    for width in (0.0054, 0.0024):
        large = Image.new("L", (2 * shape[1], 2 * shape[0]), 0)
        draw = ImageDraw.Draw(large)
        for zone in back.zones:
            if zone.name.startswith(OUTLINED):
                ring = rounded(zone.outline)
                place = 2 * (np.vstack([ring, ring[:2]]) - corner) / TEXEL
                line = [(float(t), float(x)) for x, t in place]
                draw.line(line, fill=255, width=round(2 * width / TEXEL), joint="curve")
        covers.append(np.asarray(large.reduce(2), dtype=np.float32) / np.float32(255))
    return covers[0], covers[1]


def painted_skin(on: Canvas, equilibrium: Equilibrium, top: float) -> NDArray[np.uint8]:
    """Return the skin of one case with its pressure and its daylight.

    Parameters
    ----------
    on : the skin of the back.
    equilibrium : the case; nothing is painted where `found` is False.
    top : Pa, dark end of the scale.

    Returns
    -------
    (h, w, 3) uint8 array; rows run forward, columns to the animal's left.
    """
    skin = on.bare.copy()
    under = on_nodes(on.chart, equilibrium.bar.astype(float), 0.0) != 0
    under |= on_nodes(on.chart, equilibrium.pressure, 0.0) > 0
    if not equilibrium.found or not under.any():
        return skin
    window = _window(on, under)
    hide = on.hide[window]
    weights = on.across_x[window[0]], on.across_t[window[1]]

    def carried(nodes: NDArray[np.float64]) -> NDArray[np.float32]:
        grid = on_nodes(on.chart, nodes, 0.0).astype(np.float32)
        return np.asarray(weights[0] @ grid @ weights[1].T)

    gap = np.where(np.isfinite(equilibrium.gap), equilibrium.gap, 0.0)
    daylight = carried(np.clip(gap / _OPEN - 0.5, 0.0, 1.0) * under_bars(on.chart, equilibrium.bar))
    clear = np.clip((daylight - 0.42) * 8, 0.0, 1.0)
    painted_here = _laid(hide, DAYLIGHT, 0.38 * clear)
    hatch = _hatch(on.hide.shape[:2], np.pi / 4, 0.008, 0.0013, window)
    painted_here = _laid(painted_here, DAYLIGHT_INK, 0.75 * clear * hatch)
    colour, cover = painted(carried(equilibrium.pressure), top)
    painted_here += cover[..., None] * (colour - painted_here)
    painted_here = _crossed_over(painted_here, on.crossed[window] * (cover > 0))
    skin[window] = _lined(painted_here, on.casing[window], on.line[window])
    return skin


def _crossed_over(
    painted_here: NDArray[np.float32], crossed: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Return painted skin with the crossed lines of holes over it: pale on dark, dark on pale."""
    if not crossed.any():
        return painted_here
    light = painted_here @ np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
    cover = np.float32(_CROSSED[1]) * crossed
    dark = _laid(painted_here, INK, cover * (light >= _MIDDLE))
    return _laid(dark, (255, 255, 255), cover * (light < _MIDDLE))


def _window(on: Canvas, nodes: NDArray[np.bool_]) -> Window:
    """Return the part of the picture that a set of nodes can colour."""
    cuts = []
    for axis, weights in ((1, on.across_x), (0, on.across_t)):
        reached = np.flatnonzero(weights @ nodes.any(axis=axis).astype(np.float32))
        cuts.append(slice(int(reached[0]), int(reached[-1]) + 1))
    return cuts[0], cuts[1]


def _lined(
    skin: NDArray[np.float32], casing: NDArray[np.float32], line: NDArray[np.float32]
) -> NDArray[np.uint8]:
    """Return the skin with its zones outlined, pale on a dark casing."""
    lined = _laid(_laid(skin, INK, 0.5 * casing), (255, 255, 255), line)
    return np.clip(np.round(lined), 0, 255).astype(np.uint8)
