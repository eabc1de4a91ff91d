"""The body frame: x forward along the spine, y to the animal's left, z up, from shape alone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.crest import crest_of
from fitsim.back.facing import head_evidence
from fitsim.back.level import mirror_step, pitch_step, spine_step
from fitsim.back.one_side import require_both_sides
from fitsim.back.placement import (
    SHORTEST,
    USUAL_HEIGHT,
    Placement,
    first_size,
    on_its_feet,
    toes_of,
)
from fitsim.back.rough import NO_BACK, RoughFrame, rough_frame
from fitsim.back.samples import thinned
from fitsim.back.trunk import DEPTH, WIDEST_ANGLE, TrunkSurface, trunk_surface
from fitsim.back.withers import BLADE_BEHIND_WITHERS, Withers, withers_of
from fitsim.errors import BadScan

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.crest import Crest
    from fitsim.back.samples import Samples

COMPARED = (-0.55, 0.05)
"""m, on an animal of 1.5 m: left and right are compared, and the spine laid straight, in here."""

LEVELLED = (-0.62, -0.103)
"""m, on an animal of 1.5 m: without feet in the scan, the back's line is level between these."""

REFINED = 0.05
"""m, on an animal of 1.5 m: the fine surface moves the withers by at most this."""

UNSHOWN = 0.05
"""m: withers less sure than this do not show."""

RESIZED = 0.08
"""A told withers height that changes the size by more than this is worth a caution."""

COARSE, FINE = (0.0125, 0.025), (0.005, 0.015)
"""(cell, smoothing width) in m while the frame is sought, and at the end."""

RIDGE = (0.0075, 0.015)
"""(cell, smoothing width) in m while the spine line is laid along x."""

REACH = 1.1
"""m, on an animal of 1.5 m: how far from the origin the trunk's surface is looked at."""

FINE_REACH = (-0.80, 0.36)
"""m: stations the finely smoothed surface is made for: the chart and a margin."""

CROWN = float(np.radians(45.0))
"""How far down the sides the spine line is looked for."""

WEAK_EVIDENCE = 1.0
"""Below this the head end is named with a caution."""

ROUNDS = 16
"""Most rounds the frame is given to settle."""

SETTLED = 2e-4
"""Largest change of the frame between rounds that counts as settled (rad, m)."""

FEW = 40_000
"""Samples used while the frame is sought."""


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
        require_both_sides(body, frame, evidence, name, lay)
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
        place = _round(place, few, rough, name, stands=toes is not None)
        if np.abs(place.T @ np.linalg.inv(before) - np.eye(4)).max() < SETTLED:
            break
    shown = place.withers is not None and place.withers.sd < UNSHOWN
    if rough.stance is None and (toes is None or not shown):
        caution = _UP_GUESSED if shown else _WITHERS_UNSHOWN
        if toes is not None:
            far = 2.0 * place.withers.sd * place.scale if place.withers else 0.3
            caution = _PLACE_GUESSED.format(far)
        place = replace(place, cautions=(*place.cautions, caution))
    surface, crest, place = _spine_along_x(place, trunk, rough, name, stands=toes is not None)
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


def _surface(
    body: Samples,
    scale: float,
    fineness: tuple[float, float],
    reach: tuple[float, float],
    *,
    name: str,
    widest: float = WIDEST_ANGLE,
) -> TrunkSurface:
    """The trunk's surface between two stations, as far as the scan goes."""
    low, high = np.percentile(body.points[:, 0], [0.2, 99.8])
    x_range = (max(float(low), reach[0]), min(float(high), reach[1]))
    if x_range[1] - x_range[0] < SHORTEST * min(scale, 1.0):
        raise BadScan(name, "no back was found in it", NO_BACK)
    return trunk_surface(body, x_range, DEPTH * scale, fineness, widest=widest)


def _rough_surface(body: Samples, scale: float, name: str) -> TrunkSurface:
    """The surface of the whole trunk and the root of the neck, heavily smoothed."""
    return _surface(body, scale, COARSE, (-REACH * scale, REACH * scale), name=name)


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
        surface = _rough_surface(trunk.moved(place.T), place.scale, name)
        middle = float(np.nanmedian(surface.axis_z)) + surface.depth
        length = 0.35 * rough.length
        place = place.stepped(mirror_step(surface, (-length, length), middle))
    surface = _rough_surface(trunk.moved(place.T), place.scale, name)
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


def _round(
    place: Placement, trunk: Samples, rough: RoughFrame, name: str, *, stands: bool
) -> Placement:
    """One round of settling: mirror, spine, level, station."""
    surface = _rough_surface(trunk.moved(place.T), place.scale, name)
    crest = crest_of(surface, place.scale)
    found = withers_of(surface, crest, place.scale, _leg_station(place, rough))
    if found is None:
        raise BadScan(name, "no withers were found in it", NO_BACK)
    zero = found.x - BLADE_BEHIND_WITHERS * place.height
    span, level = (
        (zero + part[0] * place.scale, zero + part[1] * place.scale)
        for part in (COMPARED, LEVELLED)
    )
    origin = np.eye(4)
    origin[:3, 3] = [-zero, 0.0, -float(np.interp(zero, crest.x, crest.z))]
    steps = [mirror_step(surface, span, -origin[2, 3], roll_free=not stands)]
    if not stands:
        steps.append(pitch_step(crest, level))
    for T_new_old in (*steps, origin):
        place = place.stepped(T_new_old)
    top = float(np.interp(found.x, crest.x, crest.z)) + origin[2, 3]
    return replace(place, withers=found, withers_z=top)


def _spine_along_x(
    place: Placement, trunk: Samples, rough: RoughFrame, name: str, *, stands: bool
) -> tuple[TrunkSurface, Crest, Placement]:
    """Lay the spine line along x on the finely smoothed surface, once roll has settled.

    Not in the rounds: on a round back the spine line moves with the roll, and settling both in
    turn swings ever wider; and rounds smooth too much to see the ridge over the spine. The line is
    held to the plane the rounds found, not to its own last place, which would let it wander.
    """
    span, level = ((part[0] * place.scale, part[1] * place.scale) for part in (COMPARED, LEVELLED))
    near = trunk.moved(place.T).points[:, 0]
    trunk = trunk.only((near > FINE_REACH[0] - 0.1) & (near < FINE_REACH[1] + 0.1))
    few = thinned(trunk, 2 * FEW)
    T_mirror_scan = place.T
    for _ in range(2):
        crown = _surface(
            few.moved(place.T), place.scale, RIDGE, FINE_REACH, name=name, widest=CROWN
        )
        crest = crest_of(crown, place.scale, _mirror_line(place.T, T_mirror_scan))
        place = place.stepped(spine_step(crest, span))
        if not stands:
            place = place.stepped(pitch_step(crest, level))
    surface = _surface(trunk.moved(place.T), place.scale, FINE, FINE_REACH, name=name)
    crest = crest_of(surface, place.scale, _mirror_line(place.T, T_mirror_scan))
    found = withers_of(surface, crest, place.scale, _leg_station(place, rough))
    if place.withers is not None:
        # The rounds look over the whole trunk, this surface ends with the chart: it may place the
        # withers better, never elsewhere.
        settled = replace(place.withers, x=BLADE_BEHIND_WITHERS * place.height)
        if found is None or abs(found.x - settled.x) > REFINED * place.scale:
            found = settled
    if found is None:
        return surface, crest, place
    x = BLADE_BEHIND_WITHERS * place.height - found.x
    z = -float(np.interp(-x, crest.x, crest.z))
    shift = np.eye(4)
    shift[:3, 3] = [x, 0.0, z]
    return surface.moved(x, z), crest.moved(x, z), replace(place.stepped(shift), withers=found)


def _mirror_line(
    T_body_scan: NDArray[np.float64], T_mirror_scan: NDArray[np.float64]
) -> tuple[float, float]:
    """Slope and offset, in the present frame, of the mirror plane settled on before."""
    T = T_body_scan @ np.linalg.inv(T_mirror_scan)
    slope = T[1, 0] / T[0, 0]
    return float(slope), float(T[1, 3] - slope * T[0, 3])


def _leg_station(place: Placement, rough: RoughFrame) -> float | None:
    """Station of the front legs in the present frame."""
    if rough.front_leg is None:
        return None
    point = np.array([rough.front_leg, 0.0, rough.ground or 0.0, 1.0])
    return float((place.T @ np.linalg.inv(rough.T_rough_scan) @ point)[0])
