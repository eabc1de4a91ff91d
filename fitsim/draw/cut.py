"""A cut through tree, pad and back: across at a station, or along under one bar.

What is drawn is what is measured: a gap's number stands where the gap is, and its length is that
of the gap, square to the skin.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.contact.bars import overhead, place_bar
from fitsim.contact.underside import height_and_slope, outline_distance
from fitsim.draw.bars import middle_line, moved
from fitsim.draw.surface import laid_on, on_nodes
from fitsim.measure.pressure import CONTACT
from fitsim.rig.pad import pad_compression

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Chart
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.problem import Problem
    from fitsim.tree.tree import MountedBar

    Array = NDArray[np.float64]

STEP = 0.003
"""m between places along a cut."""
_BESIDE = 0.05  # m of back drawn outside the bars
_EDGE = 0.004  # m: a gap at a bar's edge is taken this far inside it, off the rolled edge
_SPREAD = 0.0015  # m, across a bar's underside
_STEPS = 5  # Newton's, to meet the plane


@dataclass(frozen=True)
class Gap:
    """The gap at one place of a cut.

    Attributes
    ----------
    where : "inner edge", "middle" or "outer edge" across; "front tip", "rear tip" or "" along.
    side : of the bar, "left" or "right".
    clear : m, clearance; 0 where it touches.
    pressure : Pa, there.
    low, high : (2,) arrays, m, of the drawing: on the pad and on the bar.
    """

    where: str
    side: str
    clear: float
    pressure: float
    low: Array
    high: Array


@dataclass(frozen=True)
class Cut:
    """Lines of a drawing, m: first to the right, then up.

    Attributes
    ----------
    rest : (n, 2) array, the skin at rest.
    skin : (n, 2) array, the skin as pressed.
    pressure : (n,) array, Pa, along the skin.
    pads : (n, 2) arrays, the pad's upper side, each over the part `pad_at` of the skin.
    pad_at : (first, last) of the skin's places, for each pad.
    bars : closed (k, 2) arrays.
    gaps : in the order of reading.
    beside_spine : m along the skin from the spine to the bars' inner edges, by side; across only.
    line : (n, 3) array, m, body frame: the cut on the skin, to show where it is.
    """

    rest: Array
    skin: Array
    pressure: Array
    pads: tuple[Array, ...]
    pad_at: tuple[tuple[int, int], ...]
    bars: tuple[Array, ...]
    gaps: tuple[Gap, ...]
    beside_spine: dict[str, float]
    line: Array


def cut_across(chart: Chart, problem: Problem, rest: Equilibrium, x: float) -> Cut:
    """Cut square to the spine, seen from behind: the animal's left is on the left.

    Parameters
    ----------
    chart : Chart
        Of the back, with the skin where it is.
    problem : Problem
        The tree on it.
    rest : Equilibrium
        One that was found.
    x : float, m
        Body frame; within the chart.

    Returns
    -------
    Cut
        Without bars where none reaches that station.
    """
    at = np.arange(chart.t[0], chart.t[-1] + 0.5 * STEP, STEP)
    points, normals = laid_on(chart, np.column_stack([np.full(len(at), x), at]))
    known = np.isfinite(points[:, 0])
    at, points, normals = at[known], points[known], normals[known]
    sunk, pressure = (_on_line(chart, field, x, at) for field in (rest.indentation, rest.pressure))
    left_of_pad = problem.pad.thickness * (1.0 - pad_compression(problem.pad, pressure))
    skin = points - sunk[:, None] * normals
    on_pad = skin + left_of_pad[:, None] * normals
    bars: list[Array] = []
    gaps: list[Gap] = []
    beside: dict[str, float] = {}
    covered: list[int] = []
    for side, T_body_bar in enumerate(_poses(problem, rest)):
        bar = problem.tree.bars[side]
        which = np.full(len(at), side)
        poses = np.stack([T_body_bar] * len(problem.tree.bars))
        over = overhead(problem.face, poses, points, normals, bar=which)
        under = np.flatnonzero((over.inside > _EDGE) & (np.sign(at) == (1, -1)[side]))
        bars += _bar_cut(problem, side, T_body_bar, x, bar.thickness)
        if len(under) == 0:
            continue
        clear = np.clip(over.distance + sunk - left_of_pad, 0.0, None)
        clear[pressure > CONTACT] = 0.0
        inward = under[np.argsort(np.abs(at[under]))]
        beside[bar.side] = float(abs(at[inward[0]])) - _EDGE
        for k, where in (
            (inward[0], "inner edge"), (inward[len(inward) // 2], "middle"),
            (inward[-1], "outer edge"),
        ):  # fmt: skip
            low = on_pad[k]
            high = low + clear[k] * normals[k]
            gaps.append(
                Gap(where, bar.side, float(clear[k]), float(pressure[k]), _seen(low), _seen(high))
            )
        covered += [int(under[0]), int(under[-1])]
    # One pad lies over the back from beyond one bar to beyond the other
    spare = round(_BESIDE / STEP)
    first, last = (min(covered), max(covered)) if covered else _near_spine(at)
    shown = slice(max(first - spare, 0), min(last + spare + 1, len(at)))
    ends = [(max(first - spare // 2, 0) - shown.start, min(last + spare // 2, len(at) - 1))]
    ends = [(a, b - shown.start) for a, b in ends] if covered and _padded(problem) else []
    return Cut(
        rest=_seen(points[shown]),
        skin=_seen(skin[shown]),
        pressure=pressure[shown],
        pads=tuple(_seen(on_pad[shown][a : b + 1]) for a, b in ends),
        pad_at=tuple(ends),
        bars=tuple(bars),
        gaps=tuple(gaps),
        beside_spine=beside,
        line=points[shown],
    )


def _padded(problem: Problem) -> bool:
    return problem.pad.thickness > 0.0


def _seen(points: Array) -> Array:
    """Places (..., 3) as seen from behind: the animal's left on the left."""
    return np.stack([-points[..., 1], points[..., 2]], axis=-1)


def _near_spine(at: Array) -> tuple[int, int]:
    """First and last place of a cut within reach of where bars lie."""
    near = np.flatnonzero(np.abs(at) < 4 * _BESIDE)
    return (int(near[0]), int(near[-1])) if len(near) else (0, len(at) - 1)


def _on_line(chart: Chart, field: Array, x: float, at: Array) -> Array:
    """A field of the nodes at places along one station, (n,)."""
    index = [np.full(len(at), (x - chart.x[0])) / chart.spacing, (at - chart.t[0]) / chart.spacing]
    return _at(chart, field, np.array(index))


def _at(chart: Chart, field: Array, index: Array) -> Array:
    """A field of the nodes at places (2, n) of the grid, (n,)."""
    from scipy import ndimage

    grid = on_nodes(chart, np.nan_to_num(field), 0.0)
    return np.asarray(ndimage.map_coordinates(grid, index, order=1, mode="nearest"))


def _poses(problem: Problem, rest: Equilibrium) -> list[Array]:
    """Pose of each bar with its joints turned."""
    poses, before = [], 0
    for bar, joints in zip(problem.tree.bars, problem.joints, strict=True):
        angles = rest.joint_angles[before : before + joints]
        poses.append(place_bar(rest.T_body_tree, bar, angles)[0])
        before += joints
    return poses


def _bar_cut(
    problem: Problem, side: int, T_body_bar: Array, x: float, thickness: float
) -> list[Array]:
    """One bar where the plane of a station meets it: closed outlines, one for each piece."""
    face = problem.tree.bars[side].underside
    eta = np.arange(face.eta[0], face.eta[-1], _SPREAD)
    which = np.full(len(eta), side)
    way, start = T_body_bar[0, :3], T_body_bar[0, 3]
    xi = (x - start - way[1] * eta) / way[0]
    for _ in range(_STEPS):
        height, slope = height_and_slope(problem.face, which, np.column_stack([xi, eta]))
        off = start + way[0] * xi + way[1] * eta + way[2] * height - x
        xi = xi - off / (way[0] + way[2] * slope[:, 0])
    height, _ = height_and_slope(problem.face, which, np.column_stack([xi, eta]))
    inside, _ = outline_distance(problem.face, which, np.column_stack([xi, eta]))
    below = np.column_stack([xi, eta, height]) @ T_body_bar[:3, :3].T + T_body_bar[:3, 3]
    above = below + thickness * T_body_bar[:3, 2]
    there = np.flatnonzero(inside > 0.0)
    pieces = np.split(there, np.flatnonzero(np.diff(there) > 1) + 1)
    return [
        _seen(np.vstack([below[one], _upper(above[one])[::-1]])) for one in pieces if len(one) > 1
    ]


def _upper(above: Array) -> Array:
    """A bar's upper side, whose edges do not repeat the roll of the lower ones."""
    roll = len(above) // 8
    return above[roll : len(above) - roll]


def cut_along(chart: Chart, problem: Problem, rest: Equilibrium, side: int) -> Cut:
    """Cut along the middle of one bar, levelled, the head on the left.

    Parameters
    ----------
    chart, problem, rest
        As in `cut_across`.
    side : int
        0 for the left bar, 1 for the right.

    Returns
    -------
    Cut

    Raises
    ------
    ValueError
        No skin lies under the bar.
    """
    bar, T_body_bar = problem.tree.bars[side], _poses(problem, rest)[side]
    local = middle_line(bar)
    points, normals, distance, sunk, pressure = _below(
        chart, problem, rest, side, moved(T_body_bar, local)
    )
    known = np.isfinite(distance)
    if np.count_nonzero(known) <= 1:
        raise ValueError(f"no skin lies under the {bar.side} bar")
    points, normals, distance, sunk, pressure = (
        field[known] for field in (points, normals, distance, sunk, pressure)
    )
    along = (local[0, 0] - local[:, 0])[known]
    left_of_pad = problem.pad.thickness * (1.0 - pad_compression(problem.pad, pressure))
    clear = np.clip(distance + sunk - left_of_pad, 0.0, None)
    clear[pressure > CONTACT] = 0.0
    wood = moved(T_body_bar, local)[known][:, 2] - _rise(problem, bar, local) * along
    on_pad = wood - clear
    up = np.column_stack
    return Cut(
        rest=up([along, on_pad - left_of_pad + sunk]),
        skin=up([along, on_pad - left_of_pad]),
        pressure=pressure,
        pads=(up([along, on_pad]),) if _padded(problem) else (),
        pad_at=((0, len(along) - 1),) if _padded(problem) else (),
        bars=(np.vstack([up([along, wood]), up([along, wood + bar.thickness])[::-1]]),),
        gaps=tuple(
            Gap(where, bar.side, float(clear[k]), float(pressure[k]),
                np.array([along[k], on_pad[k]]), np.array([along[k], wood[k]]))
            for where, k in _stations(len(along))
        ),
        beside_spine={},
        line=points,
    )  # fmt: skip


def _rise(problem: Problem, bar: MountedBar, local: Array) -> float:
    """Rise per m along a bar of the line through both its ends as seated: taken out to level it."""
    seated = moved(problem.T_body_tree_seat @ bar.T_tree_bar, local[[0, -1]])
    return float((seated[1, 2] - seated[0, 2]) / (local[0, 0] - local[-1, 0]))


def _below(
    chart: Chart, problem: Problem, rest: Equilibrium, side: int, line: Array
) -> tuple[Array, Array, Array, Array, Array]:
    """What lies square below places (n, 3) m on a bar's underside.

    Returns
    -------
    points, normals : (n, 3) arrays, of the skin at rest; nan where there is none.
    distance, sunk : (n,) arrays, m, up to the bar and down to the pressed skin.
    pressure : (n,) array, Pa.
    """
    which = np.full(len(line), side)
    poses = np.stack([_poses(problem, rest)[side]] * len(problem.tree.bars))
    # Rows of the chart stand at one x each; across, the nearest place of a row to begin with.
    row = np.clip(((line[:, 0] - chart.x[0]) / chart.spacing).round(), 0, len(chart.x) - 1)
    away = np.linalg.norm(chart.points[row.astype(int)] - line[:, None], axis=2)
    away[~chart.valid[row.astype(int)]] = np.inf
    xt = np.column_stack([line[:, 0], chart.t[away.argmin(axis=1)]])
    for step in range(_STEPS):
        points, normals = laid_on(chart, xt)
        over = overhead(
            problem.face, poses, np.nan_to_num(points), np.nan_to_num(normals), bar=which
        )
        if step < _STEPS - 1:
            off = np.nan_to_num(line - over.hit)
            leftward = np.cross(np.nan_to_num(normals), [1.0, 0.0, 0.0])
            xt = xt + np.column_stack([off[:, 0], np.einsum("nk,nk->n", off, leftward)])
    index = ((xt - [chart.x[0], chart.t[0]]) / chart.spacing).T
    sunk, pressure = (_at(chart, field, index) for field in (rest.indentation, rest.pressure))
    distance = np.where(np.isfinite(points[:, 0]), over.distance, np.nan)
    return points, normals, distance, sunk, pressure


def _stations(count: int) -> list[tuple[str, int]]:
    """Where gaps along a bar are written: both tips and five places between."""
    places = np.linspace(0.01, 0.99, 7) * (count - 1)
    names = ["front tip", *[""] * 5, "rear tip"]
    return list(zip(names, places.round().astype(int).tolist(), strict=True))
