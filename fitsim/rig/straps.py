"""How a strap runs from the tree to the barrel."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.rig.case import Strap

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Barrel
    from fitsim.tree.tree import Side

    Array = NDArray[np.float64]

# Free length below which a strap is taken to hug the barrel, m. It keeps the stiffness of a taut
# short strap (tension over length) finite where a ring all but touches the animal.
SHORTEST_RUN = 0.050

_SWING_ROUNDS = 4  # the anchor's station settles to well below a millimetre


def girth_at(barrel: Barrel, x: float) -> Array:
    """Convex girth polygon at a station between the barrel's own.

    Beyond the barrel's ends the end section is used.

    Parameters
    ----------
    barrel : Barrel
        Sections may be closed or open, and run either way round.
    x : float, m
        Station, body frame.

    Returns
    -------
    (k, 2) array, m
        (y, z), counter-clockwise seen with y to the right and z up; not closed.

    Notes
    -----
    The two neighbouring polygons P and Q are blended as the Minkowski sum (1-w) P + w Q: its
    support function is the blend of theirs, so it stays convex and tangents move smoothly.

    Examples
    --------
    >>> from fitsim.back.back import Barrel
    >>> square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    >>> pair = Barrel(np.array([0.0, 1.0]), (square, 3.0 * square), np.zeros(2, dtype=bool))
    >>> girth_at(pair, 0.5).max(axis=0)
    array([2., 2.])
    """
    upper = int(np.clip(np.searchsorted(barrel.x, x), 1, max(len(barrel.x) - 1, 1)))
    lower = upper - 1
    first = _counter_clockwise(barrel.sections[lower])
    if len(barrel.x) == 1:
        return first
    span = barrel.x[upper] - barrel.x[lower]
    w = float(np.clip((x - barrel.x[lower]) / span, 0.0, 1.0))
    return _minkowski_sum((1.0 - w) * first, w * _counter_clockwise(barrel.sections[upper]))


def strap_anchor(girth: Array, attach: Array, side: Side) -> Array:
    """Where a strap first touches the barrel: the tangent point, outside and downwards.

    An attach point on or inside the girth (over a hollow that the strap spans) gives a strap along
    the girth's edge nearest to it.

    Parameters
    ----------
    girth : (k, 2) array, m
        Convex, counter-clockwise (`girth_at`).
    attach : (2,) array, m
        (y, z) of the ring.
    side : "left" or "right"
        The animal's side that the strap goes down.

    Returns
    -------
    (2,) array, m
        (y, z), at least `SHORTEST_RUN` from the ring along the strap.

    Notes
    -----
    To first order a tangent point moves along its own tangent when the ring moves, so holding it
    fixed gives the right change of direction, and with it the right stiffness tension / length.

    Examples
    --------
    >>> square = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    >>> strap_anchor(square, np.array([1.0, 2.0]), "left")
    array([1., 1.])
    >>> strap_anchor(square, np.array([0.9, 0.0]), "left")
    array([ 0.9, -1. ])
    """
    sign = 1.0 if side == "left" else -1.0
    run = _tangent_run(girth, attach, sign) if _outside(girth, attach) else None
    if run is None:
        run = _edge_run(girth, attach, sign)
    length = float(np.hypot(*run))
    return np.asarray(attach + run * max(1.0, SHORTEST_RUN / length))


def strap_to_barrel(
    name: str,
    side: Side,
    attach_tree: Array,
    *,
    T_body_tree: Array,
    barrel: Barrel,
    tension: float,
    stiffness: float = 0.0,
    swing: float = 0.0,
) -> Strap:
    """A strap from a ring on the tree down one side of the barrel.

    It runs in the plane across the animal that holds the ring, or, swung, in one that leans back.

    Parameters
    ----------
    name : str
        For example "front_cinch_left".
    side : "left" or "right"
        The animal's side it goes down.
    attach_tree : (3,) array, m
        The ring, tree frame.
    T_body_tree : (4, 4) array
        Pose in which the strap is laid.
    barrel : Barrel
        The girth.
    tension : float, N
        Pull of this strap end in that pose.
    stiffness : float, N/m
        How its pull grows as it is stretched; 0 for a strap that keeps its tension.
    swing : float, m
        How far behind the ring (+) or ahead of it (-) it passes under the belly.

    Returns
    -------
    Strap

    Notes
    -----
    Seen from behind, a strap in a plane that leans back still touches the outline of that plane's
    cut through the barrel (tangents stay tangents under projection); the girth at the station of
    the anchor stands for that cut, found in a few rounds.
    """
    ring = T_body_tree[:3, :3] @ attach_tree + T_body_tree[:3, 3]
    station = float(ring[0])
    for _ in range(_SWING_ROUNDS if swing else 1):
        girth = girth_at(barrel, station)
        anchor = strap_anchor(girth, ring[1:], side)
        depth = float(ring[2] - girth[:, 1].min())
        station = float(ring[0]) - swing * float(ring[2] - anchor[1]) / depth
    end = np.array([station, anchor[0], anchor[1]])
    return Strap(
        name=name,
        attach_tree=np.array(attach_tree, dtype=np.float64),
        anchor_body=end,
        tension=tension,
        stiffness=stiffness,
        tight_length=float(np.linalg.norm(end - ring)) if stiffness else 0.0,
    )


def _cross(a: Array, b: Array) -> Array:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def _counter_clockwise(polygon: Array) -> Array:
    """The polygon without a repeated last corner, counter-clockwise."""
    corners = polygon[:-1] if np.array_equal(polygon[0], polygon[-1]) else polygon
    twice_area = float(_cross(corners, np.roll(corners, -1, axis=0)).sum())
    return np.asarray(corners if twice_area > 0.0 else corners[::-1], dtype=np.float64)


def _minkowski_sum(first: Array, second: Array) -> Array:
    """Sum of two convex counter-clockwise polygons: their edges in order of direction.

    Placed by its lowest coordinates, which are the sums of theirs: a first corner to begin from
    would be one end of a level edge or the other as rounding chooses.
    """
    edges = np.vstack([np.roll(p, -1, axis=0) - p for p in (first, second)])
    edges = edges[np.hypot(edges[:, 0], edges[:, 1]) > 0.0]
    order = np.argsort(np.arctan2(edges[:, 1], edges[:, 0]) % (2.0 * np.pi), kind="stable")
    corners = np.cumsum(edges[order], axis=0)
    return np.asarray(corners + first.min(axis=0) + second.min(axis=0) - corners.min(axis=0))


def _outside(girth: Array, attach: Array) -> bool:
    edges = np.roll(girth, -1, axis=0) - girth
    return bool((_cross(edges, attach - girth) < 0.0).any())


def _tangent_run(girth: Array, attach: Array, sign: float) -> Array | None:
    """From the ring to the tangent point on its side; None where that would pull upwards."""
    towards = girth - attach
    middle = girth.mean(axis=0) - attach
    turn = sign * np.arctan2(_cross(middle, towards), towards @ middle)
    touching = np.flatnonzero(turn > turn.max() - 1e-9)  # an edge in line with the ring has two
    distance = np.hypot(*towards[touching].T)
    nearest = towards[touching[np.argmin(distance)]]
    return nearest if nearest[1] < 0.0 else None


def _edge_run(girth: Array, attach: Array, sign: float) -> Array:
    """Along the nearest edge, away from the spine and down, as far as the edge's end."""
    starts, ends = girth, np.roll(girth, -1, axis=0)
    edges = ends - starts
    along = ((attach - starts) * edges).sum(axis=1) / (edges**2).sum(axis=1)
    foot = starts + np.clip(along, 0.0, 1.0)[:, None] * edges
    nearest = int(np.argmin(np.hypot(*(attach - foot).T)))
    far_end = starts[nearest] if sign > 0.0 else ends[nearest]
    direction = -sign * edges[nearest] / np.hypot(*edges[nearest])
    left = float((far_end - foot[nearest]) @ direction)
    return np.asarray(direction * max(left, SHORTEST_RUN))
