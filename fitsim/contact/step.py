"""One semismooth Newton step in forces and motion together."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from fitsim.contact.view import State

if TYPE_CHECKING:
    from fitsim.contact.view import View

Array = NDArray[np.float64]

_LONGEST_STEP = 0.006  # m, and the same at half the bar's length for rotations
_DRAG = 2.0e4  # N/m: about the stiffness of a back under a tree


def stepped(view: View, drag: float) -> tuple[State, Array]:
    """One semismooth Newton step, and the unbalanced force it foresees afterwards."""
    size = 6 + sum(view.problem.joints)
    lengths = np.concatenate([np.ones(3), np.full(size - 3, view.problem.half_length)])
    resist = drag * _DRAG * lengths**2
    matrix = np.diag(resist) - view.balance.change
    right = view.balance.unbalanced.copy()
    chosen = np.flatnonzero(view.active)
    answer = np.zeros((0, 1 + size))
    if len(chosen):
        answer = eliminated(view, chosen)
        matrix = matrix + view.balance.by_normal[chosen].T @ answer[:, 1:]
        right = right - view.balance.by_normal[chosen].T @ answer[:, 0]
    step = np.linalg.solve(matrix, right)
    share = min(1.0, _LONGEST_STEP / np.abs(step * lengths).max()) if step.any() else 0.0
    trial = np.zeros_like(view.force)
    # minus: motion that opens the bar from the skin takes force off
    trial[chosen] = view.force[chosen] - answer[:, 0] - answer[:, 1:] @ (step * share)
    foreseen = (1.0 - share) * right + share * resist * step
    return State(view.state.pose.moved(step * share, view.above.centre), trial), foreseen


def eliminated(view: View, chosen: NDArray[np.int_]) -> Array:
    """Forces that answer the law's excess (column 0) and each unit motion: (a, 1 + 6 + j)."""
    skin = view.skin
    # Single precision is enough for a step: what is left over is worked out in double.
    stiff = view.problem.compliance_single[np.ix_(chosen, chosen)]
    stiff[np.diag_indices(len(chosen))] += skin.own[chosen]
    factor = linalg.cho_factor(stiff, lower=True, overwrite_a=True, check_finite=False)
    right = np.column_stack(
        [skin.excess[chosen], -skin.slope[chosen, None] * view.above.closing[chosen]]
    ).astype(np.float32)
    answer = linalg.cho_solve(factor, right, overwrite_b=True, check_finite=False)
    return answer.astype(np.float64)
