"""Which tensions of a cinch map serve, by stated rules."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.measure.hand import EASY

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fitsim.study.cinch_map import CinchMap

    Array = NDArray[np.float64]
    Mask = NDArray[np.bool_]

# The limits are this project's choices, the same as the report's where that has one
# (`fitsim.draw.words`); none marks where harm begins.
ON_THE_BLADE = 0.15
"""Share of the load on the shoulder blades."""
LIFTED = 0.010
"""m, by which one end's tips may clear the back more than the other's."""
MOSTLY = 0.50
"""Share of the load on one third of the bars."""
GRIP = 100.0
"""N, push sideways or lengthwise that the tree must bear before it slides."""

SNUG = 60.0
"""N at each strap end of the front cinch: the least measured in girths in use, 60 to 200 N
(doi:10.1017/S1755254011000055). A looser one is no rig to work in."""

_FINE = 8  # parts of a step of the map in which its region's middle is sought

RULES = ("shoulder", "front_lifts", "rear_lifts", "one_third", "grip", "snug", "hand")
"""In the order in which they are said."""


@dataclass(frozen=True)
class Serving:
    """Where a cinch map serves.

    Attributes
    ----------
    room : by rule, (m, n) array, -: above 0 where the rule is kept, below where it is broken, by
        how much of its limit; -1 where the tree does not stay.
    kept : names of the rules that the region keeps: all, or all that can be kept together.
    inside : (m, n) bool array, the region.
    """

    room: Mapping[str, Array]
    kept: tuple[str, ...]
    inside: Mask

    @property
    def broken(self) -> tuple[str, ...]:
        """Rules that no pair of tensions keeps together with the rest."""
        return tuple(rule for rule in RULES if rule not in self.kept)


def serving(found: CinchMap) -> Serving:
    """Find the tensions that keep all rules, or as many of the rules as can be kept together.

    Rules are given up from the last in `RULES` backwards, one at a time and then two, so that the
    shoulder is the last to be given up.

    Parameters
    ----------
    found : CinchMap

    Returns
    -------
    Serving
        `inside` is empty only where no pair of tensions keeps any rule.
    """
    room = rooms(found)
    ok = {rule: room[rule] > 0.0 for rule in RULES}
    for kept in _sets():
        inside = np.logical_and.reduce([ok[rule] for rule in kept])
        if inside.any():
            return Serving(room, kept, inside)
    return Serving(room, (), np.zeros_like(found.stays))


def _sets() -> list[tuple[str, ...]]:
    """All rules, then all but one, then all but two, ..., the last given up first."""
    from itertools import combinations

    whole = range(len(RULES))
    return [
        tuple(RULES[k] for k in whole if k not in dropped)
        for count in range(len(RULES))
        for dropped in sorted(combinations(whole, count), reverse=True)
    ]


def rooms(found: CinchMap) -> dict[str, Array]:
    """How much room each rule has at each pair of tensions, as a share of its limit.

    Parameters
    ----------
    found : CinchMap

    Returns
    -------
    dict of (m, n) arrays, -
        Above 0 where the rule is kept.
    """
    m = found.measures
    more_front = m["front_lift"] - m["rear_lift"]
    thirds = np.stack([m["front_share"], m["middle_share"], m["rear_share"]])
    room = {
        "shoulder": 1.0 - m["blade_share"] / ON_THE_BLADE,
        "front_lifts": 1.0 - more_front / LIFTED,
        "rear_lifts": 1.0 + more_front / LIFTED,
        "one_third": 1.0 - thirds.max(axis=0) / MOSTLY,
        "grip": m["grip"] / GRIP - 1.0,
        "snug": np.broadcast_to(found.front[:, None] / SNUG - 1.0, found.stays.shape),
        "hand": 1.0 - m["hand_push"] / EASY,
    }
    return {
        rule: np.where(found.stays & np.isfinite(value), value, -1.0)
        for rule, value in room.items()
    }


def span(tensions: Array, inside: Mask, axis: int) -> tuple[float, float]:
    """Lowest and highest tension of a region along one axis, N.

    Parameters
    ----------
    tensions : (k,) array, N
        Along that axis.
    inside : (m, n) bool array
        Not empty.
    axis : int
        0 for the front cinch, 1 for the rear.

    Examples
    --------
    >>> span(np.array([0.0, 50.0, 100.0]), np.array([[0, 0], [1, 0], [1, 1]], dtype=bool), 0)
    (50.0, 100.0)
    """
    met = inside.any(axis=1 - axis)
    return float(tensions[met].min()), float(tensions[met].max())


def middle(found: CinchMap, serves: Serving) -> tuple[float, float]:
    """The pair of tensions deepest within the region, N.

    Parameters
    ----------
    found : CinchMap
    serves : Serving
        Whose region is not empty.

    Returns
    -------
    front, rear : float, N
    """
    from scipy.ndimage import distance_transform_edt, map_coordinates

    fine = [np.linspace(0.0, size - 1.0, (size - 1) * _FINE + 1) for size in serves.inside.shape]
    at = np.array(np.meshgrid(*fine, indexing="ij"))
    least = np.min(
        [map_coordinates(serves.room[rule], at, order=1) for rule in serves.kept], axis=0
    )
    deep = distance_transform_edt(np.pad(least > 0.0, 1))[1:-1, 1:-1]
    row, column = np.unravel_index(int(deep.argmax()), deep.shape)
    return (
        float(np.interp(fine[0][row], np.arange(len(found.front)), found.front)),
        float(np.interp(fine[1][column], np.arange(len(found.rear)), found.rear)),
    )
