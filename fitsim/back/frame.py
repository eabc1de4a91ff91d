"""The body frame: x forward along the spine, y to the animal's left, z up, from shape alone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.crest import crest_of
from fitsim.back.enough import beside_a_wall
from fitsim.back.facing import head_evidence
from fitsim.back.level import mirror_step
from fitsim.back.one_side import require_both_sides
from fitsim.back.placement import (
    USUAL_HEIGHT,
    Placement,
    first_size,
    on_its_feet,
    toes_of,
)
from fitsim.back.rough import NO_BACK, RoughFrame, rough_frame
from fitsim.back.samples import thinned
from fitsim.back.settling import FEW, rough_surface, settled_round, spine_along_x
from fitsim.back.withers import BLADE_BEHIND_WITHERS, Withers
from fitsim.errors import BadScan

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.crest import Crest
    from fitsim.back.samples import Samples
    from fitsim.back.trunk import TrunkSurface

UNSHOWN = 0.05
"""m: withers less sure than this do not show."""

RESIZED = 0.08
"""A told withers height that changes the size by more than this is worth a caution."""

WEAK_EVIDENCE = 1.0
"""Below this the head end is named with a caution."""

ROUNDS = 16
"""Most rounds the frame is given to settle."""

SETTLED = 2e-4
"""Largest change of the frame between rounds that counts as settled (rad, m)."""


@dataclass(frozen=True)
class BodyFrame:
    """Where the body lies in the scan.

    Attributes
    ----------
    T_body_scan : (4, 4) array; carries a uniform scale where the withers height set the size.
    withers_height : m, told, measured or assumed.
    height_source : "told", "measured" or "assumed".
    withers : the withers' top; x = 0 is the blade's estimated rear edge.
    trunk : (n,) bool array: samples of the trunk.
    surface, crest : at the fine smoothing width, body frame.
    cautions : sentences.
    """

    T_body_scan: NDArray[np.float64]
    withers_height: float
    height_source: str
    withers: Withers
    trunk: NDArray[np.bool_]
    surface: TrunkSurface
    crest: Crest
    cautions: tuple[str, ...] = ()

    @property
    def scale(self) -> float:
        """Size of the animal over one of 1.5 m."""
        return self.withers_height / USUAL_HEIGHT

    def moved_to(self, x: float) -> BodyFrame:
        """The same frame with its origin on the spine line at station `x`, m."""
        z = float(np.interp(x, self.crest.x, self.crest.z))
        shift = np.eye(4)
        shift[:3, 3] = [-x, 0.0, -z]
        return replace(
            self,
            T_body_scan=shift @ self.T_body_scan,
            surface=self.surface.moved(-x, -z),
            crest=self.crest.moved(-x, -z),
        )


def body_frame(
    samples: Samples,
    name: str,
    withers_height: float | None,
    *,
    metres: bool,
    withers_mark: NDArray[np.float64] | None = None,
    sheets: NDArray[np.float64] | None = None,
) -> BodyFrame:
    """Find the body frame of an animal, or of its trunk, in any position.

    Parameters
    ----------
    samples : Samples
        Over the whole scan, in the scan's frame.
    name : of the file, for messages.
    withers_height : m or None
        Told height of the withers above the ground.
    metres : the scan's unit is settled.
    withers_mark : (3,) array or None
        Where the withers were pointed at, scan coordinates: tells the head's end.
    sheets : (k, 4) array or None
        Floors and walls, see `fitsim.scan.scan.Scan`: the floor tells up.

    Returns
    -------
    BodyFrame

    Raises
    ------
    BadScan
        Nothing in the scan looks like a back, one side of it is missing, or its size cannot be
        known.
    """

    def lay(trunk: Samples) -> tuple[BodyFrame, float]:
        frame, evidence = _laid(trunk, name, withers_height, metres=True, withers_mark=None)
        return frame, evidence or 0.0

    frame, evidence = _laid(
        samples, name, withers_height, metres=metres, withers_mark=withers_mark, sheets=sheets
    )
    if evidence is not None:
        body = samples.only(frame.trunk).moved(frame.T_body_scan)
        wall = beside_a_wall(sheets, frame)
        require_both_sides(body, frame, evidence, name, lay, wall=wall)
    return frame


def _laid(
    samples: Samples,
    name: str,
    withers_height: float | None,
    *,
    metres: bool,
    withers_mark: NDArray[np.float64] | None,
    sheets: NDArray[np.float64] | None = None,
) -> tuple[BodyFrame, float | None]:
    """The frame, and the signs of the head's end where a trunk alone had to be turned by them."""
    rough = rough_frame(samples, name, sheets)
    trunk = samples.only(rough.trunk)
    toes = toes_of(samples, rough)
    place = first_size(rough, name, withers_height, metres=metres)
    few = thinned(trunk, FEW)
    evidence = None
    if rough.stance is None:
        place, evidence = _facing(place, few, rough, withers_mark, name=name)
    for _ in range(ROUNDS):
        before = place.T
        if toes is not None:
            place = on_its_feet(place, toes, withers_height)
        place = settled_round(place, few, rough, name, stands=toes is not None)
        if np.abs(place.T @ np.linalg.inv(before) - np.eye(4)).max() < SETTLED:
            break
    shown = place.withers is not None and place.withers.sd < UNSHOWN
    if rough.stance is None and (toes is None or not shown):
        caution = _UP_GUESSED if shown else _WITHERS_UNSHOWN
        if toes is not None:
            far = 2.0 * place.withers.sd * place.scale if place.withers else 0.3
            caution = _PLACE_GUESSED.format(far)
        place = replace(place, cautions=(*place.cautions, caution))
    surface, crest, place = spine_along_x(place, trunk, rough, name, stands=toes is not None)
    factor = float(np.cbrt(np.linalg.det(place.T[:3, :3])))
    if metres and abs(factor - 1.0) > RESIZED:
        place = replace(place, cautions=(*place.cautions, _RESIZED.format(factor)))
    if place.withers is None:
        raise BadScan(name, "no withers were found in it", NO_BACK)
    withers = replace(place.withers, x=BLADE_BEHIND_WITHERS * place.height)
    source = "told" if withers_height else "measured" if toes is not None else "assumed"
    frame = BodyFrame(
        place.T, place.height, source, withers, rough.trunk,
        surface, crest, place.cautions,
    )  # fmt: skip
    return frame, evidence


_UP_GUESSED = (
    "No feet are in the scan, so up was taken from the line of the back: "
    "it may be off by about 3 degrees lengthwise."
)
_WITHERS_UNSHOWN = (
    "No feet are in the scan and the withers do not show on it: place and lengthwise tilt of the "
    "back are guesses, off by up to 0.2 m and 15 degrees. Mark the withers and the blade's edge."
)
_PLACE_GUESSED = (
    "The withers do not show on the scan: the place of the blade along the back is a guess, off by "
    "up to {:.2f} m. Mark the withers and the blade's edge."
)
_RESIZED = (
    "The told withers height makes the animal {:.2f} times as large as the file's unit does: "
    "one of the two is wrong."
)


def _facing(
    place: Placement,
    trunk: Samples,
    rough: RoughFrame,
    withers_mark: NDArray[np.float64] | None,
    *,
    name: str,
) -> tuple[Placement, float]:
    """Turn a trunk so that its head end lies forward; say so when the signs are weak.

    Also how strong the signs of the shape are, whatever was marked.
    """
    for _ in range(2):
        surface = rough_surface(trunk.moved(place.T), place.scale, name)
        middle = float(np.nanmedian(surface.axis_z)) + surface.depth
        length = 0.35 * rough.length
        place = place.stepped(mirror_step(surface, (-length, length), middle))
    surface = rough_surface(trunk.moved(place.T), place.scale, name)
    shape = evidence = head_evidence(surface, crest_of(surface, place.scale), place.scale)
    if withers_mark is not None:
        ahead = withers_mark @ place.T[0, :3] + place.T[0, 3] - np.median(surface.grid.a)
        evidence = float(np.sign(ahead))
    if evidence < 0:
        place = place.stepped(np.diag([-1.0, -1.0, 1.0, 1.0]))
    if abs(evidence) < WEAK_EVIDENCE:
        place = replace(place, cautions=(*place.cautions, FRONT_GUESSED))
    return place, shape


FRONT_GUESSED = (
    "Which end is the head's is not clear from the shape: look at the pictures, and mark the "
    "withers if front and rear are swapped."
)
