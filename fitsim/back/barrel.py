"""Cross-sections of the whole trunk, for the way straps run round it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import ConvexHull

from fitsim.back.back import Barrel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.crest import Crest
    from fitsim.back.samples import Samples

STATIONS = (-0.60, 0.20, 0.05)
"""m: first, last, step."""

SLICE = 0.012
"""m: half thickness of the slice a section is taken from."""

CHEST_DEPTH = 0.46
"""Depth of the trunk over the withers height where the scan does not show it. Donkeys: 49.6 cm at
104.5 cm and 48.7 cm at 102.0 cm (Urosevic et al., Morphometric parameters body in donkey)."""

CORNERS = 72


def barrel_of(body: Samples, crest: Crest, withers_height: float) -> Barrel:
    """Convex girth sections of the trunk at even stations.

    Parameters
    ----------
    body : Samples
        Trunk samples, body frame.
    crest : Crest
    withers_height : float, m.

    Returns
    -------
    Barrel
        A section whose belly was not scanned is closed with half an ellipse as deep as the
        chest usually is, and flagged.
    """
    first, last, step = STATIONS
    seen = crest.x[crest.seen]
    stations = np.arange(round(first / step), round(last / step) + 1) * step
    stations = stations[(stations > seen.min() + SLICE) & (stations < seen.max() - SLICE)]
    sections, guessed, kept = [], [], []
    along = np.ascontiguousarray(body.points[:, 0])
    for x in stations:
        near = np.flatnonzero(np.abs(along - x) < SLICE)
        if len(near) < 8:  # noqa: PLR2004 - too few for a hull
            continue
        top = float(np.interp(x, crest.x, crest.z))
        section, closed = _section(body.points[near, 1:], top, CHEST_DEPTH * withers_height)
        sections.append(section)
        guessed.append(not closed)
        kept.append(x)
    return Barrel(np.array(kept), tuple(sections), np.array(guessed, dtype=bool))


def _section(
    points: NDArray[np.float64], top: float, depth: float
) -> tuple[NDArray[np.float64], bool]:
    """One convex section and whether the scan showed all of it."""
    hull = points[ConvexHull(points).vertices]
    below = top - hull[:, 1].min()
    centre = np.array([0.5 * (hull[:, 0].min() + hull[:, 0].max()), top - 0.5 * max(below, depth)])
    if below > 0.75 * depth and _belly_seen(points, hull):
        return _even(hull), True
    half = 0.5 * np.ptp(hull[:, 0])
    low = hull[np.argsort(hull[:, 1])]
    # The ellipse hangs from the widest level that was seen down to the belly's usual depth.
    level = max(float(low[0, 1]), top - 0.55 * depth)
    angle = np.linspace(-np.pi, 0.0, 37)
    belly = np.column_stack([
        centre[0] + half * np.cos(angle),
        level + (level - (top - depth)) * np.sin(angle),
    ])  # fmt: skip
    both = np.vstack([hull, belly])
    return _even(both[ConvexHull(both).vertices]), False


def _belly_seen(points: NDArray[np.float64], hull: NDArray[np.float64]) -> bool:
    """Whether scanned points lie along the underside, not just at its two ends."""
    low, high = hull[:, 1].min(), hull[:, 1].max()
    half = 0.25 * np.ptp(hull[:, 0])
    middle = 0.5 * (hull[:, 0].min() + hull[:, 0].max())
    under = (points[:, 1] < low + 0.35 * (high - low)) & (np.abs(points[:, 0] - middle) < half)
    return bool(under.any())


def _even(hull: NDArray[np.float64]) -> NDArray[np.float64]:
    """The polygon resampled to even steps along its rim, (72, 2), anticlockwise."""
    closed = np.vstack([hull, hull[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    places = np.linspace(0.0, along[-1], CORNERS, endpoint=False)
    return np.column_stack([np.interp(places, along, closed[:, k]) for k in (0, 1)])
