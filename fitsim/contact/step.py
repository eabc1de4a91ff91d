"""One semismooth Newton step in forces and motion together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.view import State

if TYPE_CHECKING:
    from fitsim.contact.compliance import Inverse
    from fitsim.contact.view import View

Array = NDArray[np.float64]
Index = NDArray[np.int_]

_LONGEST_STEP = 0.006  # m, and the same at half the bar's length for rotations
_DRAG = 2.0e4  # N/m: about the stiffness of a back under a tree
_FOLLOWS = 1.25  # drag over negative stiffness: what runs away grows fivefold in a step
# What an iterative solution leaves over of the forces' answer to a motion, which only steers the
# step, and of the forces after it.
_ROUGHLY, _CLOSELY = 5e-2, 1e-5
_LEAST_SINKING = 1e-4  # m; a node that sinks less is taken for no stiffer than if it did


@dataclass(frozen=True)
class Step:
    """One Newton step.

    Attributes
    ----------
    state : after it.
    foreseen : (6 + j,) array, N and N*m, unbalanced force expected there.
    running : -, how negative the tree's stiffness is before it, in units of the drag. A tree with
        a positive one is running away, or balanced where nothing stays.
    """

    state: State
    foreseen: Array
    running: float


def stepped(view: View, drag: float, *, follow: bool = False, springs: bool = False) -> Step:
    """One semismooth Newton step.

    With `springs` every node answers as a spring of its own, as stiff as it is under the forces
    now: rough, but it needs no solution, and far from rest the exact step is no better.

    With `follow` the drag is kept above what would turn the step round where the tree is running
    away: an implicit step of a flow points back at an equilibrium that does not last once its
    drag is less than the tree's negative stiffness.
    """
    stiffness, right = -view.balance.change, view.balance.unbalanced.copy()
    chosen = np.flatnonzero(view.active)
    if len(chosen) == 0:
        motion, foreseen, running = _motion(view, stiffness, right, drag, follow=follow)
        moved = view.state.pose.moved(motion, view.above.centre)
        return Step(State(moved, view.force), foreseen, running)
    inverse = (
        _springs(view, chosen)
        if springs
        else view.problem.compliance.inverse(chosen, view.skin.own[chosen])
    )
    # minus: motion that opens the bar from the skin takes force off
    asked = np.column_stack(
        [
            view.skin.excess[chosen],
            view.skin.by_cover[chosen, None] * view.above.covering[chosen]
            - view.skin.slope[chosen, None] * view.above.closing[chosen],
        ]
    )
    rough = inverse(asked, None, _ROUGHLY)
    by_normal = view.balance.by_normal[chosen].T
    stiffness = stiffness + by_normal @ rough[:, 1:]
    right = right - by_normal @ rough[:, 0]
    motion, foreseen, running = _motion(view, stiffness, right, drag, follow=follow)
    way = np.concatenate([[1.0], motion])
    trial = np.zeros_like(view.force)
    trial[chosen] = view.force[chosen] - inverse(asked @ way, rough @ way, _CLOSELY)
    moved = view.state.pose.moved(motion, view.above.centre)
    return Step(State(moved, trial), foreseen, running)


def _springs(view: View, chosen: Index) -> Inverse:
    """Each node's force per its own sinking, the others' forces growing in step with its own."""
    force = view.force[chosen]
    sinking = view.problem.compliance.sinking(view.force)[chosen] + view.skin.own[chosen] * force
    stiffness = force / np.maximum(sinking, _LEAST_SINKING)

    def answered(asked: Array, guess: Array | None, tolerance: float) -> Array:  # noqa: ARG001
        return np.asarray((stiffness * asked.T).T)

    return answered


def _motion(
    view: View, stiffness: Array, right: Array, drag: float, *, follow: bool
) -> tuple[Array, Array, float]:
    """The motion to be made, the unbalanced force foreseen after it, and see `Step.running`."""
    lengths = np.concatenate([np.ones(3), np.full(len(right) - 3, view.problem.half_length)])
    per_length = stiffness / np.outer(lengths, lengths)
    running = -float(np.linalg.eigvals(per_length).real.min()) / _DRAG
    if follow:
        drag = max(drag, _FOLLOWS * running)
    resist = drag * _DRAG * lengths**2
    step = np.asarray(np.linalg.solve(stiffness + np.diag(resist), right))
    longest = np.abs(step * lengths).max()
    share = min(1.0, _LONGEST_STEP / longest) if longest > 0.0 else 0.0
    return share * step, (1.0 - share) * right + share * resist * step, running


def skin_stepped(view: View) -> State:
    """The same pose with the forces that answer the contact law's excess."""
    chosen = np.flatnonzero(view.active)
    inverse = view.problem.compliance.inverse(chosen, view.skin.own[chosen])
    trial = np.zeros_like(view.force)
    trial[chosen] = view.force[chosen] - inverse(view.skin.excess[chosen], None, _CLOSELY)
    return State(view.state.pose, trial)
