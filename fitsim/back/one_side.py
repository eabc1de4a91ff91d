"""Half a trunk: one side of an animal, which mirrors itself well enough to pass for a back."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.samples import Samples, thinned
from fitsim.back.trunk import SEEN
from fitsim.errors import BadScan

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from fitsim.back.frame import BodyFrame
    from fitsim.back.trunk import TrunkSurface

    Lay = Callable[[Samples], tuple[BodyFrame, float]]

LOOKED_AT = (-0.55, 0.20)
"""m, on an animal of 1.5 m: stations at which it is seen how far the scan reaches round."""

SHORT, LOPSIDED = float(np.radians(50.0)), float(np.radians(15.0))
"""How far a scan of both sides reaches round the trunk, at least, and how much farther on one side
it may (made-up halves reached 5 to 46 degrees on their short side or were lopsided by 21; whole
backs cut 0.3 m down each side reached 56 to 76, lopsided by at most 4)."""

SHAPED, HINTED = 3.0, 1.0
"""Signs of the head's end (`fitsim.back.facing`) that outweigh a short side, and a lopsided one
(halves on their side: 0 to 2.9; of 200 scenes with 30 % missing none was below 1.0 that had both
sides and was lopsided)."""

NAMED, DIPS = 2.5, 0.15
"""A half completed by its mirror image is an animal, and its sides are named, where the head's end
is shown at least so clearly and the back dips so much, 1/m."""

INSETS = tuple(float(np.radians(angle)) for angle in (4.0, 14.0, 24.0))
"""The surface is turned over this far inside its edge: the scan may reach past the spine."""

FEW = 20_000
"""Samples a completed half is laid with."""


@dataclass(frozen=True)
class Turn:
    """The plane a half is turned over in.

    Attributes
    ----------
    normal : (3,) array, unit, body frame: away from what was scanned.
    offset : m: points on the plane have ``normal @ p == offset``.
    """

    normal: NDArray[np.float64]
    offset: float


def require_both_sides(
    body: Samples, frame: BodyFrame, evidence: float, name: str, lay: Lay, *, wall: bool = False
) -> None:
    """Refuse half a trunk that came to lie on its side, and say which side is missing.

    Parameters
    ----------
    body : Samples
        Of the trunk, body frame.
    frame : BodyFrame
        As found; where it is wrong, it runs along the middle of a flank.
    evidence : signs of the head's end, see `fitsim.back.facing.head_evidence`.
    name : of the file, for messages.
    lay : finds the frame, and the signs of the head's end, of other samples.
    wall : a flat sheet stands upright beside it, which may be the floor.

    Raises
    ------
    BadScan
        One side is missing.

    Notes
    -----
    A flank alone has neither withers that grow broad behind nor a back that dips between two
    raised ends, and the mirror plane found in it leaves one side short. To name the missing side
    the scan is completed by its mirror image at either long edge; the edge that makes an animal of
    it is the spine.
    """
    edges = _edges(frame.surface, frame.scale)
    if edges is None:
        return
    low, high = edges
    strong = abs(evidence)
    short = min(-low, high) < SHORT and strong < SHAPED
    lopsided = abs(low + high) > LOPSIDED and strong < (SHAPED if wall else HINTED)
    if not (short or lopsided):
        return
    missing = _missing(body, frame, edges, lay)
    raise BadScan(
        name,
        f"the {missing} side of the back is missing"
        if missing
        else "one side of the back is missing, or too little of both was scanned",
        "scan both sides of the spine",
    )


def _edges(surface: TrunkSurface, scale: float) -> tuple[float, float] | None:
    """Angles that the scan reaches to on the right (negative) and left, middle of the stations."""
    x = surface.grid.a
    rows = (x > LOOKED_AT[0] * scale) & (x < LOOKED_AT[1] * scale)
    seen = surface.cover[rows] > SEEN
    reach = [surface.angle[row][[0, -1]] for row in seen if row.any()]
    if not reach:
        return None
    low, high = np.median(reach, axis=0)
    return float(low), float(high)


def _missing(body: Samples, frame: BodyFrame, edges: tuple[float, float], lay: Lay) -> str:
    """Name of the side that is missing, or nothing where the shape does not tell it."""
    few = thinned(body, FEW)
    best, side = NAMED, ""
    for edge, inset in product(edges, INSETS):
        turn = _turn_at(frame.surface, edge - np.sign(edge) * inset, frame.scale, np.sign(edge))
        if turn is None:
            continue
        whole, count = _completed(few, turn)
        try:
            found, evidence = lay(whole)
        except BadScan:
            continue
        if abs(evidence) > best and _dip(found) > DIPS:
            T = found.T_body_scan
            left = float((whole.points[:count] @ T[1, :3] + T[1, 3]).mean()) > 0.0
            best, side = abs(evidence), "right" if left else "left"
    return side


def _turn_at(surface: TrunkSurface, angle: float, scale: float, sign: float) -> Turn | None:
    """The plane along the trunk, square to its surface at an angle; +-1: its left is cut off."""
    column = int(np.argmin(np.abs(surface.angle - angle)))
    if not 2 <= column < len(surface.angle) - 2:  # noqa: PLR2004 - two columns to each side
        return None
    y, z = (values[:, column - 2 : column + 3] for values in surface.sections())
    x, cover = surface.grid.a, surface.cover[:, column - 2 : column + 3]
    use = (x > LOOKED_AT[0] * scale) & (x < LOOKED_AT[1] * scale)
    use &= (cover > SEEN).all(axis=1) & np.isfinite(y).all(axis=1) & np.isfinite(z).all(axis=1)
    if use.sum() < 10:  # noqa: PLR2004 - fewer rows than 0.1 m say nothing
        return None
    way = np.column_stack([y[use, -1] - y[use, 0], z[use, -1] - z[use, 0]])
    way = np.median(way / np.linalg.norm(way, axis=1, keepdims=True), axis=0)
    normal = sign * np.array([0.0, *way]) / np.linalg.norm(way)
    place = np.array([0.0, np.median(y[use, 2]), np.median(z[use, 2])])
    return Turn(normal, float(normal @ place))


def _completed(body: Samples, turn: Turn) -> tuple[Samples, int]:
    """The samples with their mirror image behind them, and how many are their own."""
    own = body.only(body.points @ turn.normal < turn.offset)
    off = own.points @ turn.normal - turn.offset
    image = own.points - 2.0 * np.outer(off, turn.normal)
    points, area = np.concatenate([own.points, image]), np.concatenate([own.area, own.area])
    return Samples(points, area), len(own.points)


def _dip(frame: BodyFrame) -> float:
    """How much the back dips between withers and loin: half its curvature, 1/m."""
    x, scale = frame.crest.x, frame.scale
    use = frame.crest.seen & (x > -0.5 * scale) & (x < 0.06 * scale)
    if use.sum() < 10:  # noqa: PLR2004 - as above
        return 0.0
    return float(np.polyfit(x[use], frame.crest.z[use], 2)[0])
