"""The nodes an indenter holds: their frames, and how the indenter's motions act on them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fitsim.contact.reference_model.indenter import Indenter, clearance

Array = NDArray[np.float64]
Index = NDArray[np.int_]


@dataclass(frozen=True)
class Held:
    """Linearised contact of the held nodes.

    Attributes
    ----------
    nodes : (m,) int array, of the slab.
    frame : (m, 3, 3) array, -, columns tangent, tangent, unit normal (the way it is pushed).
    steepness : (m,) array, -, length of the gap's gradient.
    gap : (m,) array, m.
    bend : (m, 3, 3) array, 1/m, second derivative of the gap.
    by_pose : (m, q) array, m per m or rad, change of gap per motion of the indenter.
    turn : (m, 3, q) array, change of the gap's gradient per motion of the indenter.
    """

    nodes: Index
    frame: Array
    steepness: Array
    gap: Array
    bend: Array
    by_pose: Array
    turn: Array


def linearised(
    indenter: Indenter, T_space_indenter: Array, nodes: Index, points: Array, motions: list[int]
) -> Held:
    """Contact of some nodes at the present state.

    Parameters
    ----------
    indenter : Indenter
    T_space_indenter : (4, 4) array
    nodes : (m,) int array
    points : (m, 3) array, m
        Where those nodes are now.
    motions : list of int
        Free motions of the indenter: 0-2 along the axes of space, 3-5 about them through its
        origin.

    Returns
    -------
    Held
    """
    touch = clearance(indenter, T_space_indenter, points)
    steepness = np.linalg.norm(touch.normal, axis=1)
    # Moving the indenter by c + w x arm changes the gap as moving the node the other way, and
    # turning it also turns the gap's gradient.
    arm = points - T_space_indenter[:3, 3]
    turns = np.cross(np.eye(3)[None], arm[:, None, :])
    slide = np.concatenate([np.broadcast_to(np.eye(3), turns.shape), turns], axis=1)
    turn = -np.einsum("mij,mqj->miq", touch.bend, slide)
    turn[:, :, 3:] += np.cross(np.eye(3)[None], touch.normal[:, None, :]).transpose(0, 2, 1)
    return Held(
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


def multiplier(forces: Array, contact: Held) -> Array:
    """Contact multipliers of the held nodes.

    Parameters
    ----------
    forces : (n, 3) array, N
        Internal forces on all nodes.
    contact : Held

    Returns
    -------
    (m,) array, N
        The indenter pushes each node with multiplier times the gradient of its gap.
    """
    push = np.einsum("mi,mi->m", forces[contact.nodes], contact.frame[:, :, 2])
    return np.asarray(push / contact.steepness)


def with_bend(K: sparse.csr_array, contact: Held, push: Array) -> sparse.csr_array:
    """Tangent with the turning of the normals as nodes slide under a curved underside.

    Parameters
    ----------
    K : (3n, 3n) sparse array, N/m
    contact : Held
    push : (m,) array, N
        Multipliers.

    Returns
    -------
    (3n, 3n) sparse array, N/m
    """
    blocks = -push[:, None, None] * contact.bend
    dofs = 3 * contact.nodes[:, None] + np.arange(3)
    rows = np.repeat(dofs, 3, axis=1).ravel()
    columns = np.tile(dofs, (1, 3)).ravel()
    return K + sparse.csr_array((blocks.ravel(), (rows, columns)), shape=K.shape)


def rotation(size: int, contact: Held) -> sparse.csr_array:
    """Local directions: identity but for the frames of the held nodes.

    Parameters
    ----------
    size : int
        Degrees of freedom in all.
    contact : Held

    Returns
    -------
    (size, size) sparse array, -
        Columns are local directions in space.
    """
    plain = np.ones(size, dtype=np.bool_)
    dofs = 3 * contact.nodes[:, None] + np.arange(3)
    plain[dofs] = False
    rest = np.flatnonzero(plain)
    rows = np.concatenate([rest, np.repeat(dofs, 3, axis=1).ravel()])
    columns = np.concatenate([rest, np.tile(dofs, (1, 3)).ravel()])
    data = np.concatenate([np.ones(len(rest)), contact.frame.ravel()])
    return sparse.csr_array((data, (rows, columns)), shape=(size, size))
