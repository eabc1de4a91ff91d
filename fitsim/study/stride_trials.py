"""What would free the shoulders: a stride tried again with one thing changed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fitsim.back.motion.gait import Gait, Shoulder, gait_figures
from fitsim.errors import BadSettings, FitsimError
from fitsim.study.stride import Stride, stride
from fitsim.tree.adjust import adjusted

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitsim.measure.stride import StrideMeasures
    from fitsim.rig.rig import Cinch, Rig
    from fitsim.tree.tree import Tree

FEW = 12
"""Moments of a stride that is only held against another."""
BACK = 0.025
"""m, by which the tree is tried farther back."""
SLACKER, TIGHTER = 2.0 / 3.0, 1.5
"""-: a cinch slackened by a third, tightened by a half."""
FLARE = 0.008
"""m, by which the bar fronts are tried flared more."""


@dataclass(frozen=True)
class Trial:
    """One thing changed.

    Attributes
    ----------
    words : what, as one would be told to do it.
    measures : of the stride then; None where the tree does not stay on.
    """

    words: str
    measures: StrideMeasures | None


@dataclass(frozen=True)
class ShoulderRange:
    """The same stride by a shoulder that moves little and by one that moves much.

    Attributes
    ----------
    little, much : with the low and the high end of what is known of its glide and lift; None where
        the tree leaves.
    """

    little: StrideMeasures | None
    much: StrideMeasures | None


def shoulder_range(
    followed: Stride, phases: int = FEW, say: Callable[[str], None] | None = None
) -> ShoulderRange:
    """How the result hangs on how far the shoulder blade moves, which is hardly known.

    Parameters
    ----------
    followed : Stride
    phases : int
        Moments of each stride tried.
    say : callable, optional
        Told in words what is being done.

    Returns
    -------
    ShoulderRange
    """
    blade = gait_figures()["shoulder"]
    ends = []
    for end in ("low", "high"):
        shoulder = Shoulder(1e-3 * blade["glide_mm"][end], 1e-3 * blade["lift_mm"][end])
        gait = replace(followed.gait, shoulder=shoulder)
        ends.append(_again(followed, phases, say, gait=gait))
    return ShoulderRange(*ends)


def trials(
    followed: Stride, phases: int = FEW, say: Callable[[str], None] | None = None
) -> tuple[Trial, ...]:
    """Try what is done first in the yard when a shoulder is not free.

    Parameters
    ----------
    followed : Stride
    phases : int
        Moments of each stride tried.
    say : callable, optional
        Told in words what is being done.

    Returns
    -------
    tuple of Trial
        The stride as it is, with as few moments, comes first.
    """
    rig = followed.rig
    found = [Trial("as it is", _again(followed, phases, say))]
    at = followed.laid.seat.station
    back = _again(followed, phases, say, at=at - BACK)
    found.append(Trial(f"the tree {1e3 * BACK:.0f} mm farther back", back))
    for words, changed in (
        ("the front cinch slackened by a third", _tightened(rig, front=SLACKER)),
        ("the rear cinch tightened by a half", _tightened(rig, rear=TIGHTER)),
    ):
        found.append(Trial(words, _again(followed, phases, say, rig=changed)))
    if (flared := _flared(followed.tree)) is not None:
        words = f"the bar fronts flared {1e3 * FLARE:.0f} mm more"
        found.append(Trial(words, _again(followed, phases, say, tree=flared)))
    return tuple(found)


def _flared(tree: Tree) -> Tree | None:
    """The tree with more flare in front; None where it came from a mesh or cannot have more."""
    try:
        rise = tree.settings["bar"]["flare"]["front"]["rise"]  # type: ignore[index]
        return adjusted(tree, {"bar.flare.front.rise": float(rise) + FLARE})
    except (BadSettings, KeyError, TypeError):
        return None


def _tightened(rig: Rig, front: float = 1.0, rear: float = 1.0) -> Rig:
    def pulled(cinch: Cinch, share: float) -> Cinch:
        return replace(
            cinch,
            tension_left=share * cinch.tension_left,
            tension_right=share * cinch.tension_right,
        )

    return replace(rig, front=pulled(rig.front, front), rear=pulled(rig.rear, rear))


def _again(
    followed: Stride,
    phases: int,
    say: Callable[[str], None] | None,
    *,
    gait: Gait | None = None,
    rig: Rig | None = None,
    tree: Tree | None = None,
    at: float | None = None,
) -> StrideMeasures | None:
    """The stride with something changed; None where the tree does not stay on then."""
    same = at is None and tree is None
    try:
        again = stride(
            followed.back,
            tree or followed.tree,
            gait or followed.gait,
            pad=followed.pad,
            rig=rig or followed.rig,
            load=followed.load,
            at=followed.laid.seat.station if at is None else at,
            phases=phases,
            case=followed.case.name,
            on=followed.laid if same else None,
            say=say,
        )
    except FitsimError:
        return None
    return again.measures
