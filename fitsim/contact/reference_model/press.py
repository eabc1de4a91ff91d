"""Press a rigid indenter on a slab: unilateral, frictionless, at a pose or under a wrench.

At each Newton step the nodes held by the indenter slide along its tangent plane and follow it
along its normal exactly (no penalty); which nodes those are is settled by the sign of force and
gap, a primal-dual active set, which is a semismooth Newton method (M. Hintermueller, K. Ito,
K. Kunisch 2002, SIAM J. Optim. 13:865-888, doi:10.1137/S1052623401383558).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.linalg import splu
from scipy.spatial.transform import Rotation

from fitsim.contact.reference_model.assembly import nodal_forces, stiffness, volume_ratio
from fitsim.contact.reference_model.held import (
    Held,
    linearised,
    multiplier,
    rotation,
    with_bend,
)
from fitsim.contact.reference_model.indenter import clearance
from fitsim.contact.reference_model.ordering import dissection

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitsim.contact.reference_model.assembly import Assembly
    from fitsim.contact.reference_model.indenter import Indenter

Array = NDArray[np.float64]
Index = NDArray[np.int_]

_MOTIONS = ("x", "y", "z", "roll", "pitch", "yaw")
_MOST_STEPS = 60
# Unbalanced nodal forces over the largest one at which Newton stops; quadratic from 1e-4 on.
_BALANCED = 1e-8
_HOVERING = 1e-4
_LENGTH = 1e-3  # m; gaps of held nodes are closed to this times the balance asked for
_SMALLEST_VOLUME = 0.05  # a step that squeezes any point below this share is shortened


class NotConvergedError(RuntimeError):
    """Newton did not settle: the step was too large or the slab too coarse."""


@dataclass(frozen=True)
class Pressed:
    """A slab in contact with a rigid indenter.

    Attributes
    ----------
    T_space_indenter : (4, 4) array, pose reached.
    displacement : (n, 3) array, m, of the nodes.
    push : (s, 3) array, N, contact force on each skin node.
    wrench : (6,) array, N and N m, contact force and moment on the indenter, about its origin.
    held : (s,) bool array, skin nodes in contact.
    residual : -, unbalanced nodal force over the largest contact force.
    iterations : Newton steps in all.
    """

    T_space_indenter: Array
    displacement: Array
    push: Array
    wrench: Array
    held: NDArray[np.bool_]
    residual: float
    iterations: int


def at_rest(model: Assembly, T_space_indenter: Array) -> Pressed:
    """The slab before any contact.

    Parameters
    ----------
    model : Assembly
    T_space_indenter : (4, 4) array
        Where the indenter waits.

    Returns
    -------
    Pressed
        Nothing displaced, nothing held.
    """
    skin = len(model.slab.skin)
    return Pressed(
        T_space_indenter,
        np.zeros_like(model.slab.points),
        np.zeros((skin, 3)),
        np.zeros(6),
        np.zeros(skin, dtype=np.bool_),
        0.0,
        0,
    )


def press(
    model: Assembly,
    indenter: Indenter,
    start: Pressed,
    T_space_indenter: Array,
    *,
    free: Sequence[str] = (),
    wrench: Array | None = None,
    fixed: NDArray[np.bool_] | None = None,
) -> Pressed:
    """Bring the indenter to a pose, or to balance under a wrench.

    Parameters
    ----------
    model : Assembly
    indenter : Indenter
    start : Pressed
        State to start from, near enough for Newton (a tenth of the thickness).
    T_space_indenter : (4, 4) array
        Pose; where motions are free, the pose to start from.
    free : motions left to the wrench, among "x", "y", "z", "roll", "pitch", "yaw" (turns about
        the axes of space through the indenter's origin).
    wrench : (len(free),) array, N or N m
        Applied to the indenter in the free motions (downward is negative z).
    fixed : (n, 3) bool array
        Displacements held at zero; by default the bone only. On the skin only planes of
        symmetry, x across x = const and y across y = const, of indenter and slab alike.

    Returns
    -------
    Pressed

    Raises
    ------
    NotConvergedError
        If Newton does not settle.
    """
    bound = _bonded(model) if fixed is None else fixed
    load = np.zeros(0) if wrench is None else np.asarray(wrench, dtype=np.float64)
    task = _Task(model, indenter, _order(model, bound), [_MOTIONS.index(m) for m in free], load)
    state = replace(start, T_space_indenter=T_space_indenter)
    state = replace(state, held=_met(task, state))
    settled, error = False, np.inf
    seen: set[bytes] = set()
    for step in range(_MOST_STEPS):
        contact = _contact(task, state)
        forces = nodal_forces(model, state.displacement)
        error = _imbalance(task, contact, forces)
        if settled and error < _BALANCED:
            return _finished(task, state, contact, forces, error, start.iterations + step)
        after, settled = _newton(task, state, contact, forces)
        # Met before with little left to balance: a node hovers between push and gap; hold it.
        if not settled and error < _HOVERING and after.held.tobytes() in seen:
            after = replace(after, held=after.held | state.held)
        seen.add(after.held.tobytes())
        state = after
    raise NotConvergedError(f"no balance after {_MOST_STEPS} Newton steps (residual {error:.1e})")


@dataclass(frozen=True)
class _Task:
    """What stays the same from step to step."""

    model: Assembly
    indenter: Indenter
    order: Index  # free degrees of freedom, in order of elimination
    motions: list[int]
    load: Array

    @property
    def skin(self) -> Index:
        return self.model.slab.skin

    def points(self, displacement: Array, nodes: Index) -> Array:
        return np.asarray(self.model.slab.points[nodes] + displacement[nodes])


def _bonded(model: Assembly) -> NDArray[np.bool_]:
    fixed = np.zeros(model.slab.points.shape, dtype=np.bool_)
    fixed[model.slab.bone] = True
    return fixed


def _order(model: Assembly, fixed: NDArray[np.bool_]) -> Index:
    nodes = dissection(model.slab.grid)
    dofs = (3 * nodes[:, None] + np.arange(3)).ravel()
    return np.asarray(dofs[~fixed.ravel()[dofs]])


def _gap(task: _Task, T_space_indenter: Array, displacement: Array) -> Array:
    points = task.points(displacement, task.skin)
    return clearance(task.indenter, T_space_indenter, points).gap


def _met(task: _Task, state: Pressed) -> NDArray[np.bool_]:
    """Skin nodes the indenter has run into, and those it held before."""
    gap = _gap(task, state.T_space_indenter, state.displacement)
    with np.errstate(invalid="ignore"):
        return np.asarray((gap < 0.0) | (state.held & np.isfinite(gap)))


def _contact(task: _Task, state: Pressed) -> Held:
    nodes = task.skin[state.held]
    points = task.points(state.displacement, nodes)
    return linearised(task.indenter, state.T_space_indenter, nodes, points, task.motions)


def _imbalance(task: _Task, contact: Held, forces: Array) -> float:
    """Largest unbalanced force on a node or the indenter, over the contact forces."""
    push = multiplier(forces, contact)
    rest = forces.copy()
    rest[contact.nodes] -= (push * contact.steepness)[:, None] * contact.frame[:, :, 2]
    on_node = np.abs(rest.ravel()[task.order]).max() / _above_zero(np.abs(push).max(initial=0.0))
    on_indenter = np.abs(-contact.by_pose.T @ push - task.load).max(initial=0.0)
    missed = np.abs(contact.gap).max(initial=0.0) / _LENGTH
    return float(max(on_node, on_indenter / _above_zero(np.abs(push).sum()), missed))


def _above_zero(value: float) -> float:
    return max(float(value), 1e-12)


def _newton(task: _Task, state: Pressed, contact: Held, forces: Array) -> tuple[Pressed, bool]:
    """One step: the new state with the nodes to hold next, and whether they stayed the same."""
    move, dq, push = _step(task, state, contact, forces)
    share = _safe_share(task.model, state.displacement, move)
    displacement = state.displacement + share * move
    pose = _moved(state.T_space_indenter, task.motions, share * dq)
    gap = _gap(task, pose, displacement)
    pushing = state.held.copy()
    pushing[state.held] = push > 0.0
    with np.errstate(invalid="ignore"):
        held = np.where(state.held, pushing & np.isfinite(gap), gap < 0.0)
    settled = share == 1.0 and bool(np.array_equal(held, state.held))
    return replace(state, displacement=displacement, T_space_indenter=pose, held=held), settled


def _step(task: _Task, state: Pressed, contact: Held, forces: Array) -> tuple[Array, Array, Array]:
    """Linear step: displacements (n, 3), pose motions (q,) and multipliers (m,).

    Held nodes move along their normals as gap and pose motions tell (columns of `given`: as
    it stands, then per motion); the rest follows from one factorisation, and the motions from
    the indenter's own balance.
    """
    old = multiplier(forces, contact)
    T = rotation(forces.size, contact)
    K = with_bend(stiffness(task.model, state.displacement), contact, old)
    K = (T.T @ K @ T).tocsr()
    normal = 3 * contact.nodes + 2
    given = -np.column_stack([contact.gap, contact.by_pose]) / contact.steepness[:, None]
    residual = T.T @ np.column_stack([forces.ravel(), _turned(contact, old, forces)])
    rest = task.order[~np.isin(task.order, normal)]
    answer = np.zeros_like(residual)
    answer[normal] = given
    coupled = K[rest]
    factor = splu(
        coupled[:, rest].tocsc(), permc_spec="NATURAL", diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )  # fmt: skip
    answer[rest] = factor.solve(-residual[rest] - coupled[:, normal] @ given)
    push = (K[normal] @ answer + residual[normal]) / contact.steepness[:, None]
    dq = _motions(task, contact, push, residual[:, 1:].T @ answer)
    columns = np.concatenate([[1.0], dq])
    return (T @ (answer @ columns)).reshape(-1, 3), dq, push @ columns


def _turned(contact: Held, old: Array, forces: Array) -> Array:
    """Change of the nodal residual (3n, q) as the indenter's motions turn the normals."""
    out = np.zeros((*forces.shape, contact.turn.shape[2]))
    out[contact.nodes] = -old[:, None, None] * contact.turn
    return out.reshape(forces.size, -1)


def _motions(task: _Task, contact: Held, push: Array, turned: Array) -> Array:
    """Pose motions that balance the indenter."""
    if not task.motions:
        return np.zeros(0)
    if len(contact.nodes) == 0:
        raise NotConvergedError("nothing touches: the wrench has nothing to rest on")
    balance = -contact.by_pose.T @ push + turned
    return np.asarray(np.linalg.solve(balance[:, 1:], task.load - balance[:, 0]))


def _safe_share(model: Assembly, displacement: Array, move: Array) -> float:
    """Largest share of a step, halving, that leaves every element a volume."""
    share = 1.0
    while volume_ratio(model, displacement + share * move) < _SMALLEST_VOLUME:
        share /= 2.0
        if share < 1e-3:  # noqa: PLR2004 ten halvings
            raise NotConvergedError("the step turns the tissue inside out: take smaller ones")
    return share


def _moved(T_space_indenter: Array, motions: list[int], dq: Array) -> Array:
    """Pose after small motions along and about the axes of space."""
    full = np.zeros(6)
    full[motions] = dq
    out = T_space_indenter.copy()
    out[:3, 3] += full[:3]
    out[:3, :3] = Rotation.from_rotvec(full[3:]).as_matrix() @ out[:3, :3]
    return out


def _finished(  # noqa: PLR0917 all that is known at the end
    task: _Task, state: Pressed, contact: Held, forces: Array, error: float, iterations: int
) -> Pressed:
    # Only what the indenter gives: planes of symmetry push sideways on the same nodes.
    along = multiplier(forces, contact) * contact.steepness
    push = np.zeros((len(task.skin), 3))
    push[state.held] = along[:, None] * contact.frame[:, :, 2]
    arm = task.points(state.displacement, task.skin) - state.T_space_indenter[:3, 3]
    wrench = -np.concatenate([push.sum(axis=0), np.cross(arm, push).sum(axis=0)])
    return replace(state, push=push, wrench=wrench, residual=error, iterations=iterations)
