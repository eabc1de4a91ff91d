"""A surface through cross-sections: a spline along each, then splines from one to the next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.interpolate import CubicSpline, make_smoothing_spline

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

STEP: Final = 0.010
"""m: spacing of the lofted points, along and across."""

CARRIED: Final = 0.20
"""m: how far the end sections are carried on along the spine profile, at most."""

PENCIL: Final = 0.020
"""m: bends of a section shorter than this are taken for a slip of the pencil."""

DROP_TO_GAP: Final = 0.75
"""Error in the middle between sections over the error at a section left out. Where the shape is
smooth, cubic splines fall with the fourth power of the spacing, and to a sixteenth; where a blade's
edge or a fat pocket lies between two sections, hardly at all. Set on the three generated animals,
for which see tests/scans/test_tracings_truth.py."""


@dataclass(frozen=True)
class Sections:
    """Cross-sections ready for lofting, all on the same arc lengths.

    Attributes
    ----------
    x : (ns,) array, m, stations, ascending.
    t : (nt,) array, m, arc length from the spine, ascending, + left.
    across : (ns, nt) array, m: y.
    below : (ns, nt) array, m: height over the spine point of the section.
    spine : (np, 2) array, m: station and height of the spine profile, ascending.
    """

    x: NDArray[np.float64]
    t: NDArray[np.float64]
    across: NDArray[np.float64]
    below: NDArray[np.float64]
    spine: NDArray[np.float64]

    def without(self, row: int) -> Sections:
        """The same sections but one."""
        keep = np.arange(len(self.x)) != row
        return Sections(self.x[keep], self.t, self.across[keep], self.below[keep], self.spine)


def sections_of(
    stations: NDArray[np.float64],
    curves: Sequence[NDArray[np.float64]],
    spine: NDArray[np.float64],
) -> Sections:
    """Lay sections on common arc lengths from the spine, as far as all of them reach.

    Parameters
    ----------
    stations : (ns,) array, m, ascending.
    curves : ns arrays (k, 2), m: (y, z) from right to left, across y = 0.
    spine : (np, 2) array, m: station and height, ascending.

    Returns
    -------
    Sections

    Examples
    --------
    >>> import numpy as np
    >>> flat = np.column_stack([np.linspace(-0.2, 0.2, 9), np.zeros(9)])
    >>> sections = sections_of(np.array([-0.1, 0.0]), [flat, flat], np.zeros((2, 2)))
    >>> round(float(sections.t[-1]), 3)
    0.2
    """
    walked = [_walked(curve) for curve in curves]
    low = max(float(arc[0]) for arc, _ in walked)
    high = min(float(arc[-1]) for arc, _ in walked)
    t = np.linspace(low, high, _count(low, high))
    # The spine point itself is a column, so that the crest is not cut off.
    t = np.unique(np.append(t[np.abs(t) > 0.3 * STEP], 0.0))
    places = np.stack([[np.interp(t, arc, line[:, k]) for arc, line in walked] for k in (0, 1)])
    return Sections(stations, t, places[0], places[1], spine)


def lofted(sections: Sections, x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points of the lofted surface.

    Parameters
    ----------
    sections : Sections
    x : (nx,) array, m: stations wanted; beyond the outermost sections their shape is carried on
        along the spine profile.

    Returns
    -------
    (nx, nt, 3) array, m
    """
    held = np.clip(x, sections.x[0], sections.x[-1])
    across = CubicSpline(sections.x, sections.across, bc_type="natural")(held)
    below = CubicSpline(sections.x, sections.below, bc_type="natural")(held)
    crest = CubicSpline(sections.spine[:, 0], sections.spine[:, 1], bc_type="natural")(x)
    along = np.broadcast_to(x[:, None], across.shape)
    return np.stack([along, across, below + crest[:, None]], axis=-1)


def stations_of(sections: Sections) -> NDArray[np.float64]:
    """Stations of the lofted surface, m: as far as the spine profile, but no further than `CARRIED`
    beyond the sections."""  # noqa: D205, D209 - one sentence
    low = max(float(sections.spine[0, 0]), float(sections.x[0]) - CARRIED)
    high = min(float(sections.spine[-1, 0]), float(sections.x[-1]) + CARRIED)
    return np.linspace(low, high, _count(low, high))


def grid_triangles(rows: int, columns: int) -> NDArray[np.int32]:
    """Triangles of a grid of points whose rows run forward and columns to the left, facing up.

    Parameters
    ----------
    rows, columns : int

    Returns
    -------
    (2 (rows - 1) (columns - 1), 3) int32 array

    Examples
    --------
    >>> grid_triangles(2, 2).tolist()
    [[0, 2, 1], [1, 2, 3]]
    """
    corner = (np.arange(rows - 1)[:, None] * columns + np.arange(columns - 1)).ravel()
    one = np.column_stack([corner, corner + columns, corner + 1])
    other = np.column_stack([corner + 1, corner + columns, corner + columns + 1])
    return np.stack([one, other], axis=1).reshape(-1, 3).astype(np.int32)


def left_out(sections: Sections) -> NDArray[np.float64]:
    """How far each inner section lies from the surface lofted without it.

    Parameters
    ----------
    sections : Sections
        Four or more.

    Returns
    -------
    (ns - 2,) array, m, root mean square over the section.
    """
    misses = []
    for row in range(1, len(sections.x) - 1):
        others = sections.without(row)
        guess = lofted(others, sections.x[row : row + 1])[0]
        real = lofted(sections, sections.x[row : row + 1])[0]
        misses.append(float(np.sqrt(((guess - real) ** 2).sum(axis=1).mean())))
    return np.array(misses)


def between_sections(sections: Sections) -> float:
    """Root mean square error to expect between the sections, m.

    Parameters
    ----------
    sections : Sections
        Four or more.

    Returns
    -------
    float, m
        From leaving out one inner section after the other.
    """
    misses = left_out(sections)
    return DROP_TO_GAP * float(np.sqrt((misses**2).mean()))


def _walked(curve: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Arc length from y = 0 and the smoothed curve, (k,) and (k, 2), finely stepped."""
    chord = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(curve, axis=0), axis=1))])
    weight = np.gradient(chord)
    stiff = (PENCIL / (2.0 * np.pi)) ** 4
    fine = np.linspace(0.0, chord[-1], max(200, int(chord[-1] / 0.001)))
    line = np.column_stack(
        [make_smoothing_spline(chord, c, w=weight, lam=stiff)(fine) for c in curve.T]
    )
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    left = int(np.argmax(line[:, 0] >= 0.0))  # the flanks may stand upright: only here is y sorted
    near = slice(max(left - 1, 0), left + 1)
    arc -= np.interp(0.0, line[near, 0], arc[near])
    line[:, 1] -= np.interp(0.0, arc, line[:, 1])
    return arc, line


def _count(low: float, high: float) -> int:
    """Points from low to high no farther apart than `STEP`; a rounded length adds none."""
    return int(np.ceil((high - low) / STEP - 1e-3)) + 1
