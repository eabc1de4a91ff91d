"""A day's work under one tree: where to look first, and what would lower it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from threadpoolctl import threadpool_limits

from fitsim.contact.solve import solve
from fitsim.errors import BadSettings, NoEquilibrium
from fitsim.measure.dose import (
    FIRST,
    HOUR,
    NEXT,
    PACES,
    SEEN,
    Spell,
    borders,
    day_of,
    hours_until,
    passed,
    standing,
)
from fitsim.measure.measured import measured
from fitsim.measure.pressure import contact_nodes, on_grid, patch_mean, patch_peak
from fitsim.study.laid import laid

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fitsim.back.back import Back
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.problem import Problem
    from fitsim.measure.dose import Pace, Standing
    from fitsim.measure.measures import Hotspot
    from fitsim.rig.case import Case
    from fitsim.study.set_up import SetUp

    Array = NDArray[np.float64]

LONGEST = 24.0
"""h of a day."""
LOOSER = 0.75
"""Of their tension, to which both cinches are let out to see what that does."""
_THICKER = 1.5  # of the pad's thickness
_FRONT = 1.0 / 3.0  # of the bar, where the study's mats lay at the withers


@dataclass(frozen=True)
class Seen:
    """A pace of the day held against the backs of the study.

    Attributes
    ----------
    pace, hours : h under load at it.
    mean, largest : Pa, under the front third, at that pace.
    like : the group it is like.
    area : m2 of skin pressed harder than the border to dry spots.
    """

    pace: Pace
    hours: float
    mean: float
    largest: float
    like: Standing
    area: float


@dataclass(frozen=True)
class Change:
    """What a change would do.

    Attributes
    ----------
    do : in words.
    first_area : m2 to look at first afterwards; nan where the tree would not stay.
    hours : h of such work until the worst place passes nine in ten curves.
    """

    do: str
    first_area: float
    hours: float


@dataclass(frozen=True)
class Day:
    """One day's work under one tree.

    Attributes
    ----------
    case : of the load.
    hours, rest : h, from saddling to unsaddling, and of these without load.
    mix : share of the time under load by pace.
    rest_pose : the tree on the standing animal, under its load.
    pressure : (n,) array, Pa, on it, mean over 20 x 20 mm round each node.
    share : (n,) array, 0..1, of the curves that each place passes.
    first_area, next_area : m2 to look at first, and next.
    worst : the place pressed hardest.
    hours_until : h under load until it passes nine in ten curves.
    seen : against the study, by pace.
    changes : what would lower it.
    """

    case: str
    hours: float
    rest: float
    mix: Mapping[Pace, float]
    rest_pose: Equilibrium
    pressure: Array
    share: Array
    first_area: float
    next_area: float
    worst: Hotspot | None
    hours_until: float
    seen: tuple[Seen, ...]
    changes: tuple[Change, ...]


def day(on: SetUp, hours: float, mix: Mapping[Pace, float], rest: float = 0.0) -> Day:
    """Work out a day under a tree.

    Parameters
    ----------
    on : SetUp
        The tree on the back, with what it carries.
    hours : float, h
        From saddling to unsaddling.
    mix : mapping of float, -
        Share of the time under load by pace.
    rest : float, h
        Without load.

    Returns
    -------
    Day

    Raises
    ------
    BadSettings
        Hours, paces or rest that make no sense.
    NoEquilibrium
        The tree does not stay under its load.
    """
    refuse_senseless(hours, mix, rest)
    spells = day_of(hours, mix, rest)
    case = on.cases.get(on.load.kind, on.cases["both"])
    with threadpool_limits(limits=1, user_api="blas"):
        found = solve(on.laid.problem, case)
        if not found.found:
            raise NoEquilibrium(
                on.laid.problem.tree.name,
                f"does not stay on for the day: it {found.leaves}",
                "move it with --at, change its cinches or choose another tree",
            )
        area = on.back.chart.area[on.back.chart.valid]
        pressure = patched(on.back, found)
        share = passed(spells, pressure)
        worst = measured(on.back, on.laid.problem.tree, case, found).hotspots
        changes = tuple(_changes(on, case, found, spells))
    return Day(
        case=case.name,
        hours=hours,
        rest=rest,
        mix=mix,
        rest_pose=found,
        pressure=pressure,
        share=share,
        first_area=float(area[share >= FIRST].sum()),
        next_area=float(area[(share >= NEXT) & (share < FIRST)].sum()),
        worst=worst[0] if worst else None,
        hours_until=hours_until(spells, _peak(on.back, found)),
        seen=tuple(_seen(on.back, found, pressure, hours - rest, mix)),
        changes=changes,
    )


def refuse_senseless(hours: float, mix: Mapping[Pace, float], rest: float) -> None:
    """Refuse a day that is none."""
    if not (math.isfinite(hours) and 0.0 < hours <= LONGEST):
        raise BadSettings("hours", f"{hours:g} h is no day's work", "give more than 0, up to 24 h")
    if not (math.isfinite(rest) and 0.0 <= rest < hours):
        raise BadSettings("rest", f"{rest:g} h leaves no work", f"give 0 to less than {hours:g} h")
    if not all(math.isfinite(part) and part >= 0.0 for part in mix.values()):
        raise BadSettings("paces", "a share is below 0 or no number", "give 0 or more for each")
    if sum(mix.values()) <= 0.0:
        raise BadSettings("paces", "all shares are 0", "give a share to one pace at least")


def patched(back: Back, found: Equilibrium) -> Array:
    """Mean pressure over 20 x 20 mm round every node, (n,) Pa."""
    means = patch_mean(on_grid(back.chart, found.pressure), back.chart.spacing)
    return np.asarray(np.clip(means[back.chart.valid], 0.0, None))


def _peak(back: Back, found: Equilibrium) -> float:
    """Highest mean over 20 x 20 mm of skin, Pa."""
    return float(patch_peak(on_grid(back.chart, found.pressure), back.chart.spacing).max())


def _seen(
    back: Back, found: Equilibrium, pressure: Array, hours: float, mix: Mapping[Pace, float]
) -> list[Seen]:
    """Hold the front third against the backs of the study, at each pace they were ridden at."""
    area = back.chart.area[back.chart.valid]
    front = contact_nodes(found.pressure) & (found.along < _FRONT)
    if not front.any():
        return []
    mean, largest = (
        float(np.average(pressure[front], weights=area[front])),
        float(pressure[front].max()),
    )
    whole = sum(mix.values())
    return [
        Seen(
            pace=pace,
            hours=hours * part / whole,
            mean=PACES[pace] * mean,
            largest=PACES[pace] * largest,
            like=standing(pace, PACES[pace] * mean, PACES[pace] * largest),
            area=float(area[PACES[pace] * pressure >= borders(pace)[1][0]].sum()),
        )
        for pace, part in mix.items()
        if pace in SEEN and part > 0.0
    ]


def _changes(on: SetUp, case: Case, found: Equilibrium, spells: tuple[Spell, ...]) -> list[Change]:
    """Try what would lower it: fewer hours, looser cinches, a thicker pad."""
    back, problem = on.back, on.laid.problem
    peak = _peak(back, found)
    under = sum(spell.time for spell in spells) / HOUR
    half = tuple(replace(spell, time=0.5 * spell.time) for spell in spells)
    changes = [
        Change(f"half the time under load ({0.5 * under:g} h)", _first(back, found, half),
               hours_until(spells, peak)),
    ]  # fmt: skip
    looser = replace(
        case,
        straps=tuple(
            replace(strap, tension=LOOSER * strap.tension) if "_cinch_" in strap.name else strap
            for strap in case.straps
        ),
    )
    changes.append(_tried("both cinches a quarter looser", back, problem, looser, spells, found))
    pad = problem.pad
    if pad.thickness > 0.0:
        thick = replace(pad, name=f"{pad.name}, thicker", thickness=_THICKER * pad.thickness)
        again = laid(
            back, problem.tree, pad=thick, at=on.laid.seat.station, foundation=problem.foundation
        )
        words = f"the pad half as thick again ({1e3 * thick.thickness:.0f} mm)"
        changes.append(_tried(words, back, again.problem, case, spells, None))
    return changes


def _tried(  # noqa: PLR0917 - a change, and all it is tried on
    do: str,
    back: Back,
    problem: Problem,
    case: Case,
    spells: tuple[Spell, ...],
    start: Equilibrium | None,
) -> Change:
    found = solve(problem, case, start)
    if not found.found:
        return Change(do, math.nan, math.nan)
    return Change(do, _first(back, found, spells), hours_until(spells, _peak(back, found)))


def _first(back: Back, found: Equilibrium, spells: tuple[Spell, ...]) -> float:
    """Area to look at first, m2."""
    area = back.chart.area[back.chart.valid]
    return float(area[passed(spells, patched(back, found)) >= FIRST].sum())
