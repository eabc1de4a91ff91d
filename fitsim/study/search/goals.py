"""What a person wants of a tree, as five numbers and one score."""

from __future__ import annotations

from dataclasses import astuple, dataclass, fields, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from fitsim.back.motion.gait import glided
from fitsim.back.motion.posture import posture
from fitsim.back.tissue import zone_kind
from fitsim.contact.solve import solve
from fitsim.measure.pressure import mean_pressure, on_grid, patch_peak
from fitsim.measure.shoulder import shoulder_freedom
from fitsim.study.carried import carried_case, carried_on
from fitsim.study.moment import with_moment

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitsim.back.back import Back
    from fitsim.back.motion.kinematics import Kinematics
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Case

Array = NDArray[np.float64]

_WORST_MOST = 4  # power of the mean over the goals
_MOMENTS = 48  # of a walk, among which the farthest glide is looked for
_TEST_MOMENT = 10.0  # N*m
# Bars rest beside the spine and over the rib cage only (Garrett, A guide to pack saddles).
_SPARED = ("fat_pocket", "spine", "loin")


@dataclass(frozen=True)
class Goals:
    """How a tree does at what a person would ask of it; less is better in all.

    Attributes
    ----------
    pressure : Pa, highest mean over a 20 x 20 mm patch of skin.
    even : Pa, mean over the contact patch: the load over all that carries it.
    shoulder : Pa, as `pressure`, within the shoulder blades: standing, or at the two moments of a
        walk when either blade has glided back farthest under the bar, whichever is most.
    spared : Pa, the same within what a tree must not rest on: the fat pockets, the spine, and the
        loin behind the last rib.
    steady : rad/(N*m), pitch under a test moment of 10 N*m either way.
    """

    pressure: float
    even: float
    shoulder: float
    spared: float
    steady: float


PLENTY = Goals(
    pressure=30.6e3, even=15.3e3, shoulder=13.4e3, spared=13.4e3, steady=float(np.radians(0.1))
)
"""Of each goal, what is plenty and counts 1. At the walk, saddles that had left dry spots pressed
with 30.6 kPa at most and 15.3 kPa in the mean, those of sound backs with 13.4 kPa at most (von
Peinen et al. 2010, doi:10.1111/j.2042-3306.2010.00191.x); 1 deg of pitch under 10 N*m is chosen, no
source."""

GOALS = tuple(field.name for field in fields(Goals))


def goals_of(back: Back, problem: Problem, case: Case, moving: Kinematics) -> Goals | str:
    """Solve the working case and say how the tree does.

    Parameters
    ----------
    back : Back
        Whose zones count.
    problem : Problem
    case : Case
        The one that the animal works under.
    moving : Kinematics
        The back made ready to walk.

    Returns
    -------
    Goals or str
        In words the way it leaves, where the tree does not stay on.
    """
    rest = solve(problem, case)
    if not rest.found:
        return rest.leaves or "leaves the back"
    turned = _pitch_between(problem, case, rest)
    if turned is None:
        return "rocks off"
    gliding = _peaks_gliding(problem, case, rest, moving)
    if gliding is None:
        return "leaves as the shoulder glides back"
    grid, spacing = on_grid(back.chart, rest.pressure), back.chart.spacing
    return Goals(
        pressure=float(patch_peak(grid, spacing).max()),
        even=mean_pressure(rest.pressure, back.chart.area[back.chart.valid]),
        shoulder=max(
            float(patch_peak(grid, spacing, within=_within(back, "scapula")).max()), *gliding
        ),
        spared=float(patch_peak(grid, spacing, within=_within(back, *_SPARED)).max()),
        steady=turned / (2.0 * _TEST_MOMENT),
    )


def score(goals: Goals, care: Mapping[str, float] | None = None) -> float:
    """One number for all goals: 1 where each is just plenty, less where it is better.

    Parameters
    ----------
    goals : Goals
    care : mapping, optional
        How much each goal counts, by name; 1 where not given.

    Returns
    -------
    float, -
        Mean of every goal over what is plenty of it, of the fourth power, so that the worst goal
        counts most: a tree that is good at three and bad at one is a bad tree.

    Examples
    --------
    >>> round(score(PLENTY), 3)
    1.0
    """
    weight = np.array([(care or {}).get(name, 1.0) for name in GOALS])
    share = np.array(astuple(goals)) / np.array(astuple(PLENTY))
    return float((weight @ share**_WORST_MOST / weight.sum()) ** (1.0 / _WORST_MOST))


def _pitch_between(problem: Problem, case: Case, rest: Equilibrium) -> float | None:
    """How far the tree pitches from one test moment to the other, rad; None where it leaves."""
    pitch = []
    for moment in (-_TEST_MOMENT, _TEST_MOMENT):
        found = solve(problem, with_moment(case, moment), rest)
        if not found.found:
            return None
        turn = Rotation.from_matrix(found.T_body_tree[:3, :3] @ rest.T_body_tree[:3, :3].T)
        pitch.append(float(turn.as_rotvec()[1]))
    return pitch[1] - pitch[0]


def _peaks_gliding(
    problem: Problem, case: Case, rest: Equilibrium, moving: Kinematics
) -> tuple[float, ...] | None:
    """Highest pressure on each blade when it has glided back farthest; None where the tree leaves.

    The load stays as heavy as it is: what the gait adds to it, it adds to every setting alike.
    """
    phases = np.arange(_MOMENTS) / _MOMENTS
    peaks = []
    for side in moving.blades:
        phase = phases[np.argmax([glided(moving.gait, side, float(one)) for one in phases])]
        now = posture(moving, float(phase))
        here, T_now_standing = carried_on(problem, now)
        start = replace(rest, T_body_tree=T_now_standing @ rest.T_body_tree)
        found = solve(here, carried_case(case, moving, now.phase, 1.0), start)
        if not found.found:
            return None
        peaks.append(float(shoulder_freedom(moving, [now], [found], side, 0.0).peak[0]))
    return tuple(peaks)


def _within(back: Back, *kinds: str) -> NDArray[np.bool_]:
    """Cells of the chart that belong to zones of these kinds, on either side."""
    chosen = [k for k, zone in enumerate(back.zones) if zone_kind(zone.name) in kinds]
    return np.isin(back.zone_code, chosen)
