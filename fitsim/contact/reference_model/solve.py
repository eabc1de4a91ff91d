"""A tree on finite-strain tissue in full balance: the reference for the fast model.

Displacements of the tissue, the tree's six motions and its joints are found together by Newton's
method. The factorised tangent of the tissue with the pad's springs is kept while it still serves
(chord steps cost a hundredth of a factorisation); the tree's motions are eliminated as in the
fast model, so that its balance and the skin's are met at once. Friction, straps, weights and
joints are the fast model's own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import splu

from fitsim.contact.applied import applied_forces
from fitsim.contact.balance import share_of_load, weigh
from fitsim.contact.leaving import leaving
from fitsim.contact.pose import Pose
from fitsim.contact.reference_model.answer import at_rest
from fitsim.contact.reference_model.assembly import nodal_forces, stiffness, volume_ratio
from fitsim.contact.reference_model.contact_points import contact_points
from fitsim.contact.reference_model.ground import spread
from fitsim.contact.reference_model.ordering import dissection
from fitsim.contact.reference_model.touch import touched

if TYPE_CHECKING:
    from collections.abc import Callable

    from scipy.sparse.linalg import SuperLU

    from fitsim.contact.balance import Balance
    from fitsim.contact.equilibrium import Equilibrium, Way
    from fitsim.contact.problem import Problem
    from fitsim.contact.reference_model.contact_points import ContactPoints
    from fitsim.contact.reference_model.ground import Ground, Spread
    from fitsim.contact.reference_model.touch import Touch
    from fitsim.rig.case import Case

Array = NDArray[np.float64]
Index = NDArray[np.int_]

BALANCED = 1e-5
"""Share of the load left over, on the tree and on any node of the tissue."""

_MOST_STEPS = 120
_WORN = 0.4  # a chord step that leaves more than this share of the error wears the tangent out
_LONGEST_STEP = 0.006  # m, of the tree, and the same at half the bar's length for rotations
_SMALLEST_VOLUME = 0.05  # a step that squeezes any point below this share is shortened
_DRAG = 2.0e4  # N/m: about the stiffness of a back under a tree


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


@dataclass(frozen=True)
class _Task:
    """What stays the same from step to step."""

    problem: Problem  # of the contact points
    ground: Ground
    case: Case
    order: Index  # free degrees of freedom, in order of elimination
    spread: Spread  # from nodes of the mesh to the contact points


@dataclass(frozen=True)
class _State:
    """Tissue and tree at one moment, with everything worked out there.

    `error` is the largest unbalanced force, on the tree or on a node, over the load.
    """

    displacement: Array
    pose: Pose
    touch: Touch
    balance: Balance
    residual: Array
    error: float


@dataclass(frozen=True)
class Tangent:
    """Factorised tissue with its springs, and how it follows the tree's motions."""

    factor: SuperLU
    follows: Array  # (3n, 6 + j), displacements per motion of the tree


def solve(
    problem: Problem,
    ground: Ground,
    case: Case,
    start: Equilibrium | Settled,
    say: Callable[[str], None] | None = None,
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

    Returns
    -------
    Settled
        Its pressure and shear are the components along and across the undeformed normals of the
        force on each node, over the node's undeformed area.

    Notes
    -----
    Where the fast model finds no equilibrium none is sought: the start is returned.
    """
    rest = np.zeros_like(ground.model.slab.points)
    begin = start if isinstance(start, Settled) else Settled(start, rest)
    if not begin.equilibrium.found:
        return begin
    points = contact_points(problem, ground.chart, ground.size)
    task = _task(points, ground, case)
    tell = say or (lambda _words: None)
    pose = Pose(begin.equilibrium.T_body_tree, begin.equilibrium.joint_angles)
    state, tangent, steps = _evaluated(task, begin.displacement, pose), begin.tangent, 0
    while state.error > BALANCED and steps < _MOST_STEPS and _way(task, state) is None:
        steps += 1
        tangent = tangent or _tangent(task, state)
        after = _stepped(task, state, tangent)
        tell(f"step {steps}, {after.error:.2%} of the load out of balance")
        if after.error > _WORN * state.error:
            tangent = None
        state = after
    found = state.error <= BALANCED
    way = None if found else leaving(problem, state.pose, at_end=True)
    answer = replace(
        at_rest(problem, points, ground, state.touch, state.balance, state.displacement),
        found=found,
        leaves=way,
        residual=share_of_load(problem, state.balance, state.balance.unbalanced),
        iterations=steps,
        T_body_tree=state.pose.T_body_tree,
        joint_angles=state.pose.angles,
        forces=applied_forces(case, state.pose.T_body_tree),
    )
    return Settled(answer, state.displacement, tangent)


def _task(points: ContactPoints, ground: Ground, case: Case) -> _Task:
    dofs = (3 * dissection(ground.model.slab.grid)[:, None] + np.arange(3)).ravel()
    order = dofs[~ground.fixed.ravel()[dofs]]
    return _Task(points.problem, ground, case, order, spread(ground, points.x, points.t))


def _way(task: _Task, state: _State) -> Way | None:
    return leaving(task.problem, state.pose)


def _evaluated(task: _Task, displacement: Array, pose: Pose) -> _State:
    """Everything at one state: contact, balance of the tree, unbalanced forces on the nodes."""
    moved = task.spread.value @ displacement
    normals = _skin_normals(task, displacement)
    touch = touched(task.problem, task.problem.points + moved, normals, pose)
    balance = weigh(touch.problem, task.case, pose, touch.above, touch.force)
    on_skin = -touch.force[:, None] * touch.problem.normals - balance.shear.force
    residual = nodal_forces(task.ground.model, displacement) - task.spread.value.T @ on_skin
    residual[task.ground.fixed] = 0.0
    on_tree = share_of_load(touch.problem, balance, balance.unbalanced)
    error = max(on_tree, float(np.abs(residual).max()) / balance.scale)
    return _State(displacement, pose, touch, balance, residual, error)


def _skin_normals(task: _Task, displacement: Array) -> Array:
    """Unit normals (m, 3) of the deformed skin at the contact points.

    The skin's own normals are turned as the mesh under them turns, so that none of the mesh's
    smoothing is in them while nothing is deformed.
    """
    rest = task.ground.model.slab.points
    frames = []
    for points in (rest, rest + displacement):
        along, across = task.spread.along @ points, task.spread.across @ points
        frames.append(np.stack([along, across, np.cross(along, across)], axis=2))
    # Normals turn with the transposed inverse of the surface's own deformation.
    change = np.linalg.solve(frames[1].transpose(0, 2, 1), frames[0].transpose(0, 2, 1))
    turned = np.einsum("mij,mj->mi", change, task.problem.normals)
    return np.asarray(turned / np.linalg.norm(turned, axis=1, keepdims=True))


def _tangent(task: _Task, state: _State) -> Tangent:
    """Tissue and springs, factorised."""
    touch, size = state.touch, state.displacement.size
    pushing, closing = _rows(task, touch.problem.normals), _rows(task, touch.lever)
    K = stiffness(task.ground.model, state.displacement)
    K = (K + pushing.T @ sparse.diags_array(touch.stiffness) @ closing).tocsr()
    rest = task.order
    factor = splu(
        K[rest][:, rest].tocsc(), permc_spec="NATURAL", diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )  # fmt: skip
    pulled = pushing.T @ (touch.stiffness[:, None] * touch.above.closing)
    follows = np.zeros((size, pulled.shape[1]))
    follows[rest] = factor.solve(-pulled[rest])
    return Tangent(factor, follows)


def _rows(task: _Task, directions: Array) -> sparse.csr_array:
    """(m, 3n) motion of the contact points along directions (m, 3), per motion of the nodes."""
    value = task.spread.value
    parts = [sparse.diags_array(directions[:, axis]) @ value for axis in range(3)]
    by_node = np.arange(3 * value.shape[1]).reshape(3, -1).T.ravel()
    return sparse.csr_array(sparse.hstack(parts, format="csc")[:, by_node])


def _stepped(task: _Task, state: _State, tangent: Tangent) -> _State:
    """One Newton or chord step of tissue and tree together."""
    touch, rest = state.touch, task.order
    alone = np.zeros(state.displacement.size)
    alone[rest] = tangent.factor.solve(-state.residual.ravel()[rest])
    along = _rows(task, touch.lever)
    gained = touch.stiffness * (along @ alone)
    rising = touch.stiffness[:, None] * (along @ tangent.follows + touch.above.closing)
    by_normal = state.balance.by_normal
    matrix = -(state.balance.change + by_normal.T @ rising)
    step = np.linalg.solve(matrix, state.balance.unbalanced + by_normal.T @ gained)
    lengths = np.ones(len(step))
    lengths[3:] = task.problem.half_length
    share = min(1.0, _LONGEST_STEP / max(float(np.abs(step * lengths).max()), 1e-12))
    move = (alone + tangent.follows @ step).reshape(-1, 3)
    share = _safe_share(task, state.displacement, move, share)
    pose = state.pose.moved(share * step, touch.above.centre)
    return _evaluated(task, state.displacement + share * move, pose)


def _safe_share(task: _Task, displacement: Array, move: Array, share: float) -> float:
    """Largest share of a step, halving, that leaves every element a volume."""
    model = task.ground.model
    while volume_ratio(model, displacement + share * move) < _SMALLEST_VOLUME and share > 1e-3:  # noqa: PLR2004
        share /= 2.0
    return share
