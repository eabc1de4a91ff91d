"""A hand put on the tree while one looks: slid in under an edge, pressing an end, lifting one."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from fitsim.app.asked import Grip
from fitsim.app.bench import case_of
from fitsim.contact.bars import place_bar
from fitsim.contact.solve import solve
from fitsim.draw.bars import moved
from fitsim.draw.hand_words import press_words
from fitsim.draw.quantity import quantity
from fitsim.measure.hand import EASY, Hand, clearance
from fitsim.measure.measured import measured
from fitsim.measure.rocking import bar_ends, pitch_of
from fitsim.rig.case import DeadForce
from fitsim.study.fit import Fit
from fitsim.study.hand_tests import PRESS, held_end, pressed_in_turn
from fitsim.study.hand_under import hand_in, outer_edge, under_bar

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.app.bench import Bench, Shown
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.problem import Problem
    from fitsim.draw.quantity import System
    from fitsim.rig.case import Case

    Array = NDArray[np.float64]
    Found = tuple[Equilibrium, str, Array, list[Array]]

HIGHEST = 0.030
"""m: a hand lifts an end no farther."""
LEAST_IN = 0.030
"""m: a hand that goes along an edge has its finger tips in this far."""
_SIDES: tuple[Literal["left"], Literal["right"]] = ("left", "right")
_UPWARD = np.array([0.0, 0.0, 1.0])
_BACK_OF_HAND = 0.06  # m of the hand drawn outside the bar


def by_hand(
    bench: Bench, shown: Shown, grip: Grip, system: System = "metric"
) -> tuple[Shown, dict[str, Any] | None]:
    """Put a hand on what is shown.

    Parameters
    ----------
    bench : Bench
    shown : Shown
        Untouched.
    grip : Grip
        What the hand does.
    system : units people chose.

    Returns
    -------
    Shown
        With the hand on it; as it was while the animal walks or the tree does not stay.
    dict or None
        Where the hand is by name, what it finds in words, a place for the words (m, body frame)
        and the hand's outline on the skin.
    """
    rest = shown.fit.equilibrium
    if shown.points is not None:
        return shown, _only("Stop the walk first: hands are laid on a standing animal.")
    if not rest.found:
        return shown, _only("The tree does not stay on: there is nothing to try by hand.")
    on = bench.laid(shown.scenario)
    case = case_of(bench.back, shown.tree, on, shown.scenario)
    named = _named(on.problem, rest, grip)
    work = {"under": _under, "press": _press, "lift": _lift}[named.tool]
    found, words, at, rim = work(on.problem, case, rest, named, system)
    measures = measured(bench.back, shown.tree, case, found) if found.found else None
    hand = {
        **{name: getattr(named, name) for name in ("tool", "place", "side", "along", "amount")},
        "words": words,
        "at": at.round(4).tolist(),
        "rim": [point.round(4).tolist() for point in rim],
    }
    return replace(shown, fit=Fit(case, found, measures)), hand


def _only(words: str) -> dict[str, Any]:
    return {"words": words}


def _pose(problem: Problem, rest: Equilibrium, side: int) -> Array:
    before = sum(problem.joints[:side])
    angles = rest.joint_angles[before : before + problem.joints[side]]
    return place_bar(rest.T_body_tree, problem.tree.bars[side], angles)[0]


def _named(problem: Problem, rest: Equilibrium, grip: Grip) -> Grip:
    """A hand by its place's name, wherever a pointer went; held to what a hand can do."""
    if grip.went is None:
        place = grip.place
        if (place == "edge") != (grip.tool == "under") and place != "front":
            place = "edge" if grip.tool == "under" else "rear"
        most = HIGHEST if grip.tool == "lift" else Hand().reach
        amount = PRESS if grip.tool == "press" else min(max(grip.amount, 0.0), most)
        return replace(grip, place=place, amount=amount, along=min(max(grip.along, 0.0), 1.0))
    down, now = (np.array(point) for point in grip.went)
    side = 0 if down[1] > 0.0 else 1
    T_body_bar = _pose(problem, rest, side)
    face = problem.tree.bars[side].underside
    began, ends = ((point - T_body_bar[:3, 3]) @ T_body_bar[:3, :3] for point in (down, now))
    named = Grip(grip.tool, side=_SIDES[side])
    if grip.tool != "under":
        front = began[0] > 0.5 * (face.front + face.rear)
        amount = PRESS if grip.tool == "press" else min(max(float(now[2] - down[2]), 0.0), HIGHEST)
        return replace(named, place="front" if front else "rear", amount=amount)
    reach = Hand().reach
    if began[0] > face.front - 0.5 * reach:
        return replace(named, amount=float(np.clip(face.front - ends[0], 0.0, reach)))
    along = float(np.clip((face.front - ends[0]) / (face.front - face.rear), 0.0, 1.0))
    outward = 1.0 if side == 0 else -1.0
    edge = outer_edge(problem, side, np.array([ends[0]]))[0]
    deep = float(np.clip(edge - outward * ends[1], LEAST_IN, reach))
    return replace(named, place="edge", along=along, amount=deep)


def _under(problem: Problem, case: Case, rest: Equilibrium, grip: Grip, system: System) -> Found:
    """A flat hand under a bar's front or its long edge."""
    side, hand = _SIDES.index(grip.side), Hand()
    along = grip.along if grip.place == "edge" else None
    push, _, found = hand_in(
        problem, case, rest, hand, side, depth=grip.amount / hand.reach, along=along
    )
    room = clearance(hand, *under_bar(problem, rest, side, along), rest.gap)
    where = f"{grip.side} front" if along is None else f"outer edge of the {grip.side} bar"
    deep = quantity(grip.amount, "length", system)
    said = [f"Hand {deep} in under the {where}: {_push_words(push, system)}."]
    if math.isfinite(room):
        said.append(f"Least daylight there {quantity(room, 'length', system)}.")
    rim = _hand_rim(problem, rest, side, along, grip.amount)
    return found, " ".join(said), rim[0], rim


def _push_words(push: float, system: System) -> str:
    if not math.isfinite(push):
        return "the tree does not stay on with a hand under it"
    if push < 0.5:  # noqa: PLR2004 - N, written as 0
        return "it goes in freely"
    how = "goes in with a push of" if push <= EASY else "does not go in easily, it takes"
    return f"{how} {quantity(push, 'force', system)}"


def _hand_rim(
    problem: Problem, rest: Equilibrium, side: int, along: float | None, depth: float
) -> list[Array]:
    """Outline of the hand, on the plane of the bar: finger tips in, its back outside."""
    face, half = problem.tree.bars[side].underside, 0.5 * Hand().width
    if along is None:
        row = (face.xi <= face.front) & (face.xi > face.front - Hand().reach)
        middle = float(face.eta[(face.inside[row] > 0.0).any(axis=0)].mean())
        tips, back = face.front - depth, face.front + _BACK_OF_HAND
        corners = [(back, middle - half), (tips, middle - half), (tips, middle + half),
                   (back, middle + half)]  # fmt: skip
    else:
        xi = face.front - along * (face.front - face.rear)
        outward = 1.0 if side == 0 else -1.0
        edge = outward * float(outer_edge(problem, side, np.array([xi]))[0])
        tips, back = edge - outward * depth, edge + outward * _BACK_OF_HAND
        corners = [(xi + half, back), (xi + half, tips), (xi - half, tips), (xi - half, back)]
    closed = np.array([(*corner, 0.0) for corner in (*corners, corners[0])])
    return list(moved(_pose(problem, rest, side), closed))


def _press(problem: Problem, case: Case, rest: Equilibrium, grip: Grip, system: System) -> Found:
    """An end pressed down, and what pressing both ends in turn finds."""
    ends = dict(zip(("front", "rear"), bar_ends(problem.tree), strict=True))
    hand = DeadForce("hand", ends[grip.place], -PRESS * _UPWARD)
    found = solve(problem, replace(case, forces=(*case.forces, hand)), rest)
    force = quantity(PRESS, "force", system)
    at = moved(rest.T_body_tree, ends[grip.place][None])[0]
    if not found.found:
        return (
            found,
            f"{grip.place.capitalize()} pressed with {force}: the tree {found.leaves}.",
            at,
            [],
        )
    turn = math.degrees(pitch_of(rest.T_body_tree, found.T_body_tree))
    said = f"{grip.place.capitalize()} pressed with {force}: turns {abs(turn):.1f} deg"
    said += f" {'head' if turn > 0.0 else 'tail'} down; {_rises(rest, found, ends, system)}."
    in_turn = press_words(pressed_in_turn(problem, case, rest), system)
    return found, f"{said} Front and rear in turn: {in_turn}.", at, []


def _rises(rest: Equilibrium, found: Equilibrium, ends: dict[str, Array], system: System) -> str:
    """How far each end goes up or down."""
    said = []
    for end, at in ends.items():
        rise = float((moved(found.T_body_tree, at[None]) - moved(rest.T_body_tree, at[None]))[0, 2])
        way = "rises" if rise > 0.0 else "sinks"
        said.append(f"the {end} {way} {quantity(abs(rise), 'length', system)}")
    return ", ".join(said)


def _lift(problem: Problem, case: Case, rest: Equilibrium, grip: Grip, system: System) -> Found:
    """An end lifted by so much, and what it takes."""
    ends = dict(zip(("front", "rear"), bar_ends(problem.tree), strict=True))
    at = moved(rest.T_body_tree, ends[grip.place][None])[0]
    force, found = held_end(problem, case, rest, ends[grip.place], _UPWARD, grip.amount)
    high = quantity(grip.amount, "length", system)
    said = f"{grip.place.capitalize()} lifted {high}: "
    if not found.found:
        return found, f"{said}the tree {found.leaves} before it has gone that far.", at, []
    return found, f"{said}takes {quantity(force, 'force', system)}.", at, []
