"""A bar seen from above, cut into triangles: rings along every edge, a grid between them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import Delaunay

from fitsim.tree.bar import inside_outline
from fitsim.tree.openings import beside_slot, notch_depth
from fitsim.tree.outline import half_width, side_stations, signed_distance

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.tree.bar import Bar
    from fitsim.tree.openings import Slot

#: Share of the thickness over which a bar's top edge is rounded.
TOP_ROUND = 0.45


@dataclass(frozen=True)
class Rim:
    """A closed edge of the bar in plan, the outline or a slot's.

    Attributes
    ----------
    points : (n, 2) array, m, (xi, eta), first not repeated, wood on the left-hand side.
    inwards : (n, 2) array, unit, into the wood.
    """

    points: NDArray[np.float64]
    inwards: NDArray[np.float64]


@dataclass(frozen=True)
class Plan:
    """Triangles that cover a bar in plan.

    Attributes
    ----------
    points : (n, 2) array, m.
    triangles : (m, 3) int array, counter-clockwise.
    rims : of each edge the indices of its points, in order.
    inside : (n,) array, m, distance of each point from the outline.
    """

    points: NDArray[np.float64]
    triangles: NDArray[np.int32]
    rims: tuple[NDArray[np.int_], ...]
    inside: NDArray[np.float64]


def top_round(bar: Bar) -> float:
    """Radius of the rounded upper edge of the outline, m.

    Parameters
    ----------
    bar : its measures.

    Returns
    -------
    float
    """
    return min(TOP_ROUND * bar.thickness, 0.9 * bar.corner)


def outline_rim(bar: Bar, spacing: float) -> Rim:
    """Outline of a bar from its own formula.

    Parameters
    ----------
    bar : its measures.
    spacing : m, between points.

    Returns
    -------
    Rim
        Counter-clockwise.
    """
    rear, front = bar.rear + bar.corner, bar.front - bar.corner
    sides = [_side(bar, rear, front, spacing, outer=outer) for outer in (False, True)]
    (inner, inner_out), (outer, outer_out) = sides
    corners = [
        _round(bar.corner, inner[-1], inner_out[-1], (1.0, 0.0), spacing),
        _round(bar.corner, outer[-1], (1.0, 0.0), outer_out[-1], spacing),
        _round(bar.corner, outer[0], outer_out[0], (-1.0, 0.0), spacing),
        _round(bar.corner, inner[0], (-1.0, 0.0), inner_out[0], spacing),
    ]
    pieces = [
        (inner + bar.corner * inner_out, inner_out),
        corners[0],
        _end(corners[0], corners[1], spacing),
        corners[1],
        ((outer + bar.corner * outer_out)[::-1], outer_out[::-1]),
        corners[2],
        _end(corners[2], corners[3], spacing),
        corners[3],
    ]
    points = np.concatenate([points for points, _ in pieces])
    outwards = np.concatenate([out for _, out in pieces])
    apart = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1) > 1e-6  # noqa: PLR2004 - m
    return Rim(points[apart], -outwards[apart])


def slot_rim(slot: Slot, spacing: float) -> Rim:
    """Rim of a slot.

    Parameters
    ----------
    slot : see `Slot`.
    spacing : m, between points.

    Returns
    -------
    Rim
        Clockwise.
    """
    radius = min(slot.length, slot.width) / 2.0
    half = abs(slot.length - slot.width) / 2.0
    count = max(8, int(np.ceil(np.pi * radius / spacing)))
    angle = np.linspace(-np.pi / 2.0, np.pi / 2.0, count + 1)
    cap = np.column_stack([np.cos(angle), np.sin(angle)])
    straight = max(1, int(np.ceil(2.0 * half / spacing - 1e-9)))
    between = np.linspace(half, -half, straight + 1)[1:-1]
    side = np.column_stack([between, np.full(len(between), radius)])
    up = np.tile([0.0, 1.0], (len(between), 1))
    points = np.concatenate([radius * cap + (half, 0.0), side])
    outwards = np.concatenate([cap, up])
    points, outwards = np.concatenate([points, -points]), np.concatenate([outwards, -outwards])
    if slot.width > slot.length:
        points, outwards = points[:, ::-1] * (-1.0, 1.0), outwards[:, ::-1] * (-1.0, 1.0)
    apart = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1) > 1e-6  # noqa: PLR2004 - m
    points, outwards = points[apart], outwards[apart]
    return Rim(points[::-1] + np.array([slot.xi, slot.eta]), outwards[::-1])


def plan_of(bar: Bar, spacing: float, steps: int) -> Plan:
    """Cut a bar's plan into triangles.

    Parameters
    ----------
    bar : its measures.
    spacing : m, between points.
    steps : rings over each rounding.

    Returns
    -------
    Plan
        Not to be written to: a plan is cut once however the bar is curved and twisted.
    """
    # Neither what the face does nor what is taken out of it changes the plan.
    flat = replace(bar, curve=0.0, low=0.0, twist=0.0, crown=0.0, pockets=())
    return _cut(flat, spacing, steps)


@lru_cache(maxsize=8)
def _cut(bar: Bar, spacing: float, steps: int) -> Plan:
    outer, inner = (
        outline_rim(bar, 0.75 * spacing),
        [slot_rim(slot, 0.75 * spacing) for slot in bar.slots],
    )
    depths = [_ring_depths((bar.edge_roll, top_round(bar)), steps)]
    depths += [_ring_depths((bar.edge_roll,), steps)] * len(inner)
    pieces, triangles, rims, rings, start = [], [], [], [], 0
    for rim, depth in zip([outer, *inner], depths, strict=True):
        pieces.append((rim.points[None] + depth[:, None, None] * rim.inwards[None]).reshape(-1, 2))
        index = start + np.arange(len(pieces[-1])).reshape(len(depth), -1)
        rims.append(index[0])
        rings.append(index[-1])
        triangles.append(_strips(index))
        start += len(pieces[-1])
    grid = _grid(bar, spacing, [depth[-1] for depth in depths])
    points = np.concatenate([*pieces, grid])
    between = np.concatenate([*rings, np.arange(start, len(points))])
    triangles.append(_between(points, between, rings))
    cut = np.concatenate(triangles).astype(np.int32)
    plan = Plan(points, cut, tuple(rims), inside_outline(bar, *points.T))
    kept: tuple[NDArray[np.generic], ...] = (plan.points, plan.triangles, *plan.rims, plan.inside)
    for one in kept:
        one.setflags(write=False)
    return plan


def _side(
    bar: Bar, rear: float, front: float, spacing: float, *, outer: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """One long edge of the core and its outward directions, rear to front."""
    xi = side_stations(rear, front, spacing, spacing / 2.0, bar.notches, outer=outer)
    sign = 1.0 if outer else -1.0

    def edge(at: NDArray[np.float64]) -> NDArray[np.float64]:
        half = half_width(at, bar.rear, bar.front, bar.widths)
        return np.asarray(half - notch_depth(bar.notches, at, outer=outer))

    step = 1e-6
    lean = (edge(xi + step) - edge(xi - step)) / (2.0 * step)
    outwards = np.column_stack([-lean, np.full(len(xi), sign)]) * (1.0, 1.0)
    outwards /= np.linalg.norm(outwards, axis=1, keepdims=True)
    return np.column_stack([xi, sign * (edge(xi) - bar.corner)]), outwards


def _round(
    radius: float,
    centre: NDArray[np.float64],
    begin: NDArray[np.float64] | tuple[float, float],
    end: NDArray[np.float64] | tuple[float, float],
    spacing: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Arc between two outward directions, the first left out and the last kept."""
    first = np.arctan2(begin[1], begin[0])
    turn = (np.arctan2(end[1], end[0]) - first) % (2.0 * np.pi)
    count = max(4, int(np.ceil(radius * turn / spacing)))
    angle = first + np.linspace(0.0, turn, count + 1)
    outwards = np.column_stack([np.cos(angle), np.sin(angle)])
    return centre + radius * outwards, outwards


def _end(
    one: tuple[NDArray[np.float64], NDArray[np.float64]],
    other: tuple[NDArray[np.float64], NDArray[np.float64]],
    spacing: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points between two corners along a straight end."""
    begin, end = one[0][-1], other[0][0]
    count = max(1, int(np.ceil(np.linalg.norm(end - begin) / spacing)))
    share = np.linspace(0.0, 1.0, count + 1)[1:-1, None]
    return begin + share * (end - begin), np.tile(one[1][-1], (count - 1, 1))


def _ring_depths(radii: tuple[float, ...], steps: int) -> NDArray[np.float64]:
    """How far in the rings lie, m: even turns of each rounding between flat and 60 degrees."""
    angle = np.radians(np.linspace(0.0, 60.0, steps))
    depths = [radius * (1.0 - np.sin(angle)) for radius in radii if radius > 0.0]
    depth = np.unique(np.concatenate([[0.0], *depths]).round(6))
    apart = np.concatenate([[True], np.diff(depth) > 2e-4])  # noqa: PLR2004 - m, no slivers
    return np.asarray(depth[apart])


def _strips(index: NDArray[np.int_]) -> NDArray[np.int_]:
    """Two triangles for each cell between neighbouring rings."""
    turned = np.roll(index, -1, axis=1)
    a, b, c, d = index[:-1].ravel(), turned[:-1].ravel(), turned[1:].ravel(), index[1:].ravel()
    return np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])


def _grid(bar: Bar, spacing: float, depths: list[float]) -> NDArray[np.float64]:
    """Staggered points between the innermost rings, half a spacing clear of them."""
    rows = np.arange(bar.rear, bar.front, spacing * np.sqrt(0.75))
    columns = np.arange(-0.5, 0.5, 1.0 / round(1.0 / spacing))
    columns = columns[np.abs(columns) < max(bar.widths)]
    xi, eta = np.meshgrid(rows, columns, indexing="ij")
    eta = eta + np.where(np.arange(len(rows)) % 2, 0.25, -0.25)[:, None] * spacing
    xi, eta = xi.ravel(), eta.ravel()
    clear = inside_outline(bar, xi, eta) > depths[0] + 0.5 * spacing
    for slot, depth in zip(bar.slots, depths[1:], strict=True):
        clear &= beside_slot(slot, xi, eta) > depth + 0.5 * spacing
    return np.column_stack([xi[clear], eta[clear]])


def _between(
    points: NDArray[np.float64], index: NDArray[np.int_], rings: list[NDArray[np.int_]]
) -> NDArray[np.int_]:
    """Delaunay triangles inside the first ring and outside the others."""
    cut = Delaunay(points[index]).simplices
    corners = points[index][cut]
    middle = corners.mean(axis=1)
    wood = signed_distance(points[rings[0]], middle) > 0.0
    for ring in rings[1:]:
        wood &= signed_distance(points[ring], middle) < 0.0
    (ax, ay), (bx, by) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T
    area = ax * by - ay * bx
    cut = np.where(area[:, None] < 0.0, cut[:, ::-1], cut)
    return np.asarray(index[cut[wood & (np.abs(area) > 1e-14)]])  # noqa: PLR2004 - m2, no slivers
