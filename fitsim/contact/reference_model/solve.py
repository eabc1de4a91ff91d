"""A tree on finite-strain tissue in full balance: the reference for the fast model.

Displacements of the tissue, the tree's six motions and its joints are found together by Newton's
method; friction, straps, weights and joints are the fast model's own. Where a load is too large
to be taken in one go it is laid on in parts.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.applied import applied_forces
from fitsim.contact.balance import share_of_load
from fitsim.contact.leaving import leaving
from fitsim.contact.pose import Pose
from fitsim.contact.reference_model.answer import at_rest
from fitsim.contact.reference_model.contact_points import contact_points
from fitsim.contact.reference_model.newton import BALANCED, settled, task_of
from fitsim.contact.solve import solve as solve_fast

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.problem import Problem
    from fitsim.contact.reference_model.contact_points import ContactPoints
    from fitsim.contact.reference_model.ground import Ground
    from fitsim.contact.reference_model.newton import Tangent, Task
    from fitsim.rig.case import Case

Array = NDArray[np.float64]

# Pa, of the fast model's highest pressure: about as much as a search from rest takes in one go.
_AT_ONCE = 12e3
_SMALLEST_PART = 1.0 / 16.0  # of a load; where not even that can be added there is no balance


@dataclass(frozen=True)
class Settled:
    """A tree at rest, with what a neighbouring search can start from.

    Attributes
    ----------
    equilibrium : as the fast model gives it.
    displacement : (n, 3) array, m, of the mesh's nodes.
    tangent : factorised tissue, as long as it served.
    """

    equilibrium: Equilibrium
    displacement: Array
    tangent: Tangent | None = None


def solve(
    problem: Problem,
    ground: Ground,
    case: Case,
    start: Equilibrium | Settled,
    say: Callable[[str], None] | None = None,
    *,
    follows: bool = False,
) -> Settled:
    """Find where the tree comes to rest on finite-strain tissue.

    Parameters
    ----------
    problem : Problem
        From `fitsim.contact.problem.prepare`; skin and bars meet in its near nodes' cells.
    ground : Ground
        From `fitsim.contact.reference_model.ground.ground_of`, under all near nodes.
    case : Case
        Straps, weights and loads.
    start : Equilibrium or Settled
        The fast model's answer, whose pose is where the search begins, or a neighbouring case's
        from this function.
    say : callable, optional
        Told in words after every step how far it has come.
    follows : bool
        Whether the pad acts square to the skin as it is now, in place of as it lay at rest, which
        is the fast model's contact too; for saying what that is worth.

    Returns
    -------
    Settled
        Its pressure and shear are the components along and across the undeformed normals of the
        force on each node, over the node's undeformed area.

    Notes
    -----
    Where the fast model finds no equilibrium none is sought: the start is returned.
    """
    begin = start if isinstance(start, Settled) else _at_pose_of(start, ground)
    if not begin.equilibrium.found:
        return begin
    points = contact_points(problem, ground.chart, ground.size)
    tell = say or (lambda _words: None)

    def search(laid: Case, begin: Settled, words: Callable[[str], None]) -> Settled:
        task = task_of(points, ground, laid, follows=follows)
        return _tried(problem, points, task, begin, words)

    return _in_parts(problem, ground, case, begin, search, tell)


def _in_parts(  # noqa: PLR0917 all that a search needs
    problem: Problem,
    ground: Ground,
    case: Case,
    begin: Settled,
    search: Callable[[Case, Settled, Callable[[str], None]], Settled],
    tell: Callable[[str], None],
) -> Settled:
    """Lay the load on, in one go if that can be, else in ever smaller parts."""
    from_rest = not begin.displacement.any()
    most = float(begin.equilibrium.pressure.max())
    on, part, steps = 0.0, min(1.0, _AT_ONCE / max(most, _AT_ONCE)) if from_rest else 1.0, 0
    here: Settled | None = None
    while True:
        share = min(1.0, on + part)
        laid = _part(case, share)
        start = here or begin
        if here is None and share < 1.0:
            start = _at_pose_of(solve_fast(problem, laid), ground)
        tried = search(laid, start, _told(tell, share))
        steps += tried.equilibrium.iterations
        if tried.equilibrium.found and share == 1.0:
            return replace(tried, equilibrium=replace(tried.equilibrium, iterations=steps))
        if tried.equilibrium.found:
            here, on, part = tried, share, 1.5 * part
        elif part > _SMALLEST_PART:
            part = min(part, 1.0 - on) / 2.0
        else:
            return tried


def _part(case: Case, share: float) -> Case:
    """The case with everything pulling and weighing less."""
    if share == 1.0:
        return case
    straps = tuple(
        replace(s, tension=share * s.tension, stiffness=share * s.stiffness) for s in case.straps
    )
    forces = tuple(replace(f, force_body=share * f.force_body) for f in case.forces)
    return replace(case, straps=straps, forces=forces)


def _at_pose_of(start: Equilibrium, ground: Ground) -> Settled:
    """Undeformed tissue under the tree where the fast model has it."""
    return Settled(start, np.zeros_like(ground.model.slab.points))


def _told(tell: Callable[[str], None], share: float) -> Callable[[str], None]:
    """Say with every step how much of the load is on."""
    if share == 1.0:
        return tell
    return lambda words: tell(f"{share:.0%} of the load, {words}")


def _tried(
    problem: Problem,
    points: ContactPoints,
    task: Task,
    begin: Settled,
    tell: Callable[[str], None],
) -> Settled:
    """One search from one start."""
    pose = Pose(begin.equilibrium.T_body_tree, begin.equilibrium.joint_angles)
    state, tangent, steps = settled(task, begin.displacement, pose, begin.tangent, tell)
    found = state.error <= BALANCED
    answer = replace(
        at_rest(problem, points, task.ground, state.touch, state.balance, state.displacement),
        found=found,
        leaves=None if found else leaving(problem, state.pose, at_end=True),
        residual=share_of_load(problem, state.balance, state.balance.unbalanced),
        iterations=steps,
        T_body_tree=state.pose.T_body_tree,
        joint_angles=state.pose.angles,
        forces=applied_forces(task.case, state.pose.T_body_tree),
    )
    return Settled(answer, state.displacement, tangent)
