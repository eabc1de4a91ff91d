"""What of a back moves: the spine's frame along it, and where the shoulder blades lie."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fitsim.back.back import Back, Chart
    from fitsim.back.motion.gait import Gait

    Array = NDArray[np.float64]

REFERENCE_HEIGHT = 1.5
"""m: withers height of the animal that proportions are told for."""
WITHERS_STATION, HIP_STATION = 0.07, -0.53
"""-: T6 and the hip points, ahead of the blade's rear edge, over the withers height (from memory,
no source)."""
AXIS_DEPTH = 0.08
"""m, at 1.5 m: the spine turns about a line this far below the skin over it (from memory)."""
BEHIND_EDGE, AHEAD_OF_EDGE = 0.05, 0.085
"""m, at 1.5 m: a risen edge fades out over this much skin behind it, drawn over the bone like a
cloth, and over half the blade's width ahead of it, as the blade tilts about its middle (chosen)."""
EDGE_FADE = 0.03
"""m, at 1.5 m: and over this at either end of the edge (chosen)."""


@dataclass(frozen=True)
class Blade:
    """A shoulder blade's rear edge on the chart.

    Attributes
    ----------
    ahead : (nx, nt) array, m, how far each node lies ahead of the standing edge.
    cover : (nx, nt) array, 0..1, where the edge lies across: 1 along it, 0 beyond its ends.
    edge : (k, 2) array, m, the standing edge in chart coordinates (x, t), from the spine outwards.
    """

    ahead: Array
    cover: Array
    edge: Array


@dataclass(frozen=True)
class Kinematics:
    """A back made ready to be moved.

    Attributes
    ----------
    gait : how it moves.
    chart : the back standing.
    scale : -, size of the animal over one of 1.5 m.
    axis : (nx,) array, m, height of the spine's axis at each row of the chart.
    span : (rear, front) stations over which the back bends, m.
    per_x, per_t : (n, 3) arrays, 1/m, gradients over the skin of the chart's x and t at its valid
        nodes: how fast either grows, and which way.
    blades : by side.
    """

    gait: Gait
    chart: Chart
    scale: float
    axis: Array
    span: tuple[float, float]
    per_x: Array
    per_t: Array
    blades: Mapping[str, Blade]


def kinematics(back: Back, gait: Gait) -> Kinematics:
    """Make a back ready to be moved.

    Parameters
    ----------
    back : Back
        Its marks say where the shoulder blades' rear edges are.
    gait : Gait

    Returns
    -------
    Kinematics
    """
    chart, scale = back.chart, back.withers_height / REFERENCE_HEIGHT
    middle = len(chart.t) // 2
    known = chart.valid[:, middle]
    ridge = np.interp(chart.x, chart.x[known], chart.points[known, middle, 2])
    per_x, per_t = _gradients(chart)
    return Kinematics(
        gait=gait,
        chart=chart,
        scale=scale,
        axis=ridge - AXIS_DEPTH * scale,
        span=(HIP_STATION * back.withers_height, WITHERS_STATION * back.withers_height),
        per_x=per_x,
        per_t=per_t,
        blades={side: _blade(back, side, scale, per_t) for side in ("left", "right")},
    )


def _gradients(chart: Chart) -> tuple[Array, Array]:
    """Gradients of the chart's coordinates over the skin, at its valid nodes."""
    valid = chart.valid
    grid = np.where(valid[..., None], chart.points, np.nan)
    along, across = (np.gradient(grid, chart.spacing, axis=k)[valid] for k in (0, 1))
    normal = chart.normals[valid]
    # At the rim, where a neighbour is missing: as if the chart's lines crossed squarely.
    forward = np.array([1.0, 0.0, 0.0]) - normal[:, :1] * normal
    along = np.where(np.isfinite(along), along, forward / (forward**2).sum(axis=1, keepdims=True))
    across = np.where(np.isfinite(across), across, _unit(np.cross(normal, forward)))
    per_x, per_t = np.cross(across, normal), np.cross(normal, along)
    return (
        per_x / np.einsum("ni,ni->n", per_x, along)[:, None],
        per_t / np.einsum("ni,ni->n", per_t, across)[:, None],
    )


def _unit(vectors: Array) -> Array:
    return np.asarray(vectors / np.linalg.norm(vectors, axis=1, keepdims=True))


def _places(chart: Chart, per_t: Array, points: Array) -> Array:
    """Chart coordinates (k, 2) m of places (k, 3) m on the skin, between its nodes."""
    nodes = chart.points[chart.valid]
    column = np.nonzero(chart.valid)[1]
    nearest = np.argmin(np.linalg.norm(nodes[None] - points[:, None], axis=2), axis=1)
    off = np.einsum("ki,ki->k", points - nodes[nearest], per_t[nearest])
    return np.column_stack([points[:, 0], chart.t[column[nearest]] + off])


def _blade(back: Back, side: str, scale: float, per_t: Array) -> Blade:
    chart = back.chart
    edge = _places(chart, per_t, back.marks[f"scapula_edge_{side}"].points)
    edge = edge[np.argsort(np.abs(edge[:, 1]))]
    out = np.abs(edge[:, 1])
    here = chart.t if side == "left" else -chart.t
    fade = EDGE_FADE * scale
    cover = _eased((here - out[0]) / fade + 0.5) * _eased((out[-1] - here) / fade + 0.5)
    ahead = chart.x[:, None] - np.interp(here, out, edge[:, 0])[None, :]
    return Blade(ahead, np.broadcast_to(cover, ahead.shape), edge)


def _eased(share: Array) -> Array:
    """From 0 to 1, level at both ends."""
    inside = np.clip(share, 0.0, 1.0)
    return inside * inside * (3.0 - 2.0 * inside)
