"""Where a tree will be at the next moment of a stride, from the moments before it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial.transform import Rotation

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fitsim.contact.equilibrium import Equilibrium

    Array = NDArray[np.float64]

_GOING_ON = {1: (1.0,), 2: (2.0, -1.0), 3: (3.0, -3.0, 1.0)}
"""Weights of the moments before, the last first, that carry a parabola on to the next."""


def foreseen(before: Sequence[tuple[Equilibrium, Array]], T_now_standing: Array) -> Equilibrium:
    """Carry the last moments on to the next.

    Parameters
    ----------
    before : sequence of (Equilibrium, T_then_standing)
        One to three evenly spaced moments, the last one last, each with how the skin under the
        tree had moved.
    T_now_standing : (4, 4) array
        How it has moved now.

    Returns
    -------
    Equilibrium
        The last one with pose, joints and pressure going on as they went, the pose against the
        skin under the tree. What did not press does not start to.
    """
    weights = _GOING_ON[len(before)]
    last_first = list(reversed(before))
    last = last_first[0][0]
    on_skin = [np.linalg.inv(T_then) @ rest.T_body_tree for rest, T_then in last_first]
    pose = on_skin[0].copy()
    pose[:3, 3] = _going_on(weights, [T[:3, 3] for T in on_skin])
    turns = [Rotation.from_matrix(T[:3, :3] @ on_skin[0][:3, :3].T).as_rotvec() for T in on_skin]
    pose[:3, :3] = Rotation.from_rotvec(_going_on(weights, turns)).as_matrix() @ pose[:3, :3]
    pressure = _going_on(weights, [rest.pressure for rest, _ in last_first])
    return replace(
        last,
        T_body_tree=T_now_standing @ pose,
        joint_angles=_going_on(weights, [rest.joint_angles for rest, _ in last_first]),
        pressure=np.where(last.pressure > 0.0, np.clip(pressure, 0.0, None), 0.0),
    )


def _going_on(weights: tuple[float, ...], values: Sequence[Array]) -> Array:
    return np.asarray(sum(w * value for w, value in zip(weights, values, strict=True)))
