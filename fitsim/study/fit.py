"""One tree on one back under its cases: the main study."""

from __future__ import annotations

from dataclasses import dataclass, field
from time import perf_counter
from typing import TYPE_CHECKING

from threadpoolctl import threadpool_limits

from fitsim.measure.measured import measured
from fitsim.measure.rocking import rocking
from fitsim.rig.cases import cases_for
from fitsim.rig.read import read_load, read_rig
from fitsim.study.laid import laid
from fitsim.study.margins import grip
from fitsim.study.model import solver_of
from fitsim.study.moment import with_moment

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import numpy as np
    from numpy.typing import NDArray

    from fitsim.back.back import Back
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.foundation import Foundation
    from fitsim.contact.problem import Problem
    from fitsim.measure.measures import Measures, Rocking
    from fitsim.rig.case import Case, Pad
    from fitsim.rig.load import Load
    from fitsim.rig.rig import Rig
    from fitsim.study.confidence import Samples
    from fitsim.study.model import Model, Solver
    from fitsim.study.moved import Moved
    from fitsim.tree.seat import Seat
    from fitsim.tree.tree import Tree

# Cases on which a hand would try whether the tree rocks.
_ROCKED = ("both", "rider", "pack")


@dataclass(frozen=True)
class Fit:
    """The equilibrium of one Tree on one Back under one Case, and what was measured on it.

    `measures` is None when the tree does not stay on.
    """

    case: Case
    equilibrium: Equilibrium
    measures: Measures | None


@dataclass(frozen=True)
class FitSet:
    """All cases of one tree on one back.

    Attributes
    ----------
    back, tree, pad, rig, load : what was solved.
    seat : where the tree was laid.
    fits : by case name, in the order solved.
    defaults : which of tree, rig, pad, load were defaults, for the report.
    timing_s : seconds by stage.
    model : of the tissue that every case was solved with.
    foundation : of the back, for what else is tried on it.
    moved : the tree a little further back and forward, where that was tried.
    sure : its headline numbers on plausible backs, where those were tried.
    """

    back: Back
    tree: Tree
    pad: Pad
    rig: Rig
    load: Load
    fits: Mapping[str, Fit]
    seat: Seat | None = None
    defaults: tuple[str, ...] = ()
    timing_s: Mapping[str, float] = field(default_factory=dict)
    model: Model = "fast"
    foundation: Foundation | None = None
    moved: tuple[Moved, ...] = ()
    sure: Samples | None = None

    @property
    def stays(self) -> bool:
        """Whether the tree stays on in at least one case."""
        return any(fit.equilibrium.found for fit in self.fits.values())


def fit(
    back: Back,
    tree: Tree,
    *,
    pad: Pad | None = None,
    rig: Rig | None = None,
    load: Load | None = None,
    at: float | None = None,
    model: Model = "fast",
    foundation: Foundation | None = None,
    say: Callable[[str], None] | None = None,
) -> FitSet:
    """Seat a tree on a back and solve the contact under front, rear, both cinches and the load.

    Parameters
    ----------
    back : Back
    tree : Tree
    pad, rig, load : optional
        Felt 20 mm, 180 N front and 120 N rear at each strap end, and an 80 kg rider where not
        given; `defaults` of the result names what was not.
    at : float, m, optional
        How far forward (+) or back (-) of "just behind the shoulder blade" to lay the tree.
    model : "fast" or "reference"
        The reference model takes minutes a case.
    foundation : Foundation, optional
        Of this back, if it was built before.
    say : callable, optional
        Told in words what is being done.

    Returns
    -------
    FitSet
        A tree that does not stay on under a case has ``found`` False there, and no measures.

    Raises
    ------
    BadSettings
        The tree is longer than the scan, or a setting makes no sense on this back.
    """
    given = {"pad": pad, "rig": rig, "load": load}
    defaults = tuple(name for name, value in given.items() if value is None)
    rig, load = rig or read_rig(), load or read_load()
    tell = say or (lambda _words: None)
    on = laid(back, tree, pad=pad, at=at, foundation=foundation, say=tell)
    timing = dict(on.timing_s)
    fits = {}
    # The matrices are small: on a busy machine threads that wait for each other cost tenfold.
    with threadpool_limits(limits=1, user_api="blas"):
        solver = solver_of(model, back, on.problem, say)
        for case in cases_for(back, tree, on.seat.T_body_tree, rig, load):
            tell(f"solving: {case.name}")
            started = perf_counter()
            fits[case.name] = _fit_case(back, on.problem, case, solver)
            timing[f"case_{case.name}"] = perf_counter() - started
    return FitSet(
        back=back, tree=tree, pad=on.problem.pad, rig=rig, load=load, fits=fits, seat=on.seat,
        defaults=defaults, timing_s=timing, model=model, foundation=on.problem.foundation,
    )  # fmt: skip


def _fit_case(back: Back, problem: Problem, case: Case, solver: Solver) -> Fit:
    """Solve one case and measure it."""
    equilibrium = solver(case)
    if not equilibrium.found:
        return Fit(case, equilibrium, None)
    rocked = _rocked(problem, case, equilibrium, solver) if case.name in _ROCKED else None
    measures = measured(
        back, problem.tree, case, equilibrium, rocked, margins=grip(problem, equilibrium)
    )
    return Fit(case, equilibrium, measures)


def _rocked(problem: Problem, case: Case, rest: Equilibrium, solver: Solver) -> Rocking | None:
    """Rock the tree with test moments; None where it would not come back."""

    def pose_under(moment: float) -> NDArray[np.float64] | None:
        if moment == 0.0:
            return rest.T_body_tree
        found = solver(with_moment(case, moment), rest)
        return found.T_body_tree if found.found else None

    return rocking(problem.tree, pose_under)
