"""Friction between coat, pad and tree: elastic sticking until Coulomb's limit, then slip.

A tree laid on a back and cinched sinks, and everyday movement shakes out the shear that sinking
alone would leave in the coat. What friction then has to hold is sliding: forward or back,
sideways, and turning about the vertical. Shear is therefore counted from the place the tree was
laid, sunk and tilted as it now is, but not slid.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Shear:
    """Tangential forces on the tree at each node and how they change.

    Attributes
    ----------
    force : (n, 3) array, N, on the tree.
    by_slide : (n, 3, 6) array, change per translation (m) and rotation (rad) of the tree.
    by_normal : (n, 3) array, -, change per normal force where the node slips.
    slipping : (n,) bool array.
    """

    force: Array
    by_slide: Array
    by_normal: Array
    slipping: NDArray[np.bool_]


def slide(T_body_tree: Array, T_body_tree_seat: Array, centre_tree: Array) -> Array:
    """How far the tree has slid since it was laid: (dx m, dy m, yaw rad).

    Parameters
    ----------
    T_body_tree, T_body_tree_seat : (4, 4) arrays
    centre_tree : (3,) array, m, tree frame, the point whose travel is meant
    """
    now = T_body_tree[:3, :3] @ centre_tree + T_body_tree[:3, 3]
    then = T_body_tree_seat[:3, :3] @ centre_tree + T_body_tree_seat[:3, 3]
    turn = Rotation.from_matrix(T_body_tree[:3, :3] @ T_body_tree_seat[:3, :3].T).as_rotvec()
    return np.array([now[0] - then[0], now[1] - then[1], turn[2]])


def coulomb(
    slid: Array,
    arms: Array,
    normals: Array,
    *,
    stiffness: Array,
    limit: Array,
    coefficient: float,
) -> Shear:
    """Tangential forces after a slide.

    Parameters
    ----------
    slid : (3,) array
        dx (m), dy (m), yaw (rad).
    arms : (n, 3) array, m
        From the tree's centre to each node's contact point.
    normals : (n, 3) array, unit
    stiffness : (n,) array, N/m
    limit : (n,) array, N
        Normal force at each node.
    coefficient : float, -
        Coulomb friction.

    Returns
    -------
    Shear
    """
    basis = np.zeros((len(arms), 3, 3))
    basis[:, 0, 0] = basis[:, 1, 1] = 1.0
    basis[:, 0, 2], basis[:, 1, 2] = -arms[:, 1], arms[:, 0]
    basis -= normals[:, :, None] * np.einsum("ni,nij->nj", normals, basis)[:, None, :]
    motion = basis @ slid
    trial = -stiffness[:, None] * motion
    size = np.linalg.norm(trial, axis=1)
    most = coefficient * np.clip(limit, 0.0, None)
    slipping = size > most
    safe = np.where(size > 0.0, size, 1.0)
    direction = trial / safe[:, None]
    ratio = np.where(slipping, most / safe, 1.0)
    gradient = -(stiffness * ratio)[:, None, None] * basis
    across = direction[:, :, None] * np.einsum("ni,nij->nj", direction, gradient)[:, None, :]
    gradient = np.where(slipping[:, None, None], gradient - across, gradient)
    by_slide = np.zeros((len(arms), 3, 6))
    by_slide[:, :, [0, 1, 5]] = gradient
    return Shear(
        force=trial * ratio[:, None],
        by_slide=by_slide,
        by_normal=np.where(slipping[:, None], coefficient * direction, 0.0),
        slipping=slipping,
    )
