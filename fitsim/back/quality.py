"""The quality card: how good a scan is where a tree lies, and what to scan again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from scipy import ndimage
from scipy.interpolate import RectBivariateSpline
from scipy.spatial import cKDTree

from fitsim.back.high_spots import BESIDE, HighSpots, high_spots
from fitsim.back.settling import FINE
from fitsim.back.standing import Standing, standing
from fitsim.scan.tracings import LOFTED

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Back, Chart
    from fitsim.back.coat import Coat
    from fitsim.scan.scan import Scan

BEARING = (-0.50, 0.06, 0.17)
"""m, on an animal of 1.5 m: a usual tree touches between these stations and this far down."""

GOOD_COVER = 0.95
"""Share of the bearing area measured below which it is to be scanned again."""

NOISY, UNEVEN = 0.002, 0.006
"""m: noise above which bumps press that are not there (peaks move by 8 % at 2 mm), and difference
between the sides that a stance or a muscle gives (from memory)."""

FINE_GRID, REACH = 0.0025, 0.02
"""m: surface points that scan points are compared with, and how far off they may be."""

FEW = 200
"""Scan points on the bearing area below which their noise cannot be told."""


Paragraph = Literal[
    "Without a scanner", "How the animal stands", "Distance", "The path", "Scale",
    "What spoils a scan",
]  # fmt: skip
"""Headings in docs/how-to-scan-a-back.md that advice points to."""


@dataclass(frozen=True)
class Advice:
    """One thing to do better.

    Attributes
    ----------
    what : sentence.
    paragraph : heading in docs/how-to-scan-a-back.md that says how.
    """

    what: str
    paragraph: Paragraph


@dataclass(frozen=True)
class QualityCard:
    """How good a scan is where a tree lies.

    Attributes
    ----------
    cover_left, cover_right : share of the bearing area that was measured, 0..1.
    noise_sd : m, of scan points along the normal about the smooth surface, finer than about
        50 mm; None where there are too few points to tell.
    holes : (k, 4) array: x, t, greatest width (m) and area (m2) of each part of the bearing area
        that was not measured, largest first.
    asymmetry : m, root mean square difference between the sides over the bearing area; None where
        one side is missing.
    fuller : "left", "right" or "", the side that stands out more.
    standing : how the animal stood, or None where that cannot be told; told, not corrected.
    unit_evidence : sentence.
    advice : what to scan again, most important first.
    spots : high spots, hollows and fat pockets found from shape.
    coat : the hair that was told, None where it was not.
    traced : lofted from tracings, which a curve on pressed hair gave: there is no coat in them.
    """

    cover_left: float
    cover_right: float
    noise_sd: float | None
    holes: NDArray[np.float64]
    asymmetry: float | None
    fuller: str
    standing: Standing | None
    unit_evidence: str
    advice: tuple[Advice, ...]
    spots: HighSpots
    coat: Coat | None = None
    traced: bool = False


def quality_of(scan: Scan, back: Back) -> QualityCard:
    """Judge a scan by the back found in it.

    Parameters
    ----------
    scan : Scan
        Cleaned; the one `back` was found in.
    back : Back

    Returns
    -------
    QualityCard
    """
    chart, scale = back.chart, back.withers_height / 1.5
    area = bearing_area(chart, scale)
    seen = chart.valid & ~chart.filled
    cover = [_share(chart, seen & area, sign, scale) for sign in (1.0, -1.0)]
    lofted = any(note.startswith(LOFTED) for note in scan.provenance.notes)
    noise = None if lofted else noise_sd(scan, back)
    holes = _holes(chart, area & ~seen)
    uneven, fuller = _asymmetry(chart, area & seen)
    evidence, stood = back.provenance.unit_evidence, standing(back)
    advice = _advice((cover[0], cover[1]), noise, holes, uneven, evidence)
    if stood is not None and _stood_badly(stood):
        advice = (*advice, _STAND_SQUARE)
    if lofted:
        advice = (_FROM_TRACINGS, *(a for a in advice if a != _TOO_FEW))
    return QualityCard(
        cover[0], cover[1], noise, holes, uneven, fuller, stood, evidence, advice, high_spots(back),
        back.coat, lofted,
    )  # fmt: skip


def bearing_area(chart: Chart, scale: float) -> NDArray[np.bool_]:
    """Nodes a usual tree may touch.

    Parameters
    ----------
    chart : Chart
    scale : float
        Size of the animal over one of 1.5 m.

    Returns
    -------
    (nx, nt) bool array
    """
    along = (chart.x > BEARING[0] * scale) & (chart.x < BEARING[1] * scale)
    across = (np.abs(chart.t) > 0.02) & (np.abs(chart.t) < BEARING[2] * scale)  # noqa: PLR2004 - a bar's inner edge at the closest
    return np.asarray(along[:, None] & across[None, :])


def noise_sd(scan: Scan, back: Back) -> float | None:
    """Standard deviation of the scan's points about the smooth surface, m.

    Parameters
    ----------
    scan : Scan
    back : Back

    Returns
    -------
    float or None
        None when there are too few points to tell.

    Notes
    -----
    From the median of the residuals' sizes, so that a few bumps do not count. The surface was
    smoothed out of the same points and follows each a little: for independent noise the residual's
    variance is 1 - 2.75 a / (2 pi w^2) of the noise's, with `a` the area a point stands for and
    `w` the width of the local quadratic smoother (whose transfer function is
    (1 + u) exp(-u), u = (w k)^2 / 2). That share is put back. Noise in waves longer than about
    50 mm is not told from shape. Where a coat was told, the surface is taken back out to the hair.
    """
    points = scan.vertices @ back.T_body_scan[:3, :3].T + back.T_body_scan[:3, 3]
    chart, scale = back.chart, back.withers_height / 1.5
    x = np.arange(max(BEARING[0] * scale, chart.x[0]), min(0.0, chart.x[-1]), FINE_GRID)
    beside = np.arange(BESIDE, BEARING[2] * scale, FINE_GRID)
    t = np.concatenate([-beside[::-1], beside])
    places, normals = (
        np.stack([RectBivariateSpline(chart.x, chart.t, field[..., k])(x, t) for k in range(3)], -1)
        for field in (chart.points, chart.normals)
    )
    places, normals = places.reshape(-1, 3), normals.reshape(-1, 3)
    if back.coat is not None:
        places = places + back.coat.allowance * normals  # the scan lies on the hair
    far, near = cKDTree(places).query(points, distance_upper_bound=REACH)
    found = np.isfinite(far)
    if found.sum() < FEW:
        return None
    near = np.asarray(near)[found]
    off = np.einsum("ij,ij->i", points[found] - places[near], normals[near])
    spread = 1.4826 * float(np.median(np.abs(off - np.median(off))))
    each = len(places) * FINE_GRID**2 / len(off)
    kept = max(1.0 - 2.75 * each / (2.0 * np.pi * FINE[1] ** 2), LEAST_KEPT)
    return float(spread / np.sqrt(kept))


LEAST_KEPT = 0.3
"""With a point less than every 20 mm the surface goes through nearly all: more is not put back."""


def _share(chart: Chart, seen: NDArray[np.bool_], sign: float, scale: float) -> float:
    """Share of one side that was measured; rows the chart does not reach were not."""
    side = np.abs(chart.t[(sign * chart.t > 0.02) & (sign * chart.t < BEARING[2] * scale)])  # noqa: PLR2004 - as above
    rows = (BEARING[1] - BEARING[0]) * scale / chart.spacing
    there = float(seen[:, sign * chart.t > 0].sum())
    return min(1.0, there / float(np.floor(rows) * len(side)))


def _holes(chart: Chart, missing: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Unmeasured parts of the bearing area, largest first."""
    parts, count = ndimage.label(missing)
    depth = ndimage.distance_transform_edt(missing) * chart.spacing
    rows = []
    for part in range(1, count + 1):
        cells = parts == part
        x, t = (np.broadcast_to(axis, cells.shape)[cells] for axis in (chart.x[:, None], chart.t))
        size = cells.sum() * chart.spacing**2
        rows.append([x.mean(), t.mean(), 2.0 * depth[cells].max(), size])
    return np.array(sorted(rows, key=lambda row: -row[3])).reshape(-1, 4)


def _asymmetry(chart: Chart, seen: NDArray[np.bool_]) -> tuple[float | None, str]:
    """Rms difference of the sides along the normal, and the side that stands out more."""
    both = seen & seen[:, ::-1] & (chart.t > 0)
    if both.sum() < 50:  # noqa: PLR2004 - 50 cm2
        return None, ""
    mirrored = chart.points[:, ::-1] * [1.0, -1.0, 1.0]
    out = np.einsum("xtc,xtc->xt", chart.points - mirrored, chart.normals)[both]
    mean = float(out.mean())
    fuller = "" if abs(mean) < 0.0005 else "left" if mean > 0 else "right"  # noqa: PLR2004 - half a millimetre
    return float(np.sqrt((out**2).mean())), fuller


def _advice(
    cover: tuple[float, float],
    noise: float | None,
    holes: NDArray[np.float64],
    uneven: float | None,
    evidence: str,
) -> tuple[Advice, ...]:
    """What to do better, most important first."""
    advice = [
        Advice(
            f"Only {100 * share:.0f} % of the {side} side's bearing area was measured: "
            f"scan the {side} side again.",
            "The path",
        )
        for side, share in zip(("left", "right"), cover, strict=True)
        if share < GOOD_COVER
    ]
    for x, t, width, _ in holes[holes[:, 2] > WIDE_HOLE]:
        where = "behind" if x < 0 else "in front of"
        advice.append(Advice(
            f"A hole {1e3 * width:.0f} mm wide lies {1e3 * abs(x):.0f} mm {where} the blade's rear "
            f"edge, {1e3 * abs(t):.0f} mm {'left' if t > 0 else 'right'} of the spine: "
            "pass over it again.",
            "What spoils a scan",
        ))  # fmt: skip
    if noise is None:
        advice.append(_TOO_FEW)
    elif noise > NOISY:
        advice.append(Advice(
            f"The points scatter by {1e3 * noise:.1f} mm: scan closer, slower, on a still animal.",
            "Distance",
        ))  # fmt: skip
    if uneven is not None and uneven > UNEVEN:
        advice.append(Advice(
            f"Left and right differ by {1e3 * uneven:.0f} mm: let it stand square and scan again; "
            "if it stays, have a veterinarian look at it.",
            "How the animal stands",
        ))  # fmt: skip
    if not evidence.startswith(("Told", "The heading", "The file format")):
        advice.append(Advice("The scale was not told: measure one distance.", "Scale"))
    return tuple(advice)


def _stood_badly(stood: Standing) -> bool:
    """Whether hips or spine are surely off, and by enough to matter under a tree."""
    tilt = abs(stood.hip_tilt) > max(TILTED, 2.0 * stood.hip_tilt_sd)
    return tilt or abs(stood.bend) > max(BENT, 2.0 * stood.bend_sd)


TILTED, BENT = float(np.radians(2.0)), 0.010
"""rad and m: a stance off by more is to be scanned again (a choice: 2 degrees lift one side of a
bar 100 mm from the spine by 3.5 mm)."""

_STAND_SQUARE = Advice(
    "It stood with a hip dropped or its back bent, and a tree is fitted to it as it stood: let it "
    "stand square and scan again; if it stays, have a veterinarian look at it.",
    "How the animal stands",
)

_TOO_FEW = Advice("Too few points to tell the noise: scan closer.", "Distance")
_FROM_TRACINGS = Advice(
    "The surface was lofted from tracings: between and beyond them nothing was measured, "
    "see the notes.",
    "Without a scanner",
)

WIDE_HOLE = 0.02
"""m: a hole narrower than this hides nothing that a bar would press on."""
