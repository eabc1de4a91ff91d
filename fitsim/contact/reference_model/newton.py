"""Newton's method for tissue and tree together.

The factorised tangent of the tissue with the pad's springs is kept while it still serves (chord
steps cost a hundredth of a factorisation); the tree's motions are eliminated as in the fast
model, so that its balance and the skin's are met at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import splu

from fitsim.contact.balance import share_of_load, weigh
from fitsim.contact.leaving import leaving
from fitsim.contact.reference_model.assembly import nodal_forces, stiffness, volume_ratio
from fitsim.contact.reference_model.ground import spread
from fitsim.contact.reference_model.ordering import dissection
from fitsim.contact.reference_model.touch import touched

if TYPE_CHECKING:
    from collections.abc import Callable

    from scipy.sparse.linalg import SuperLU

    from fitsim.contact.balance import Balance
    from fitsim.contact.pose import Pose
    from fitsim.contact.problem import Problem
    from fitsim.contact.reference_model.contact_points import ContactPoints
    from fitsim.contact.reference_model.ground import Ground, Spread
    from fitsim.contact.reference_model.touch import Touch
    from fitsim.rig.case import Case

Array = NDArray[np.float64]
Index = NDArray[np.int_]

BALANCED = 1e-5
"""Share of the load left over, on the tree and on any node of the tissue."""

_MOST_STEPS = 40
_LATE = 7  # steps after which a search that has not halved what it began with has gone astray
_WORN = 0.4  # a chord step that leaves more than this share of the error wears the tangent out
_LONGEST_STEP = 0.006  # m, of the tree, and the same at half the bar's length for rotations
_SMALLEST_VOLUME = 0.05  # a step that squeezes any point below this share is shortened


@dataclass(frozen=True)
class Task:
    """What stays the same from step to step."""

    problem: Problem  # of the contact points
    ground: Ground
    case: Case
    order: Index  # free degrees of freedom, in order of elimination
    spread: Spread  # from nodes of the mesh to the contact points
    follows: bool  # whether the pad acts along the skin's normals as they are now


@dataclass(frozen=True)
class State:
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


def settled(
    task: Task,
    displacement: Array,
    pose: Pose,
    tangent: Tangent | None,
    tell: Callable[[str], None],
) -> tuple[State, Tangent | None, int]:
    """Step until everything balances, or the search has gone astray, or the tree leaves.

    Parameters
    ----------
    task : Task
    displacement : (n, 3) array, m
    pose : Pose
    tangent : Tangent, optional
        Of a neighbouring state.
    tell : callable
        Told in words after every step how far it has come.

    Returns
    -------
    state : State
        Balanced if its error is `BALANCED` or less.
    tangent : Tangent or None
        As long as it serves.
    steps : int
    """
    state, steps = evaluated(task, displacement, pose), 0
    first = state.error
    while state.error > BALANCED and steps < _MOST_STEPS:
        steps += 1
        tangent = tangent or _tangent(task, state)
        after = _stepped(task, state, tangent)
        tell(f"step {steps}, {after.error:.2%} of the load out of balance")
        astray = steps >= _LATE and after.error > 0.5 * first
        if astray or not np.isfinite(after.error) or leaving(task.problem, after.pose):
            break
        if after.error > _WORN * state.error:
            tangent = None
        state = after
    return state, tangent, steps


def task_of(points: ContactPoints, ground: Ground, case: Case, *, follows: bool) -> Task:
    """Gather what stays the same from step to step."""
    dofs = (3 * dissection(ground.model.slab.grid)[:, None] + np.arange(3)).ravel()
    order = dofs[~ground.fixed.ravel()[dofs]]
    return Task(points.problem, ground, case, order, spread(ground, points.x, points.t), follows)


def evaluated(task: Task, displacement: Array, pose: Pose) -> State:
    """Everything at one state: contact, balance of the tree, unbalanced forces on the nodes."""
    moved = task.spread.value @ displacement
    normals = _skin_normals(task, displacement) if task.follows else task.problem.normals
    touch = touched(task.problem, task.problem.points + moved, normals, pose)
    balance = weigh(touch.problem, task.case, pose, touch.above, touch.force)
    on_skin = -touch.force[:, None] * touch.problem.normals - balance.shear.force
    residual = nodal_forces(task.ground.model, displacement) - task.spread.value.T @ on_skin
    residual[task.ground.fixed] = 0.0
    on_tree = share_of_load(touch.problem, balance, balance.unbalanced)
    error = max(on_tree, float(np.abs(residual).max()) / balance.scale)
    return State(displacement, pose, touch, balance, residual, error)


def _skin_normals(task: Task, displacement: Array) -> Array:
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


def _tangent(task: Task, state: State) -> Tangent:
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


def _rows(task: Task, directions: Array) -> sparse.csr_array:
    """(m, 3n) motion of the contact points along directions (m, 3), per motion of the nodes."""
    value = task.spread.value
    parts = [sparse.diags_array(directions[:, axis]) @ value for axis in range(3)]
    by_node = np.arange(3 * value.shape[1]).reshape(3, -1).T.ravel()
    return sparse.csr_array(sparse.hstack(parts, format="csc")[:, by_node])


def _stepped(task: Task, state: State, tangent: Tangent) -> State:
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
    return evaluated(task, state.displacement + share * move, pose)


def _safe_share(task: Task, displacement: Array, move: Array, share: float) -> float:
    """Largest share of a step, halving, that leaves every element a volume."""
    model = task.ground.model
    while volume_ratio(model, displacement + share * move) < _SMALLEST_VOLUME and share > 1e-3:  # noqa: PLR2004
        share /= 2.0
    return share
