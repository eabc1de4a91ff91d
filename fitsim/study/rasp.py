"""What to take off the bars' undersides so that their hottest spot cools."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from fitsim.contact.bars import place_bar
from fitsim.contact.problem import prepare
from fitsim.contact.solve import solve
from fitsim.contact.stiffening import true_indentation
from fitsim.errors import NoEquilibrium
from fitsim.measure.measured import measured
from fitsim.rig.cases import cases_for
from fitsim.rig.pad import pad_compression
from fitsim.study.laid import laid
from fitsim.tree.placed import placed

if TYPE_CHECKING:
    from fitsim.back.back import Back
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Case, Pad
    from fitsim.rig.load import Load
    from fitsim.rig.rig import Rig
    from fitsim.tree.tree import Tree

Array = NDArray[np.float64]

#: In one round pressure above this share of the highest is led away, over about this distance, m.
CAP, SPREAD = 0.8, 0.040

#: Rounds at most, share of the peak that a round must gain to be worth its wood, and the deepest
#: change, m.
ROUNDS, GAIN, DEEPEST = 4, 0.03, 0.004

#: Cases in which a tree works, the heaviest first.
WORKING = ("rider", "pack", "both")


@dataclass(frozen=True)
class Rasped:
    """A change of the undersides and what it does.

    Attributes
    ----------
    depth : per bar (left, right), (m, k) array, m, on the underside's grid, >= 0: to take off.
    case : in which the hotspot was found.
    before, after : Pa, highest 20 x 20 mm mean in that case.
    shimmed : Pa, the same with `shim` laid under instead; infinite if the tree then leaves.
    tree : with the undersides changed.
    """

    depth: tuple[Array, Array]
    case: str
    before: float
    after: float
    shimmed: float
    tree: Tree

    @property
    def shim(self) -> tuple[Array, Array]:
        """Thickness of shims that give the same shape: full, but hollow where it is hot, m."""
        full = max(float(one.max()) for one in self.depth)
        return full - self.depth[0], full - self.depth[1]


def rasped(
    back: Back,
    tree: Tree,
    *,
    pad: Pad | None = None,
    rig: Rig,
    load: Load,
    at: float | None = None,
) -> Rasped:
    """Find what evens the hottest spot of a tree, and try it.

    Parameters
    ----------
    back, tree, pad, rig, load, at : as in `fitsim.study.fit.fit`.

    Returns
    -------
    Rasped
        Every round was solved anew with the bars changed, and kept only if the peak fell; the
        depths are zero where no round did.

    Raises
    ------
    NoEquilibrium
        The tree does not stay on under any case in which it works.

    Notes
    -----
    In each round the pressure above a cap is led to what lies around it, by a kernel that favours
    nodes that already carry. How much deeper or shallower skin and pad would then lie follows from
    the back's own compliance, C, and the pad's curve:

        change = d(C f_wanted) - d(C f_now) + pad(p_wanted) - pad(p_now).

    The tree as a whole sinks until the others carry what the hot nodes lost; what is left between
    the two is what the bar must give way by, there.
    """
    on = laid(back, tree, pad=pad, at=at)
    every = {case.name: case for case in cases_for(back, tree, on.seat.T_body_tree, rig, load)}
    with threadpool_limits(limits=1, user_api="blas"):
        case, rest = _working(on.problem, every)
        return _rounds(back, on.problem, case, rest)


def _working(problem: Problem, cases: dict[str, Case]) -> tuple[Case, Equilibrium]:
    """The heaviest case under which the tree stays on."""
    for name in WORKING:
        if name in cases:
            rest = solve(problem, cases[name])
            if rest.found:
                return cases[name], rest
    raise NoEquilibrium(
        problem.tree.name,
        "does not stay on this back, so that there is no spot to relieve",
        "move it with --at, change its cinches or choose another tree",
    )


def _rounds(back: Back, problem: Problem, case: Case, rest: Equilibrium) -> Rasped:
    """Change, solve, keep what helps."""
    tree = problem.tree
    before = best = measured(back, tree, case, rest).peak
    depth = tuple(np.zeros_like(bar.underside.height) for bar in tree.bars)
    kept, strength = tree, 1.0
    for _ in range(ROUNDS):
        asked = _asked(problem, rest)
        more = tuple(
            np.clip(old + strength * _over_bar(problem, rest, asked, side), 0.0, DEEPEST)
            for side, old in enumerate(depth)
        )
        changed = rasped_tree(tree, more)
        trial = prepare(problem.foundation, changed, problem.pad, problem.T_body_tree_seat)
        found = solve(trial, case)
        peak = measured(back, changed, case, found).peak if found.found else np.inf
        if peak < (1.0 - GAIN) * best:
            best, kept, depth, problem, rest = peak, changed, more, trial, found
        elif strength < 0.3:  # noqa: PLR2004 - two halvings did not help
            break
        else:
            strength /= 2.0
    result = Rasped((depth[0], depth[1]), case.name, before, best, best, kept)
    if kept is tree:
        return result
    return replace(result, shimmed=_shimmed(back, problem, tree, case, result))


def _shimmed(back: Back, problem: Problem, tree: Tree, case: Case, found: Rasped) -> float:
    """Highest pressure over shims, Pa: they lie square to the faces, so that it is not the same."""
    full = max(float(one.max()) for one in found.shim)
    lifted = problem.T_body_tree_seat.copy()
    lifted[2, 3] += full
    under = rasped_tree(tree, (-found.shim[0], -found.shim[1]))
    rest = solve(prepare(problem.foundation, under, problem.pad, lifted), case)
    return measured(back, under, case, rest).peak if rest.found else float("inf")


def _asked(problem: Problem, rest: Equilibrium) -> Array:
    """By how much the bar must give way over each node, (n,) m, >= 0."""
    ground = problem.foundation
    now = rest.pressure
    wanted = _evened(ground.points, ground.area, now, rest.bar)
    sink = [
        true_indentation(ground.deflection(pressure * ground.area), ground.depth)
        + pad_compression(problem.pad, pressure)
        for pressure in (now, wanted)
    ]
    change = sink[1] - sink[0]
    out = np.zeros_like(change)
    carries = now > 0.0
    for side in (1, -1):
        under = carries & (rest.bar == side)
        if not under.any():
            continue
        # The tree sinks by what all of them ask for, weighted by what they carry.
        level = np.average(change[under], weights=now[under] * ground.area[under])
        out[under] = np.maximum(level - change[under], 0.0)
    return out


def _evened(points: Array, area: Array, pressure: Array, bar: NDArray[np.int_]) -> Array:
    """Pressure with what is above the cap led to what lies around, (n,) Pa."""
    wanted = pressure.copy()
    cap = CAP * float(pressure.max())
    for side in (1, -1):
        under = np.flatnonzero((bar == side) & (pressure > 0.0))
        hot = under[pressure[under] > cap]
        if len(hot) == 0:
            continue
        apart = np.linalg.norm(points[under][:, None] - points[hot][None], axis=2)
        room = np.maximum(cap - pressure[under], 0.0) * pressure[under] * area[under]
        share = np.exp(-0.5 * (apart / SPREAD) ** 2) * room[:, None]
        share /= np.maximum(share.sum(axis=0), 1e-300)
        excess = (pressure[hot] - cap) * area[hot]
        wanted[hot] = cap
        wanted[under] += share @ excess / area[under]
    return wanted


def _over_bar(problem: Problem, rest: Equilibrium, asked: Array, side: int) -> Array:
    """What nodes ask for, drawn smoothly over one bar's underside, (m, k) m."""
    tree, ground = problem.tree, problem.foundation
    bar, face = tree.bars[side], tree.bars[side].underside
    before = sum(problem.joints[:side])
    angles = rest.joint_angles[before : before + problem.joints[side]]
    T_body_bar, _ = place_bar(rest.T_body_tree, bar, angles)
    under = rest.bar == (1, -1)[side]
    lifted = ground.points[under] + problem.pad.thickness * ground.normals[under]
    place = placed(np.linalg.inv(T_body_bar).astype(np.float64), lifted)[:, :2]
    # A tensor product of two bells; the nodes lie on a grid, so that their sum hardly ripples.
    width = 1.1 * ground.spacing
    along = np.exp(-0.5 * ((face.xi[:, None] - place[:, 0]) / width) ** 2)
    across = np.exp(-0.5 * ((face.eta[:, None] - place[:, 1]) / width) ** 2)
    weight = along @ across.T
    drawn = (along * asked[under]) @ across.T
    return np.asarray(drawn / np.maximum(weight, 0.2 * float(weight.max(initial=1e-12))))


def rasped_tree(tree: Tree, depth: tuple[Array, ...]) -> Tree:
    """The tree with so much taken off its undersides.

    Parameters
    ----------
    tree : any.
    depth : per bar, (m, k) array, m, on the underside's grid; negative lays under.

    Returns
    -------
    Tree
    """
    left, right = (
        replace(bar, underside=replace(bar.underside, height=bar.underside.height + one))
        for bar, one in zip(tree.bars, depth, strict=True)
    )
    return replace(tree, bars=(left, right))
