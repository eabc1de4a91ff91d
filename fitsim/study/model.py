"""Which model of the tissue answers a study: the fast one, or the finite-strain reference."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, Protocol

from fitsim.contact.solve import solve

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitsim.back.back import Back
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.problem import Problem
    from fitsim.contact.reference_model.ground import Ground
    from fitsim.rig.case import Case

Model = Literal["fast", "reference"]
MODELS: tuple[Model, ...] = ("fast", "reference")


class Solver(Protocol):
    """Finds where a tree comes to rest under a case, starting near a neighbouring answer."""

    def __call__(self, case: Case, start: Equilibrium | None = None) -> Equilibrium:
        """Solve."""


def fast_solver(problem: Problem) -> Solver:
    """Solve with the layered elastic tissue of `fitsim.contact.solve`.

    Parameters
    ----------
    problem : Problem

    Returns
    -------
    Solver
    """

    def solved(case: Case, start: Equilibrium | None = None) -> Equilibrium:
        return solve(problem, case, start)

    return solved


def reference_solver(
    back: Back,
    problem: Problem,
    say: Callable[[str], None] | None = None,
    size: float | None = None,
) -> Solver:
    """Solve with finite-strain elements; minutes a case.

    Parameters
    ----------
    back : Back
    problem : Problem
    say : callable, optional
        Told in words what is being done.
    size : float, m, optional
        Of an element across the bars; see `fitsim.contact.reference_model.ground.SIZE`.

    Returns
    -------
    Solver
        It starts from the fast model's answer, or from its own last one where that is the start
        given; where the fast model finds no equilibrium, that is the answer.
    """
    from fitsim.contact.reference_model.solve import Settled
    from fitsim.contact.reference_model.solve import solve as settle

    tell = say or (lambda _words: None)
    tell("meshing the tissue under the bars")
    ground = ground_under(back, problem, size)
    last: list[Settled] = []

    def solved(case: Case, start: Equilibrium | None = None) -> Equilibrium:
        def words(told: str) -> None:
            tell(f"{case.name}: {told}")

        known = next((one for one in last if one.equilibrium is start), None)
        if known is not None:
            return settle(problem, ground, case, known, words).equilibrium
        begin = solve(problem, case, start)
        settled = settle(problem, ground, case, begin, words)
        if begin.found:
            _refuse_unsettled(problem, case, settled.equilibrium)
        last[:] = [settled]  # the case itself: test moments start from it
        return settled.equilibrium

    return solved


def _refuse_unsettled(problem: Problem, case: Case, found: Equilibrium) -> None:
    """Do not call a search that failed a tree that leaves."""
    from fitsim.contact.leaving import leaving
    from fitsim.contact.pose import Pose
    from fitsim.errors import NoEquilibrium

    if found.found or leaving(problem, Pose(found.T_body_tree, found.joint_angles)) is not None:
        return
    raise NoEquilibrium(
        f"case {case.name}",
        "the reference model did not settle, which says nothing about the tree",
        "use the fast model, or a thicker pad",
    )


def ground_under(back: Back, problem: Problem, size: float | None = None) -> Ground:
    """Mesh of the tissue under all nodes a problem's bars may reach.

    Parameters
    ----------
    back : Back
    problem : Problem
    size : float, m, optional
        Of an element across the bars.

    Returns
    -------
    Ground

    Raises
    ------
    BadScan
        If the tissue assumed is deeper than the back is round.
    """
    import numpy as np

    from fitsim.contact.reference_model.ground import SIZE, ground_of
    from fitsim.errors import BadScan

    chart, foundation = back.chart, problem.foundation
    rows, columns = np.divmod(foundation.nodes[problem.near], foundation.shape[1])
    x, t = chart.x[rows], chart.t[columns]
    box = np.array([[x.min(), x.max()], [t.min(), t.max()]])
    try:
        return ground_of(chart, back.tissue, box, size or SIZE)
    except ValueError as fault:
        raise BadScan(
            back.provenance.name,
            "the tissue assumed under the bars is deeper than the back is round there",
            "use the fast model, or scan again and mark the withers",
        ) from fault


def solver_of(
    model: Model, back: Back, problem: Problem, say: Callable[[str], None] | None = None
) -> Solver:
    """Return the solver that a study was asked for.

    Parameters
    ----------
    model : "fast" or "reference"
    back : Back
    problem : Problem
    say : callable, optional
        Told in words what is being done.

    Returns
    -------
    Solver
    """
    if model == "reference":
        return reference_solver(back, problem, say)
    return fast_solver(problem)
