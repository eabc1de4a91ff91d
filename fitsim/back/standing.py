"""How the animal stood: hips tilted against the withers, spine bent to one side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.level import huber_fit

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Back, Chart

STATIONS = (-0.65, -0.40, -0.15, 0.10)
"""m, on an animal of 1.5 m: the tilt of the sections is told at each, from the hips (the first) to
the withers (the last), and runs straight between them."""

OUT_OF_SCAN = 0.08
"""m, on an animal of 1.5 m: a scan that ends this far short of hips or withers tells neither."""

FEWEST = 0.25
"""Share of the places beside the spine, hips to withers, that must be measured on both sides."""

BLOCK = 0.08
"""m: noise and muscle are alike within a patch of this size and independent beyond it (a
choice)."""

APART = 0.020
"""m: half the difference of the sides beyond this counts less: a hand or a fold, not a stance."""

NOT_STANCE = 0.002
"""m: sd of what half the difference of the sides has in each patch that is no stance: muscle, a
fuller side, a tilt that does not grow evenly. Chosen so that on 16 made-up backs, left side fuller
by 1 mm (sd 3 mm), tilts up to 6 degrees and bends up to 20 mm, the truth lay within 2 sd.
No source for real animals."""

BEND_BY_TILT = float(0.001 / np.radians(1.0))
"""m per rad: a tilt that begins behind the ribs only passes for a bend of about this size (found on
the same backs)."""


@dataclass(frozen=True)
class Standing:
    """How an animal stood in the scan. Nothing is corrected for it.

    Attributes
    ----------
    hip_tilt : rad, of the hips against the withers about the long axis; positive: the right hip
        is the lower one.
    hip_tilt_sd : rad.
    bend : m, how far the middle of the back lies to the left of the straight line from the
        withers to the hips; negative: to the right.
    bend_sd : m.
    """

    hip_tilt: float
    hip_tilt_sd: float
    bend: float
    bend_sd: float


def standing(back: Back) -> Standing | None:
    """Tell tilted hips and a bent spine from how left and right differ along the back.

    Parameters
    ----------
    back : Back

    Returns
    -------
    Standing or None
        None where hips or withers are not in the scan, or too little of one side is.

    Notes
    -----
    A section moved sideways by d, square to the bent spine, and tilted by a about it differs from
    its mirror image by 2 (d n_y - d' y n_x + a (y n_z - z n_y)) along the normal n, z from the
    spine. d is a parabola of the
    station and `a` straight between `STATIONS`; Huber-weighted least squares over all pairs, with
    the covariance that is robust to errors alike within patches (Liang and Zeger 1986, Biometrika
    73:13-22, from memory) and to `NOT_STANCE`. A round section tilted about the spine moves as if
    aside, so on a broad back the tilt is less sure.
    """
    chart, scale = back.chart, back.withers_height / 1.5
    stations = scale * np.array(STATIONS)
    short = OUT_OF_SCAN * scale
    if chart.x[0] > stations[0] + short or chart.x[-1] < stations[-1] - short:
        return None
    inside = (chart.x > stations[0] - short) & (chart.x < stations[-1] + short)
    use = _pairs(chart) & inside[:, None]
    if use.sum() < FEWEST * inside.sum() * (chart.t > 0).sum():
        return None
    x, t = (np.broadcast_to(axis, use.shape)[use] for axis in (chart.x[:, None], chart.t))
    effects, uneven = _effects(chart, use, x, stations)
    moves, spread = _fitted(effects, uneven, _blocks(x, t))
    ways = np.zeros((2, len(moves)))
    ways[0, [3, -1]] = [1.0, -1.0]
    ways[1, 2] = 1.0
    (tilt, bend), sd = ways @ moves, np.sqrt(np.diag(ways @ spread @ ways.T))
    bend_sd = float(np.hypot(sd[1], BEND_BY_TILT * tilt))
    return Standing(float(tilt), float(sd[0]), float(bend), bend_sd)


def _pairs(chart: Chart) -> NDArray[np.bool_]:
    """Nodes on the left that were measured, and whose partners on the right were."""
    seen = chart.valid & ~chart.filled
    return np.asarray(seen & seen[:, ::-1] & (chart.t > 0))


def _effects(
    chart: Chart, use: NDArray[np.bool_], x: NDArray[np.float64], stations: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What each move does to half the difference of the sides: (n, 7), and that half, (n,), m.

    The moves: aside, yaw, bend, then the tilt at each station.
    """
    mirrored = chart.points[:, ::-1] * [1.0, -1.0, 1.0]
    normals = chart.normals + chart.normals[:, ::-1] * [1.0, -1.0, 1.0]
    size = np.linalg.norm(normals, axis=-1, keepdims=True)
    normals = normals / np.maximum(size, np.finfo(float).tiny)  # none where nothing was scanned
    half = 0.5 * np.einsum("xtc,xtc->xt", chart.points - mirrored, normals)[use]
    place, normal = 0.5 * (chart.points + mirrored), normals[use]
    height = (place[..., 2] - chart.points[:, [len(chart.t) // 2], 2])[use]
    turn = place[..., 1][use] * normal[:, 2] - height * normal[:, 1]
    u = (2.0 * x - stations[0] - stations[-1]) / (stations[-1] - stations[0])
    by_x = 2.0 / (stations[-1] - stations[0])
    shift = np.column_stack([np.ones_like(u), u, 1.0 - u**2])
    yaw = by_x * np.column_stack([np.zeros_like(u), np.ones_like(u), -2.0 * u])
    aside = normal[:, [1]] * shift - (place[..., 1][use] * normal[:, 0])[:, None] * yaw
    hats = np.column_stack([np.interp(x, stations, one) for one in np.eye(len(stations))])
    return np.column_stack([aside, turn[:, None] * hats]), half


def _blocks(x: NDArray[np.float64], t: NDArray[np.float64]) -> NDArray[np.int_]:
    """Number of the patch each pair lies in."""
    row, column = (np.floor(axis / BLOCK).astype(int) for axis in (x, t))
    return np.asarray(np.unique(row * 1000 + column, return_inverse=True)[1])


def _fitted(
    effects: NDArray[np.float64], uneven: NDArray[np.float64], block: NDArray[np.int_]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The moves that explain the difference best, and their covariance."""
    moves = -huber_fit(effects, uneven, APART)
    left = uneven - effects @ moves
    weight = np.minimum(1.0, APART / np.maximum(np.abs(left), 1e-9))
    inverse = np.linalg.pinv((effects * weight[:, None]).T @ effects)
    pulls, reach = np.zeros((2, int(block.max()) + 1, effects.shape[1]))
    np.add.at(pulls, block, effects * (weight * left)[:, None])
    np.add.at(reach, block, effects * weight[:, None])
    middle = pulls.T @ pulls + NOT_STANCE**2 * reach.T @ reach
    return moves, np.asarray(inverse @ middle @ inverse)
