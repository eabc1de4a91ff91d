"""A flat hand slid in under a bar's front: its shape there, and the push that it takes.

The hand is a rigid insert between bar and skin. Where it lies, its thickness h is missing from the
room between them, and the tree finds a new balance. Push it a little deeper, by ds, and the work
done is what bar, pad, skin, cinches and weights take up. All of these are at rest, so that to
first order the only work is that of the pressure p where the hand grows thicker; friction on
both faces adds to it:

    F = sum of p A dh/ds  +  mu sum of p A over its lower face  +  the same over its upper one.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

EASY = 100.0
"""N: a push that one arm makes without effort. A choice; common practice, no source."""

_FACES = 2  # of the hand: one on the bar, one on the pad or the skin


@dataclass(frozen=True)
class Hand:
    """A flat hand, fingers first.

    Attributes
    ----------
    thickness : m, of the flat hand (25 mm: the trade's inch; common practice, no source).
    width : m, across the fingers (from memory).
    nose : m, over which it rises from the finger tips to its full thickness (from memory).
    edge : m, over which it rounds off at either side (from memory).
    reach : m, how far it is slid in behind the bar's front end: a finger's length (from memory).
    friction : Coulomb coefficient of either face, that of coat on pad.
    """

    thickness: float = 0.025
    width: float = 0.090
    nose: float = 0.050
    edge: float = 0.012
    reach: float = 0.075
    friction: float = 0.4


@dataclass(frozen=True)
class HandRoom:
    """What a hand finds under one bar's front.

    Attributes
    ----------
    room : m, mean clearance under the bar over the hand's width, at the depth where it is least.
    push : N, largest push on the way in; nan where the tree does not stay on with the hand in.
    squeeze : N, normal force on the hand when it is in.
    passes : whether the push is no more than `EASY`.
    """

    room: float
    push: float
    squeeze: float
    passes: bool


def hand_shape(
    hand: Hand, behind_front: Array, beside_middle: Array, depth: float
) -> tuple[Array, Array]:
    """Thickness of a hand over places under a bar, and how it grows as the hand goes deeper.

    Parameters
    ----------
    hand : Hand
    behind_front : (n,) array, m
        Place behind the bar's front end.
    beside_middle : (n,) array, m
        Place across, from the middle of the bar's front.
    depth : float, m
        How far the finger tips are in.

    Returns
    -------
    thickness : (n,) array, m
    growth : (n,) array, -
        Thickness gained per depth.

    Examples
    --------
    >>> thickness, growth = hand_shape(Hand(), np.array([0.0, 0.05, 0.08]), np.zeros(3), 0.075)
    >>> [round(1e3 * float(t), 2) for t in thickness], [round(float(g), 3) for g in growth]
    ([25.0, 12.5, 0.0], [0.0, 0.75, 0.0])
    """
    up = np.clip((depth - behind_front) / hand.nose, 0.0, 1.0)
    side = np.clip((0.5 * hand.width - np.abs(beside_middle)) / hand.edge + 0.5, 0.0, 1.0)
    wide = hand.thickness * side * side * (3.0 - 2.0 * side)
    return wide * up * up * (3.0 - 2.0 * up), wide * 6.0 * up * (1.0 - up) / hand.nose


def push_of(hand: Hand, thickness: Array, growth: Array, force: Array) -> tuple[float, float]:
    """Push that slides a hand deeper, and the normal force on it.

    Parameters
    ----------
    hand : Hand
    thickness : (n,) array, m
        Where it is 0 there is no hand.
    growth : (n,) array, -
        Thickness gained per depth.
    force : (n,) array, N
        Normal force at each place with the hand in.

    Returns
    -------
    push : float, N
    squeeze : float, N

    Examples
    --------
    A wedge that gains 0.2 mm per mm, under 10 N, without friction and with it:

    >>> at = (np.array([0.01]), np.array([0.2]), np.array([10.0]))
    >>> push_of(Hand(friction=0.0), *at), push_of(Hand(friction=0.4), *at)
    ((2.0, 10.0), (10.0, 10.0))
    """
    squeeze = float(force[thickness > 0.0].sum())
    return float(force @ growth) + _FACES * hand.friction * squeeze, squeeze


def clearance(
    hand: Hand, behind_front: Array, beside_middle: Array, gap: Array, steps: int = 5
) -> float:
    """Least mean clearance across a hand's width, from the bar's front end to the hand's reach.

    Parameters
    ----------
    hand : Hand
    behind_front, beside_middle, gap : (n,) arrays, m
        Places under the bar and the daylight there; nan where it is not known.
    steps : int
        Stretches that the reach is cut into.

    Returns
    -------
    float, m
        nan where nothing is known.
    """
    across = (np.abs(beside_middle) < 0.5 * hand.width) & np.isfinite(gap)
    edges = np.linspace(0.0, hand.reach, steps + 1)
    means = [
        gap[here].mean()
        for low, high in pairwise(edges)
        if (here := across & (behind_front >= low) & (behind_front < high)).any()
    ]
    return float(min(means)) if means else float("nan")
