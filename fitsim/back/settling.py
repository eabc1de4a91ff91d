"""Rounds that settle a body frame: mirror plane, spine, level, station."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.crest import crest_of
from fitsim.back.level import mirror_step, pitch_step, spine_step
from fitsim.back.placement import SHORTEST, Placement
from fitsim.back.rough import NO_BACK, RoughFrame
from fitsim.back.samples import Samples, thinned
from fitsim.back.trunk import DEPTH, WIDEST_ANGLE, TrunkSurface, trunk_surface
from fitsim.back.withers import BLADE_BEHIND_WITHERS, withers_of
from fitsim.errors import BadScan

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.crest import Crest

FEW = 40_000
"""Samples used while the frame is sought."""


COMPARED = (-0.55, 0.05)
"""m, on an animal of 1.5 m: left and right are compared, and the spine laid straight, in here."""

LEVELLED = (-0.62, -0.103)
"""m, on an animal of 1.5 m: without feet in the scan, the back's line is level between these."""

REFINED = 0.05
"""m, on an animal of 1.5 m: the fine surface moves the withers by at most this."""

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


def rough_surface(body: Samples, scale: float, name: str) -> TrunkSurface:
    """The surface of the whole trunk and the root of the neck, heavily smoothed."""
    return _surface(body, scale, COARSE, (-REACH * scale, REACH * scale), name=name)


def settled_round(
    place: Placement, trunk: Samples, rough: RoughFrame, name: str, *, stands: bool
) -> Placement:
    """One round of settling: mirror, spine, level, station."""
    surface = rough_surface(trunk.moved(place.T), place.scale, name)
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


def spine_along_x(
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
