"""One semismooth Newton step in forces and motion together."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.view import State

if TYPE_CHECKING:
    from fitsim.contact.view import View

Array = NDArray[np.float64]

_LONGEST_STEP = 0.006  # m, and the same at half the bar's length for rotations
_DRAG = 2.0e4  # N/m: about the stiffness of a back under a tree
# What an iterative solution leaves over of the forces' answer to a motion, which only steers the
# step, and of the forces after it.
_ROUGHLY, _CLOSELY = 5e-2, 1e-5


def stepped(view: View, drag: float) -> tuple[State, Array]:
    """One semismooth Newton step, and the unbalanced force it foresees afterwards."""
    size = 6 + sum(view.problem.joints)
    lengths = np.concatenate([np.ones(3), np.full(size - 3, view.problem.half_length)])
    resist = drag * _DRAG * lengths**2
    matrix = np.diag(resist) - view.balance.change
    right = view.balance.unbalanced.copy()
    chosen = np.flatnonzero(view.active)
    if len(chosen) == 0:
        step, share = _moved_by(matrix, right, lengths)
        foreseen = (1.0 - share) * right + share * resist * step
        return State(view.state.pose.moved(step * share, view.above.centre), view.force), foreseen
    inverse = view.problem.compliance.inverse(chosen, view.skin.own[chosen])
    # minus: motion that opens the bar from the skin takes force off
    asked = np.column_stack(
        [
            view.skin.excess[chosen],
            -view.skin.slope[chosen, None] * view.above.closing[chosen],
        ]
    )
    rough = inverse(asked, None, _ROUGHLY)
    by_normal = view.balance.by_normal[chosen].T
    matrix = matrix + by_normal @ rough[:, 1:]
    right = right - by_normal @ rough[:, 0]
    step, share = _moved_by(matrix, right, lengths)
    way = np.concatenate([[1.0], step * share])
    trial = np.zeros_like(view.force)
    trial[chosen] = view.force[chosen] - inverse(asked @ way, rough @ way, _CLOSELY)
    foreseen = (1.0 - share) * right + share * resist * step
    return State(view.state.pose.moved(step * share, view.above.centre), trial), foreseen


def _moved_by(matrix: Array, right: Array, lengths: Array) -> tuple[Array, float]:
    """The motion that balances, and the share of it to be taken."""
    step: Array = np.linalg.solve(matrix, right)
    longest = np.abs(step * lengths).max()
    return step, min(1.0, _LONGEST_STEP / longest) if longest > 0.0 else 0.0


def skin_stepped(view: View) -> State:
    """The same pose with the forces that answer the contact law's excess."""
    chosen = np.flatnonzero(view.active)
    inverse = view.problem.compliance.inverse(chosen, view.skin.own[chosen])
    trial = np.zeros_like(view.force)
    trial[chosen] = view.force[chosen] - inverse(view.skin.excess[chosen], None, _CLOSELY)
    return State(view.state.pose, trial)
