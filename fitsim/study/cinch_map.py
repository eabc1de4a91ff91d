"""The cinch map: one tree on one back, front tension by rear tension."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

import numpy as np
from threadpoolctl import threadpool_limits

from fitsim.contact.solve import solve
from fitsim.measure.gaps import SIDES, daylight, lifts
from fitsim.measure.hand import Hand
from fitsim.measure.pressure import PATCH, force_shares, on_grid, patch_peak
from fitsim.rig.cases import cases_for
from fitsim.rig.rings import bar_length
from fitsim.study.hand_under import hand_in
from fitsim.study.workers import cores, side_by_side

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from fitsim.back.back import Back, Chart
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Case, Strap
    from fitsim.rig.load import Load
    from fitsim.rig.rig import Cinch, Rig
    from fitsim.study.laid import Laid

    Array = NDArray[np.float64]
    Mask = NDArray[np.bool_]

MOST = 400.0
"""N at each strap end: the highest tension of the map."""
STEPS = 15

HANDS = 4
"""A hand is slid in at so many tensions of either cinch; between them its push is interpolated,
since it follows the tensions smoothly (checked in the tests)."""

_UNIT = 100.0  # N: tension with which the straps are laid, to be scaled


@dataclass(frozen=True)
class Cell:
    """One pair of tensions. Numbers are nan where the tree does not stay on.

    Attributes
    ----------
    front_share, middle_share, rear_share : of the load, by thirds of the bars.
    peak : Pa, highest mean over 20 x 20 mm of skin anywhere.
    blade_peak : Pa, the same on the shoulder blades.
    blade_share : of the load, on the shoulder blades.
    front_lift, rear_lift : m, mean clearance at the tips.
    grip : N, sideways or lengthwise push that friction still bears: the friction coefficient times
        the force on the back, less what it holds already.
    hand_push : N, that slides a 25 mm hand in under a front, the worse side.
    """

    front_share: float
    middle_share: float
    rear_share: float
    peak: float
    blade_peak: float
    blade_share: float
    front_lift: float
    rear_lift: float
    grip: float
    hand_push: float


MEASURES = tuple(field.name for field in fields(Cell))


@dataclass(frozen=True)
class CinchMap:
    """All pairs of tensions.

    Attributes
    ----------
    front, rear : (m,) and (n,) arrays, N at each strap end, ascending from 0.
    measures : (m, n) array by name of `Cell`.
    leaves : m tuples of n: the way the tree leaves, None where it stays.
    case : name of the case whose load it carries.
    """

    front: Array
    rear: Array
    measures: Mapping[str, Array]
    leaves: tuple[tuple[str | None, ...], ...]
    case: str

    @property
    def stays(self) -> Mask:
        """(m, n) bool array, where the tree stays on."""
        return np.array([[way is None for way in row] for row in self.leaves])


@dataclass(frozen=True)
class _Given:
    """What every row needs."""

    back: Back
    problem: Problem
    case: Case
    front: Array
    rear: Array


def cinch_map(
    back: Back,
    on: Laid,
    rig: Rig,
    load: Load,
    *,
    steps: int = STEPS,
    most: float = MOST,
    processes: int | None = None,
) -> CinchMap:
    """Solve every pair of front and rear tension.

    Parameters
    ----------
    back : Back
    on : Laid
        The tree on it.
    rig : Rig
        Where its cinches run; their own tensions do not count, both sides pull alike.
    load : Load
        Carried meanwhile.
    steps : int
        Tensions on either axis.
    most : float, N
        Highest tension of a strap end.
    processes : int, optional
        One for each core where not given.

    Returns
    -------
    CinchMap
    """
    tensions = np.linspace(0.0, most, steps)
    case = _unit_case(back, on, rig, load)
    given = _Given(back, on.problem, case, tensions, tensions)
    number = min(processes or cores(), steps)
    # Each process takes neighbouring rows, so that it starts from what it has just solved.
    blocks = [tuple(map(int, part)) for part in np.array_split(np.arange(steps), number)]
    rows = [row for block in side_by_side(_rows, given, blocks) for row in block]
    cells = [[cell for cell, _ in row] for row in rows]
    measures = {
        name: np.array([[getattr(cell, name) for cell in row] for row in cells])
        for name in MEASURES
    }
    measures["hand_push"] = _between(tensions, tensions, measures["hand_push"])
    leaves = tuple(tuple(way for _, way in row) for row in rows)
    stays = np.array([[way is None for way in row] for row in leaves])
    measures["hand_push"] = np.where(stays, measures["hand_push"], np.nan)
    return CinchMap(tensions, tensions, measures, leaves, case.name)


def _unit_case(back: Back, on: Laid, rig: Rig, load: Load) -> Case:
    """The rig with both cinches at one tension, under the load."""

    def unit(cinch: Cinch) -> Cinch:
        return replace(cinch, tension_left=_UNIT, tension_right=_UNIT, stiffness=0.0)

    even = replace(rig, front=unit(rig.front), rear=unit(rig.rear))
    cases = cases_for(back, on.problem.tree, on.seat.T_body_tree, even, load)
    return next(
        case for case in cases if case.name == ("both" if load.kind == "none" else load.kind)
    )


def tensioned(case: Case, front: float, rear: float) -> Case:
    """A case with its cinches drawn to given tensions, the straps where they are.

    Parameters
    ----------
    case : Case
        With straps named ``front_cinch_...`` and ``rear_cinch_...``; others are left alone.
    front, rear : float, N
        At each strap end; a slack one is left out.

    Returns
    -------
    Case
    """
    wanted = {"front": front, "rear": rear}

    def drawn(strap: Strap) -> Strap:
        which = strap.name.partition("_cinch_")[0]
        return replace(strap, tension=wanted[which]) if which in wanted else strap

    straps = tuple(drawn(strap) for strap in case.straps)
    return replace(
        case, straps=tuple(one for one in straps if one.tension > 0.0 or one.stiffness > 0.0)
    )


def _rows(given: _Given, block: Sequence[int]) -> list[list[tuple[Cell, str | None]]]:
    """Some neighbouring rows, there and back, each cell started from its neighbours."""
    done: list[list[tuple[Cell, str | None]]] = []
    solved: list[Equilibrium] = []
    held: dict[int, Equilibrium] = {}
    tried = set(_tried(len(given.rear)))
    with threadpool_limits(limits=1, user_api="blas"):
        for row in block:
            order = range(len(given.rear))
            path = list(order if (row - block[0]) % 2 == 0 else reversed(order))
            found: dict[int, tuple[Cell, str | None]] = {}
            for column in path:
                case = tensioned(given.case, given.front[row], given.rear[column])
                rest = solve(given.problem, case, _foreseen(solved))
                with_hand = row in tried and column in tried
                cell = _cell(given, case, rest, held if with_hand else None)
                found[column] = cell, rest.leaves
                solved = [*solved[-1:], rest] if rest.found else []
            solved = solved[-1:]  # the next row turns off at a right angle
            done.append([found[column] for column in order])
    return done


def _foreseen(solved: Sequence[Equilibrium]) -> Equilibrium | None:
    """Where the next of evenly stepped tensions will come to rest, from the last two."""
    if len(solved) < 2:  # noqa: PLR2004 - one tells no step
        return solved[-1] if solved else None
    before, last = solved
    return replace(
        last,
        T_body_tree=last.T_body_tree @ np.linalg.inv(before.T_body_tree) @ last.T_body_tree,
        joint_angles=2.0 * last.joint_angles - before.joint_angles,
        pressure=np.clip(2.0 * last.pressure - before.pressure, 0.0, None),
    )


def _cell(
    given: _Given, case: Case, rest: Equilibrium, held: dict[int, Equilibrium] | None
) -> Cell:
    """What is measured for one pair of tensions; a hand is slid in where `held` is given."""
    if not rest.found:
        return Cell(*(math.nan for _ in MEASURES))
    back, tree = given.back, given.problem.tree
    chart = back.chart
    area, length = chart.area[chart.valid], bar_length(tree)
    force = rest.pressure * area
    share = force_shares(force, rest.bar, rest.along, chart.spacing / length)
    lift = lifts({side: daylight(chart, rest, side, length) for side in SIDES}, length)
    blade = _blade(back)
    peak, blade_peak = _peaks(chart, rest.pressure, blade)
    borne = float(np.linalg.norm((rest.shear * area[:, None]).sum(axis=0)))
    return Cell(
        front_share=share["front"],
        middle_share=share["middle"],
        rear_share=share["rear"],
        peak=peak,
        blade_peak=blade_peak,
        blade_share=float(force[blade[chart.valid]].sum() / max(force.sum(), 1e-9)),
        front_lift=_mean(lift["front_left"], lift["front_right"]),
        rear_lift=_mean(lift["rear_left"], lift["rear_right"]),
        grip=max(given.problem.pad.friction * float(force.sum()) - borne, 0.0),
        hand_push=(math.nan if held is None else _hand_push(given.problem, case, rest, held)),
    )


def _peaks(chart: Chart, pressure: Array, blade: Mask) -> tuple[float, float]:
    """Highest mean over 20 x 20 mm of skin, anywhere and on the shoulder blades, Pa."""
    grid = on_grid(chart, pressure)
    pressed = grid > 0.0
    if not pressed.any():
        return 0.0, 0.0
    # No window that touches what is pressed reaches past a patch beyond it.
    room = int(np.ceil(PATCH / chart.spacing)) + 1
    near = tuple(
        slice(max(int(line[0]) - room, 0), int(line[-1]) + room + 1)
        for line in (np.flatnonzero(pressed.any(axis=1)), np.flatnonzero(pressed.any(axis=0)))
    )
    peak = float(patch_peak(grid[near], chart.spacing).max())
    if not (pressed & blade).any():
        return peak, 0.0
    return peak, float(patch_peak(grid[near], chart.spacing, within=blade[near]).max())


def _blade(back: Back) -> Mask:
    """(nx, nt) bool array, on a shoulder blade."""
    blades = [k for k, zone in enumerate(back.zones) if zone.name.startswith("scapula")]
    return np.isin(back.zone_code, blades)


def _mean(left: float, right: float) -> float:
    """Mean of what is known of two, nan of neither."""
    known = [value for value in (left, right) if math.isfinite(value)]
    return sum(known) / len(known) if known else math.nan


def _hand_push(
    problem: Problem, case: Case, rest: Equilibrium, held: dict[int, Equilibrium]
) -> float:
    """Push that has a hand in under either front, the worse side, N.

    `held` keeps the tree with a hand under each side from one pair of tensions to the next.
    """
    pushes = []
    for side in range(len(problem.tree.bars)):
        push, _, found = hand_in(problem, case, rest, Hand(), side, start=held.get(side))
        pushes.append(push)
        if found.found:
            held[side] = found
    return max(pushes)


def _tried(steps: int) -> list[int]:
    """Tensions at which a hand is slid in, evenly over all of them."""
    return sorted({round(place) for place in np.linspace(0, steps - 1, HANDS)})


def _between(front: Array, rear: Array, values: Array) -> Array:
    """Values known at the tensions where a hand was tried, by cubics between them."""
    from scipy.interpolate import RegularGridInterpolator

    rows = _tried(len(front))
    known = values[np.ix_(rows, rows)]
    # Where the tree does not stay on it lends the others' mean, so that its neighbours are shown.
    known = np.where(np.isfinite(known), known, np.nanmean(known))
    inside = RegularGridInterpolator((front[rows], rear[rows]), known, method="cubic")
    return np.asarray(inside(np.stack(np.meshgrid(front, rear, indexing="ij"), axis=-1)))
