"""Where the withers are on the crest."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from fitsim.back.trunk import SEEN

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.crest import Crest
    from fitsim.back.trunk import TrunkSurface

BLADE_BEHIND_WITHERS = 0.07
"""The blade's rear edge lies this share of the withers height behind the withers' top.

The withers' top is the tip of the 4th to 6th thoracic spine (figures, section F), the blade's
rear upper corner is about at the 7th to 8th: 2.5 vertebrae of about 0.028 of the withers height
each (from memory, no source).
"""

LEG_WINDOW = (-0.17, 0.12)
"""m, on an animal of 1.5 m: the withers stand over the front legs, within this (from memory)."""

NECK_WIDTH, ROOT_WIDTH = 0.60, 0.70
"""Width 0.2 m below the crest over the trunk's: less is neck; the neck's root (own measurements
on two animals: 0.66-0.72 at withers placed by eye)."""


@dataclass(frozen=True)
class Withers:
    """The withers' top.

    Attributes
    ----------
    x : float, m, in the frame of the crest.
    sd : float, m, on an animal of 1.5 m.
    basis : how it was found.
    """

    x: float
    sd: float
    basis: str


def withers_of(
    surface: TrunkSurface, crest: Crest, scale: float, front_leg: float | None
) -> Withers | None:
    """Find the withers' top.

    Parameters
    ----------
    surface : TrunkSurface
    crest : Crest
    scale : float
        Size of the animal over one of 1.5 m.
    front_leg : float or None, m
        Station of the front legs, where they were seen.

    Returns
    -------
    Withers or None
        None when the crest is too short or nothing on it looks like withers.

    Notes
    -----
    Searched where the animal is as broad as a trunk (not a neck) and over the front legs or, on
    a trunk alone, in its front half: the place the crest arches most, which is the top of sharp
    withers and the middle of long ones, and does not move when the animal is pitched (the
    highest point does); else behind where the neck's root begins. The widths that tell the root
    need neither the spine nor both sides: what was scanned of one side stands for the other. An
    arch far behind that root is not the withers but the edge of a gap.
    """
    x, z = crest.x, np.where(crest.seen, crest.z, np.nan)
    known = np.flatnonzero(crest.seen)
    if len(known) < 10 or np.ptp(x[known]) < 0.3 * scale:  # noqa: PLR2004 - 10 rows: 0.1 m
        return None
    cell = x[1] - x[0]
    width = _widths(surface, crest, 0.20 * scale)
    share = ndimage.gaussian_filter1d(_carried(width), 0.02 / cell, mode="nearest")
    share = share / np.nanpercentile(width, 80) if np.isfinite(width).any() else share + 1.0
    inner = x[known[0]] + 0.45 * np.ptp(x[known]), x[known[-1]] - 0.03 * scale
    if front_leg is not None:
        inner = front_leg + LEG_WINDOW[0] * scale, front_leg + LEG_WINDOW[1] * scale
    window = (x >= inner[0]) & (x <= inner[1]) & crest.seen & (share > NECK_WIDTH)
    bend = ndimage.gaussian_filter1d(_carried(z), BEND * scale / cell, order=2, mode="nearest")
    bend *= -scale / cell**2
    knee = _best(x, bend, window & (bend > LEAST_BEND))
    root = _behind_root(x, share, np.isfinite(width), scale, front_leg)
    if knee is not None and (root is None or not _far_ahead(root, knee, scale)):
        return Withers(knee, 0.025, "the place where the crest arches most over the front legs")
    return root


def _widths(surface: TrunkSurface, crest: Crest, drop: float) -> NDArray[np.float64]:
    """Widths by both sides; where spine or sides have gaps, what one side shows counts for two."""
    own = widths_below(surface, crest, drop)
    rows = np.flatnonzero(crest.seen)
    whole = len(rows) >= WHOLE * (rows[-1] - rows[0] + 1)
    if whole and np.isfinite(own[rows]).mean() >= WHOLE:
        return np.where(crest.seen, own, np.nan)
    return widths_below(_both_sides(surface), crest, drop)


def _behind_root(
    x: NDArray[np.float64],
    share: NDArray[np.float64],
    seen: NDArray[np.bool_],
    scale: float,
    front_leg: float | None,
) -> Withers | None:
    """Withers by the neck's root, from the width of each section over the trunk's."""
    cell = x[1] - x[0]
    rows = np.flatnonzero(seen)
    if not len(rows):
        return None
    inner = x[rows[0]] + 0.45 * np.ptp(x[rows]), x[rows[-1]] - 0.03 * scale
    # Smoothed more than for the window: a second place just as narrow a hand's breadth away would
    # make the withers jump from one to the other with the lie of the scan.
    share = ndimage.gaussian_filter1d(share, ROOT_BLUR * scale / cell, mode="nearest")
    root = np.flatnonzero(seen & (x <= inner[1]) & (share >= ROOT_WIDTH))
    if not len(root):
        return None
    last = int(root[-1])
    ahead = share[min(last + 1, len(x) - 1)]
    part = (share[last] - ROOT_WIDTH) / max(share[last] - ahead, 1e-9)
    place = x[last] + np.clip(part, 0.0, 1.0) * cell - ROOT_AHEAD * scale
    if front_leg is not None:
        inner = front_leg + LEG_WINDOW[0] * scale, front_leg + LEG_WINDOW[1] * scale
    narrowed = share[rows[-1]] < ROOT_WIDTH - NARROWED
    sd = ROOT_SD if narrowed else UNNARROWED_SD
    place = float(np.clip(place, *inner))
    return Withers(place, sd, "the root of the neck, where the trunk grows narrow")


def _far_ahead(root: Withers, knee: float, scale: float) -> bool:
    """Whether the narrowing trunk tells, surely, that an arch lies behind the withers."""
    return root.sd < UNNARROWED_SD and root.x - knee > ARCH_BEHIND * scale


def _both_sides(surface: TrunkSurface) -> TrunkSurface:
    """The surface with what only one side was scanned of on both."""
    lent = (surface.cover <= SEEN) & (surface.cover[:, ::-1] > SEEN)
    return replace(
        surface,
        radius=np.where(lent, surface.radius[:, ::-1], surface.radius),
        cover=np.where(lent, surface.cover[:, ::-1], surface.cover),
    )


WHOLE = 0.9
"""-, share of the stations that must show the spine, and of those both sides, for a scan to count
as without gaps (the borrowed animals' upper halves: 0.94; scenes with 30 % missing: 0.5 to 0.8)."""

ROOT_AHEAD, ROOT_SD = 0.075, 0.075
"""m, on an animal of 1.5 m: the neck's root lies this far in front of the withers, and how sure
that is. 0.11 to 0.15 on the three made-up animals, 0 on the two measured (withers placed by
eye)."""

NARROWED, UNNARROWED_SD = 0.05, 0.15
"""-, and m on an animal of 1.5 m: a trunk that has not grown narrower than the root by this share
where the scan ends has not shown its neck, and how sure the withers are then (choices)."""

ARCH_BEHIND = 0.18
"""m, on an animal of 1.5 m: an arch farther behind the place told by the neck's root is no
withers (over twice `ROOT_SD`)."""

ROOT_BLUR = 0.04
"""m, on an animal of 1.5 m: smoothing width for the narrowing at the neck's root."""

BEND = 0.04
"""m, on an animal of 1.5 m: smoothing width for the bend of the crest."""

LEAST_BEND = 0.3
"""1/m, on an animal of 1.5 m: a convex bend weaker than this is no withers."""


def widths_below(surface: TrunkSurface, crest: Crest, drop: float) -> NDArray[np.float64]:
    """Width of every section at a level below the crest.

    Parameters
    ----------
    surface : TrunkSurface
    crest : Crest
    drop : float, m.

    Returns
    -------
    (na,) array, m
        NaN where the scan does not reach down so far on both sides.
    """
    y, z = surface.sections()
    middle = len(surface.grid.b) // 2
    widths = np.full(len(y), np.nan)
    for row in range(len(y)):
        level = crest.z[row] - drop
        sides = []
        for half in (slice(middle, None), slice(middle, None, -1)):
            good = np.isfinite(z[row, half]) & (surface.cover[row, half] > SEEN)
            below = np.flatnonzero(good & (z[row, half] < level))
            if not len(below) or below[0] == 0:
                break
            k = below[0]
            za, zb = z[row, half][k - 1], z[row, half][k]
            part = (za - level) / (za - zb)
            sides.append(abs(y[row, half][k - 1] * (1 - part) + y[row, half][k] * part))
        if len(sides) == 2:  # noqa: PLR2004 - left and right
            widths[row] = sum(sides)
    return widths


def _carried(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """NaN replaced by the values around them."""
    known = np.isfinite(values)
    rows = np.arange(len(values))
    return (
        np.asarray(np.interp(rows, rows[known], values[known]))
        if known.any()
        else np.zeros(len(values))
    )


def _best(
    x: NDArray[np.float64], value: NDArray[np.float64], window: NDArray[np.bool_]
) -> float | None:
    """Highest interior local maximum inside the window, refined by a parabola."""
    top = np.zeros(len(value), dtype=bool)
    top[1:-1] = (value[1:-1] >= value[:-2]) & (value[1:-1] > value[2:])
    places = np.flatnonzero(top & window)
    if not len(places):
        return None
    best = int(places[np.argmax(value[places])])
    reach = max(3, round(0.03 / (x[1] - x[0])))
    near = slice(max(0, best - reach), best + reach + 1)
    bend, slope, _ = np.polyfit(x[near] - x[best], value[near], 2)
    if bend >= 0:
        return float(x[best])
    return float(x[best] + np.clip(-slope / (2 * bend), -0.03, 0.03))
