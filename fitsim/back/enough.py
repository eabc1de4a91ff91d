"""Whether enough of a back was scanned for a tree: what is refused, and what is cautioned of."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.errors import BadScan

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Barrel, Chart
    from fitsim.back.frame import BodyFrame


def scan_cautions(
    sheets: NDArray[np.float64], frame: BodyFrame, barrel: Barrel, chart: Chart
) -> tuple[str, ...]:
    """What a reader of any result must know of how the back was scanned.

    Parameters
    ----------
    sheets : (k, 4) array
        Floors and walls, see `fitsim.scan.scan.Scan`.
    frame : BodyFrame
    barrel : Barrel
    chart : Chart

    Returns
    -------
    tuple of str
    """
    belly = (BELLY_GUESSED,) if barrel.extrapolated.any() else ()
    wall = (FLOOR_OR_WALL,) if beside_a_wall(sheets, frame) else ()
    return (*wall, *belly, *_little_seen(chart, frame))


def require_enough(chart: Chart, frame: BodyFrame, name: str) -> None:
    """Refuse a back too short, seen from one side only, or with a hump where a tree lies.

    Parameters
    ----------
    chart : Chart
    frame : BodyFrame
    name : of the file, for messages.

    Raises
    ------
    BadScan
        It says what to scan.
    """
    rear = TREE_REACH * frame.scale
    if chart.x[0] > 0.75 * rear:
        raise BadScan(
            name,
            f"the back in it ends {-1e3 * chart.x[0]:.0f} mm behind the shoulder blade",
            "scan as far back as the croup",
        )
    tree = (chart.x > rear) & (chart.x < 0.0)
    drop = chart.points[:, len(chart.t) // 2, None, 2] - chart.points[..., 2]
    for side, sign in SIDES:
        if _seen_under_bar(chart, frame, sign) < LEAST_SIDE:
            raise BadScan(
                name, f"the {side} side of the back is missing", "scan both sides of the spine"
            )
        flank = chart.valid & (drop > FLANK * frame.scale) & (sign * chart.t > 0.0)
        if flank[tree].any(axis=1).mean() < LEAST_SIDE:
            raise BadScan(
                name,
                f"it does not reach {1e3 * FLANK * frame.scale:.0f} mm down both sides "
                "of the spine",
                "scan both sides of the back, well down the ribs",
            )
    _refuse_hump(chart, tree, frame, name)


def _seen_under_bar(chart: Chart, frame: BodyFrame, sign: float) -> float:
    """Share of one side that has a surface where a bar lies."""
    along = (chart.x > TREE_REACH * frame.scale) & (chart.x < 0.0)
    beside = (sign * chart.t > 0.03) & (sign * chart.t < 0.15)  # noqa: PLR2004 - under a bar
    return float(chart.valid[np.ix_(along, beside)].mean())


def _little_seen(chart: Chart, frame: BodyFrame) -> tuple[str, ...]:
    """A caution for each side of which much is missing where a bar lies."""
    seen = {side: _seen_under_bar(chart, frame, sign) for side, sign in SIDES}
    return tuple(
        LITTLE_SEEN.format(side, 100.0 * share)
        for side, share in seen.items()
        if share < ENOUGH_SIDE
    )


def _refuse_hump(chart: Chart, tree: NDArray[np.bool_], frame: BodyFrame, name: str) -> None:
    """Refuse a hump under the tree, and what was taken for withers but falls away in front too."""
    middle = len(chart.t) // 2
    measured = chart.valid[:, middle]
    under = tree & measured
    spine = chart.points[under, middle, 2]
    rise = 0.0
    if len(spine):
        chord = np.interp(chart.x[under], chart.x[under][[0, -1]], spine[[0, -1]])
        rise = float((spine - chord).max())
    least = HIGHEST_HUMP * frame.withers_height
    if rise > least:
        raise BadScan(
            name,
            f"the back rises in a hump of {1e3 * rise:.0f} mm where a tree would lie",
            "a tree cannot be fitted to it",
        )
    ahead = (chart.x >= frame.withers.x) & (chart.x < frame.withers.x + 0.25 * frame.scale)
    ahead &= measured
    if ahead.any():
        crest = chart.points[ahead, middle, 2]
        fall = float(crest[0] - crest.min())
        if fall > least:
            raise BadScan(
                name,
                f"the back falls away by {1e3 * fall:.0f} mm in front of what was taken for the "
                "withers",
                "scan with the head level; on a hump a tree cannot be fitted",
            )


FLANK = 0.08
"""m, on an animal of 1.5 m: the outer edge of a bar lies about this far below the spine."""

SIDES = (("left", 1.0), ("right", -1.0))

LEAST_SIDE = 0.12
"""Share of one side, where a bar lies, that must be measured: less is half an animal. Between this
and all of it the quality card says how much is missing."""

ENOUGH_SIDE = 0.8
"""Below this share every result carries a caution: a bar cannot press where there is no surface, so
the pressure beside the gap comes out too high (a choice)."""

LITTLE_SEEN = (
    "The {} side was scanned over only {:.0f} % of where a bar lies; nothing presses on the rest "
    "here, so pressures on both sides are unsure. Scan that side again."
)

TREE_REACH = -0.45
"""m, on an animal of 1.5 m: a tree of ordinary length ends about here."""

HIGHEST_HUMP = 0.03
"""Rise of the spine over its chord from blade to loin, or fall in front of the withers, over the
withers height. Equine backs dip there, an arched one rises by about 0.01 (from memory); in front
of the withers the crest goes on nearly level or rises into the neck."""

BELLY_GUESSED = (
    "The belly is not in the scan: the girth that straps run round was completed with half an "
    "ellipse of usual depth."
)


def beside_a_wall(sheets: NDArray[np.float64] | None, frame: BodyFrame) -> bool:
    """Whether a sheet stands upright along the animal and none lies level.

    One flank alone, seen from its side, arches over like a back; then that sheet is the floor.
    """
    if sheets is None or not len(sheets):
        return False
    normals = sheets[:, :3] @ frame.T_body_scan[:3, :3].T
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    level = np.abs(normals[:, 2]) > UPRIGHT[1]
    along = (np.abs(normals[:, 2]) < UPRIGHT[0]) & (np.abs(normals[:, 1]) > UPRIGHT[1])
    return bool(along.any() and not level.any())


UPRIGHT = (np.sin(np.radians(30.0)), np.cos(np.radians(30.0)))
"""A sheet stands or lies level within 30 degrees of it: a flank taken for a back, of which the
program knows, was rolled by 106."""

FLOOR_OR_WALL = (
    "A flat sheet was scanned that stands upright beside the animal, as a wall would. If it is the "
    "floor, what was found is one flank and not the back: look at the pictures, and scan both "
    "sides and the top."
)
