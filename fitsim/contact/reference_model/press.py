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
from scipy import sparse
from scipy.sparse.linalg import splu
from scipy.spatial.transform import Rotation

from fitsim.contact.reference_model.assembly import nodal_forces, stiffness, volume_ratio
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


@dataclass(frozen=True)
class _Held:
    """Linearised contact of the held nodes: who, in which frame, and how pose moves them."""

    nodes: Index
    frame: Array  # (m, 3, 3), last column the unit normal
    steepness: Array  # (m,), length of the gap's gradient
    gap: Array
    bend: Array  # (m, 3, 3), second derivative of the gap
    by_pose: Array  # (m, q) change of gap per pose motion
    turn: Array  # (m, 3, q) change of the gap's gradient per pose motion


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
    fixed: Array | None = None,
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
    motions = [_MOTIONS.index(name) for name in free]
    load = np.zeros(0) if wrench is None else np.asarray(wrench, dtype=np.float64)
    order = _order(model, _bonded(model) if fixed is None else fixed)
    state = replace(start, T_space_indenter=T_space_indenter)
    state = replace(state, held=_met(model, indenter, state))
    settled, seen, error = False, set(), np.inf
    for step in range(_MOST_STEPS):
        contact = _contact(model, indenter, state, motions)
        forces = nodal_forces(model, state.displacement)
        error = _imbalance(forces, contact, order, load)
        if settled and error < _BALANCED:
            return _finished(model, state, contact, forces, error, start.iterations + step)
        after, settled = _newton(model, indenter, state, contact, forces, order, motions, load)
        # Met before with little left to balance: a node hovers between push and gap; hold it.
        if not settled and error < _HOVERING and after.held.tobytes() in seen:
            after = replace(after, held=after.held | state.held)
        seen.add(after.held.tobytes())
        state = after
    raise NotConvergedError(f"no balance after {_MOST_STEPS} Newton steps (residual {error:.1e})")


def _bonded(model: Assembly) -> NDArray[np.bool_]:
    fixed = np.zeros(model.slab.points.shape, dtype=np.bool_)
    fixed[model.slab.bone] = True
    return fixed


def _order(model: Assembly, fixed: NDArray[np.bool_]) -> Index:
    """Free degrees of freedom in order of elimination."""
    nodes = dissection(model.slab.grid)
    dofs = (3 * nodes[:, None] + np.arange(3)).ravel()
    return np.asarray(dofs[~fixed.ravel()[dofs]])


def _skin(model: Assembly, displacement: Array) -> Array:
    return np.asarray(model.slab.points[model.slab.skin] + displacement[model.slab.skin])


def _met(model: Assembly, indenter: Indenter, state: Pressed) -> NDArray[np.bool_]:
    """Skin nodes the indenter has run into, and those it held before."""
    gap = clearance(indenter, state.T_space_indenter, _skin(model, state.displacement)).gap
    with np.errstate(invalid="ignore"):
        return np.asarray((gap < 0.0) | (state.held & np.isfinite(gap)))


def _contact(model: Assembly, indenter: Indenter, state: Pressed, motions: list[int]) -> _Held:
    """Linearise the contact of the held nodes at the present state."""
    nodes = model.slab.skin[state.held]
    points = model.slab.points[nodes] + state.displacement[nodes]
    touch = clearance(indenter, state.T_space_indenter, points)
    steepness = np.linalg.norm(touch.normal, axis=1)
    # Moving the indenter by c + w x arm changes the gap as moving the node the other way, and
    # turning it also turns the gap's gradient.
    arm = points - state.T_space_indenter[:3, 3]
    turns = np.cross(np.eye(3)[None], arm[:, None, :])
    slide = np.concatenate([np.broadcast_to(np.eye(3), turns.shape), turns], axis=1)
    turn = -np.einsum("mij,mqj->miq", touch.bend, slide)
    turn[:, :, 3:] += np.cross(np.eye(3)[None], touch.normal[:, None, :]).transpose(0, 2, 1)
    return _Held(
        nodes=nodes,
        frame=_frames(touch.normal / steepness[:, None]),
        steepness=steepness,
        gap=touch.gap,
        bend=touch.bend,
        by_pose=-np.einsum("mqi,mi->mq", slide, touch.normal)[:, motions],
        turn=turn[:, :, motions],
    )


def _frames(normal: Array) -> Array:
    """Orthonormal frames (m, 3, 3), columns near x, near y, and the given unit normal.

    On a plane of symmetry x = const the first column is x itself, on y = const the second y, so
    that what is fixed there stays fixed.
    """
    first = np.array([1.0, 0.0, 0.0]) - normal[:, :1] * normal
    first /= np.linalg.norm(first, axis=1)[:, None]
    return np.stack([first, np.cross(normal, first), normal], axis=2)


def _multiplier(forces: Array, contact: _Held) -> Array:
    """Contact multipliers, N: node forces are multiplier times gradient of the gap."""
    push = np.einsum("mi,mi->m", forces[contact.nodes], contact.frame[:, :, 2])
    return np.asarray(push / contact.steepness)


def _imbalance(forces: Array, contact: _Held, order: Index, load: Array) -> float:
    """Largest unbalanced force, node or pose, over the largest contact force."""
    multiplier = _multiplier(forces, contact)
    rest = forces.copy()
    rest[contact.nodes] -= (multiplier * contact.steepness)[:, None] * contact.frame[:, :, 2]
    scale = max(float(np.abs(multiplier).max(initial=0.0)), 1e-12)
    pose = -contact.by_pose.T @ multiplier - load
    total = max(float(np.abs(multiplier).sum()), 1e-12)
    return float(
        max(np.abs(rest.ravel()[order]).max() / scale, np.abs(pose).max(initial=0.0) / total)
    )


def _newton(
    model: Assembly,
    indenter: Indenter,
    state: Pressed,
    contact: _Held,
    forces: Array,
    order: Index,
    motions: list[int],
    load: Array,
) -> tuple[Pressed, bool]:
    """One step: the new state with the nodes to hold next, and whether they stayed the same."""
    move, dq, multiplier = _solve(model, state, contact, forces, order, load)
    share = _safe_share(model, state.displacement, move)
    displacement = state.displacement + share * move
    pose = _moved(state.T_space_indenter, motions, share * dq)
    gap = clearance(indenter, pose, _skin(model, displacement)).gap
    pushing = state.held.copy()
    pushing[state.held] = multiplier > 0.0
    with np.errstate(invalid="ignore"):
        held = np.where(state.held, pushing & np.isfinite(gap), gap < 0.0)
    settled = share == 1.0 and bool(np.array_equal(held, state.held))
    return replace(state, displacement=displacement, T_space_indenter=pose, held=held), settled


def _solve(
    model: Assembly, state: Pressed, contact: _Held, forces: Array, order: Index, load: Array
) -> tuple[Array, Array, Array]:
    """Linear step: displacements (n, 3), pose motions (q,) and multipliers (m,)."""
    size, count = forces.size, len(contact.nodes)
    old = _multiplier(forces, contact)
    K = _with_bend(stiffness(model, state.displacement), contact, old)
    T = _rotation(size, contact)
    K = (T.T @ K @ T).tocsr()
    normal = 3 * contact.nodes + 2
    # Right-hand sides: as it stands, then one per pose motion.
    by_pose = np.zeros((size, 1 + len(load)))
    for column in range(len(load)):
        turning = np.zeros_like(forces)
        turning[contact.nodes] = -old[:, None] * contact.turn[:, :, column]
        by_pose[:, 1 + column] = T.T @ turning.ravel()
    by_pose[:, 0] = T.T @ forces.ravel()
    given = -np.column_stack([contact.gap, contact.by_pose]) / contact.steepness[:, None]
    rest = order[~np.isin(order, normal)]
    answer = np.zeros_like(by_pose)
    answer[normal] = given
    coupled = K[rest]
    right = -by_pose[rest] - coupled[:, normal] @ given
    factor = splu(
        coupled[:, rest].tocsc(), permc_spec="NATURAL", diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )  # fmt: skip
    answer[rest] = factor.solve(right)
    pushed = (K[normal] @ answer + by_pose[normal]) / contact.steepness[:, None]
    dq = np.zeros(len(load))
    if len(load):
        if count == 0:
            raise NotConvergedError("nothing touches: the wrench has nothing to rest on")
        turned = np.zeros((size, len(load)))
        turned[:] = by_pose[:, 1:]
        balance = -contact.by_pose.T @ pushed + turned.T @ answer
        dq = np.linalg.solve(balance[:, 1:], load - balance[:, 0])
    steps = np.concatenate([[1.0], dq])
    return (T @ (answer @ steps)).reshape(-1, 3), dq, pushed @ steps


def _with_bend(
    K: sparse.csr_array, contact: _Held, multiplier: Array
) -> sparse.csr_array:
    """Tangent with the turning of the contact normals as nodes slide under a curved underside."""
    blocks = -multiplier[:, None, None] * contact.bend
    dofs = 3 * contact.nodes[:, None] + np.arange(3)
    rows = np.repeat(dofs, 3, axis=1).ravel()
    columns = np.tile(dofs, (1, 3)).ravel()
    return K + sparse.csr_array((blocks.ravel(), (rows, columns)), shape=K.shape)


def _rotation(size: int, contact: _Held) -> sparse.csr_array:
    """Identity but for the frames of the held nodes: columns are local directions."""
    plain = np.ones(size, dtype=np.bool_)
    dofs = 3 * contact.nodes[:, None] + np.arange(3)
    plain[dofs] = False
    rest = np.flatnonzero(plain)
    rows = np.concatenate([rest, np.repeat(dofs, 3, axis=1).ravel()])
    columns = np.concatenate([rest, np.tile(dofs, (1, 3)).ravel()])
    data = np.concatenate([np.ones(len(rest)), contact.frame.ravel()])
    return sparse.csr_array((data, (rows, columns)), shape=(size, size))


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


def _finished(
    model: Assembly, state: Pressed, contact: _Held, forces: Array, error: float, iterations: int
) -> Pressed:
    # Only what the indenter gives: planes of symmetry push sideways on the same nodes.
    along = _multiplier(forces, contact) * contact.steepness
    push = np.zeros((len(model.slab.skin), 3))
    push[state.held] = along[:, None] * contact.frame[:, :, 2]
    arm = _skin(model, state.displacement) - state.T_space_indenter[:3, 3]
    wrench = -np.concatenate([push.sum(axis=0), np.cross(arm, push).sum(axis=0)])
    return replace(state, push=push, wrench=wrench, residual=error, iterations=iterations)
