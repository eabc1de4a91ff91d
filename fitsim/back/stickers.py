"""Stickers of known colours on a back made into marks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.marks import LAST_RIB, MARKED_SD, POCKET_CENTRE, POCKET_HALF
from fitsim.back.noted import NOTED
from fitsim.back.sticker_words import SIDED
from fitsim.back.withers import BLADE_BEHIND_WITHERS
from fitsim.scan.stickers import blobs_of

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from numpy.typing import NDArray

    from fitsim.back.frame import BodyFrame
    from fitsim.back.sticker_words import Meanings
    from fitsim.scan.colour import Colour
    from fitsim.scan.scan import Scan


@dataclass(frozen=True)
class Sticker:
    """A coloured spot and what became of it.

    Attributes
    ----------
    colour : of the spot.
    mark : name of the mark that it makes; nothing where it makes none.
    place : (3,) array, body frame, m.
    sd_m : m, of its middle along the skin in each direction; where it was stuck is less sure.
    width_m : m.
    doubt : why it was not used; nothing where it was.
    line : number of the chalk line that it is a piece of; 0 for a spot by itself.
    """

    colour: Colour
    mark: str
    place: NDArray[np.float64]
    sd_m: float
    width_m: float
    doubt: str = ""
    line: int = 0


@dataclass(frozen=True)
class Stuck:
    """Stickers found on a scan, and the marks they make.

    Attributes
    ----------
    stickers : places in the frame and unit of the scan.
    """

    stickers: tuple[Sticker, ...] = ()

    @property
    def used(self) -> dict[str, list[Sticker]]:
        """Those that make a mark, by its name."""
        marks: dict[str, list[Sticker]] = {}
        for one in self.stickers:
            if not one.doubt:
                marks.setdefault(one.mark, []).append(one)
        return marks

    def told(self) -> dict[str, NDArray[np.float64]]:
        """Places by name of mark, (k, 3) arrays in the scan's coordinates."""
        return {name: np.array([one.place for one in group]) for name, group in self.used.items()}

    def moved(self, T_body_scan: NDArray[np.float64]) -> tuple[Sticker, ...]:
        """The stickers with their places in the body frame, m."""
        return tuple(
            replace(one, place=T_body_scan[:3, :3] @ one.place + T_body_scan[:3, 3])
            for one in self.stickers
        )

    def basis(self, name: str) -> str:
        """How a mark is known, in a phrase."""
        group = self.used[name]
        off = 1e3 * max(one.sd_m for one in group)
        spots, lines = [sum(not one.line for one in group), len({one.line for one in group} - {0})]
        words = [(spots, "sticker"), (lines, "chalk line")]
        many = " and ".join(
            f"{count} {group[0].colour} {what}{'s' * (count > 1)}" for count, what in words if count
        )
        return f"{many}, found by colour to {off:.0f} mm, put on by hand"

    def sd(self, name: str) -> float:
        """Standard deviation of a mark: of finding the sticker and of sticking it on, m."""
        found = np.array([one.sd_m for one in self.used[name]])
        return float(np.hypot(np.sqrt((found**2).mean()), MARKED_SD))


def stuck_on(scan: Scan, frame: BodyFrame, meanings: Meanings, told: Collection[str] = ()) -> Stuck:
    """Find the stickers on a back and say what each marks.

    Parameters
    ----------
    scan : Scan
        Cleaned, with colours.
    frame : BodyFrame
        Found from the shape.
    meanings : Meanings
    told : names of marks that were pointed at: they go before stickers.

    Returns
    -------
    Stuck
        Used ones, and those that are unclear or lie where their colour makes no sense.
    """
    known = dict(meanings)
    metre = float(np.cbrt(np.linalg.det(frame.T_body_scan[:3, :3])))
    blobs = blobs_of(scan, metre) if known else ()
    spots = [
        Sticker(blob.colour, known.get(blob.colour, ""), blob.place, blob.sd_m, blob.width_m,
                blob.doubt, blob.line)
        for blob in blobs
        if blob.colour in known or not blob.doubt
    ]  # fmt: skip
    ground = _Ground(frame)
    spots.sort(key=lambda spot: -ground.at(spot)[0])  # so that numbers rise towards the rear
    spots = ground.one_withers([spot for spot in spots if ground.worth_saying(spot)])
    zero, room = ground.edge(spots)
    placed = _whole_lines([ground.judged(spot, zero, room, told) for spot in spots])
    return Stuck(tuple(_in_order(_numbered(placed), frame.T_body_scan)))


class _Ground:
    """Where on the back a place of the scan lies."""

    def __init__(self, frame: BodyFrame) -> None:
        self.frame, self.scale = frame, frame.scale

    def at(self, spot: Sticker) -> tuple[float, float, float]:
        """Station, distance from the spine line (left positive) and height over it, m."""
        T, crest = self.frame.T_body_scan, self.frame.crest
        x, y, z = T[:3, :3] @ spot.place + T[:3, 3]
        y -= np.interp(x, crest.x, crest.y)
        z -= np.interp(x, crest.x, crest.z)
        return float(x), float(np.copysign(np.hypot(y, z), y)), float(z)

    def on_back(self, spot: Sticker) -> bool:
        x, across, up = self.at(spot)
        along = self.frame.crest.x[0] - AIR < x < self.frame.crest.x[-1] + AIR
        return bool(along and abs(across) < DOWN * self.scale and up < AIR)

    def worth_saying(self, spot: Sticker) -> bool:
        return self.on_back(spot) or not spot.doubt

    def on_spine(self, spot: Sticker) -> bool:
        return self.on_back(spot) and abs(self.at(spot)[1]) < ON_SPINE

    def one_withers(self, spots: list[Sticker]) -> list[Sticker]:
        """The spots, those for the withers in doubt where they lie in two places."""
        withers = [s for s in spots if s.mark == "withers" and not s.doubt and self.on_spine(s)]
        apart = float(np.ptp([self.at(s)[0] for s in withers])) if withers else 0.0
        if apart <= ONE_PLACE:
            return spots
        fault = f"{len(withers)} of its colour lie along the spine, and the withers are one place"
        return [replace(s, doubt=fault) if any(s is w for w in withers) else s for s in spots]

    def edge(self, spots: list[Sticker]) -> tuple[float, float]:
        """Station of the blade's edge by stickers on the withers, or by shape, and its room, m."""
        most = float(np.clip(3.0 * self.frame.withers.sd, *ROOM)) * self.scale
        withers = [
            self.at(s)[0] for s in spots if s.mark == "withers" and not s.doubt and self.on_spine(s)
        ]
        found = float(np.mean(withers)) - BLADE_BEHIND_WITHERS * self.frame.withers_height if (
            withers) else 0.0  # fmt: skip
        return (found, ROOM[0] * self.scale) if withers and abs(found) < most else (0.0, most)

    def judged(self, spot: Sticker, zero: float, room: float, told: Collection[str]) -> Sticker:
        """The spot with the side it lies on, and in doubt where its mark cannot lie."""
        if spot.doubt:
            return spot
        if not self.on_back(spot):
            return replace(spot, doubt="it lies off the back")
        if not spot.mark:
            return replace(spot, doubt="no place was told for its colour")
        x, across, _ = self.at(spot)
        kind, side = _kind_and_side(spot.mark)
        own = "left" if across > 0.0 else "right"
        named = f"{kind}_{own}" if kind in SIDED else kind
        words = kind.replace("scapula_edge", "shoulder blade's edge").replace("_", " ")
        reasons = {
            "it lies too near the spine to tell its side": kind in SIDED and abs(across) < MIDDLE,
            "it lies on the other side": bool(side) and side != own,
            f"the {words} cannot lie there": not _may_lie(kind, x - zero, across, self, room),
            "the marks tell that place already": named in told,
        }
        doubt = next((words for words, holds in reasons.items() if holds), "")
        return replace(spot, mark=named, doubt=doubt)


AIR, DOWN = 0.06, 0.55
"""m: how far off the spine's ends and above it a spot may lie, and how far down the side of an
animal of 1.5 m."""

ON_SPINE, MIDDLE, ONE_PLACE = 0.05, 0.02, 0.06
"""m: nearer than the first to the spine line is on it; nearer than the second is on no side; two
stickers closer than the third mark one place."""

ROOM = (0.12, 0.35)
"""m, on an animal of 1.5 m: how far from its place by shape a mark may lie, at the least and most;
three standard deviations of the withers found from the shape between."""

WOUND_APART = 0.15
"""m: stickers of one kind closer than this ring one place; farther ones mark another (a choice)."""


def _may_lie(kind: str, x: float, across: float, ground: _Ground, room: float) -> bool:
    """Whether a mark may lie at station x from the blade's edge, so far across from the spine."""
    scale, height, off = ground.scale, ground.frame.withers_height, abs(across)
    along = {
        "withers": (BLADE_BEHIND_WITHERS * height, 0.0),
        "scapula_edge": (0.04 * scale, 0.04 * scale),  # the edge runs forward below its corner
        "last_rib": (LAST_RIB * height, 0.04 * scale),
        "fat_pocket": (POCKET_CENTRE[0] * scale, POCKET_HALF[0] * scale),
        "hip": (-0.80 * scale, 0.35 * scale),
    }
    beside = {"spine": (0.0, ON_SPINE), "withers": (0.0, ON_SPINE),
              "fat_pocket": (0.06 * scale, 0.36 * scale)}  # fmt: skip
    least, most = beside.get(kind, (MIDDLE, DOWN * scale))
    middle, half = along.get(kind, (x, 0.0))
    return least <= off <= most and abs(x - middle) <= half + room


def _whole_lines(spots: list[Sticker]) -> list[Sticker]:
    """The spots, chalk lines used whole or not at all: a rope crosses places that may be marked."""
    doubts = {spot.line: spot.doubt for spot in spots if spot.line and spot.doubt}
    return [
        replace(spot, doubt=doubts[spot.line]) if spot.line in doubts else spot for spot in spots
    ]


def _kind_and_side(mark: str) -> tuple[str, str]:
    place, _, side = mark.rpartition("_")
    return (place, side) if side in {"left", "right"} else (mark, "")


def _numbered(spots: list[Sticker]) -> list[Sticker]:
    """The spots, those that record something numbered where they lie apart."""
    names = {s.mark for s in spots if not s.doubt and _kind_and_side(s.mark)[0] in NOTED}
    found = [s for s in spots if s.doubt or s.mark not in names]
    for name in sorted(names):
        group = [s for s in spots if s.mark == name and not s.doubt]
        kind, side = _kind_and_side(name)
        for spot, number in zip(group, _clusters([s.place for s in group]), strict=True):
            found.append(replace(spot, mark=f"{kind}_{number}_{side}" if number > 1 else name))
    return found


def _clusters(places: list[NDArray[np.float64]]) -> list[int]:
    """Number of the place that each belongs to, from 1."""
    from scipy.cluster.hierarchy import fcluster, linkage

    if len(places) == 1:
        return [1]
    label = fcluster(linkage(np.array(places), "single"), WOUND_APART, "distance")
    order = {first: number for number, first in enumerate(dict.fromkeys(label.tolist()), 1)}
    return [order[one] for one in label.tolist()]


def _in_order(spots: list[Sticker], T_body_scan: NDArray[np.float64]) -> list[Sticker]:
    """By mark; lines along themselves and outlines around."""
    body = {id(s): T_body_scan[:3, :3] @ s.place + T_body_scan[:3, 3] for s in spots}
    middle = {
        name: np.mean([body[id(s)] for s in spots if s.mark == name], axis=0)
        for name in {s.mark for s in spots}
    }

    def key(spot: Sticker) -> tuple[bool, str, float]:
        place = body[id(spot)]
        kind = _kind_and_side(spot.mark)[0]
        if kind in {"spine", "withers"}:
            return bool(spot.doubt), spot.mark, -place[0]
        if kind in {"scapula_edge", "last_rib"}:
            return bool(spot.doubt), spot.mark, -place[2]
        off = place - middle[spot.mark]
        return (
            bool(spot.doubt),
            f"{len(spot.mark):02d}{spot.mark}",
            float(np.arctan2(off[1] - off[2], off[0])),
        )

    return sorted(spots, key=key)


MOST_SAID = 4
"""Unclear spots that are spoken of one by one."""


def sticker_cautions(stickers: Sequence[Sticker]) -> tuple[str, ...]:
    """What a reader must know of the spots that were not used.

    Parameters
    ----------
    stickers : sequence of Sticker
        Places in the body frame.

    Returns
    -------
    tuple of str
    """
    doubtful = [one for one in stickers if one.doubt]
    first = {one.line: one for one in reversed(doubtful) if one.line}
    left = [one for one in doubtful if not one.line or first[one.line] is one]
    said = [_not_used(one) for one in left[:MOST_SAID]]
    if len(left) > MOST_SAID:
        more = len(left) - MOST_SAID
        said.append(f"{more} more coloured place{'s were' if more > 1 else ' was'} not used.")
    return tuple(said)


def _not_used(one: Sticker) -> str:
    x, y, _ = 1e3 * one.place
    way, side = ("behind" if x < 0.0 else "in front of"), ("left" if y > 0.0 else "right")
    what, kind = ("line", "a mark") if one.line else ("spot", "a sticker")
    return (
        f"A {one.colour} {what} {1e3 * one.width_m:.0f} mm wide, {abs(x):.0f} mm {way} the "
        f"shoulder blade's rear edge and {abs(y):.0f} mm to the {side}, was not taken for {kind}: "
        f"{one.doubt}."
    )
