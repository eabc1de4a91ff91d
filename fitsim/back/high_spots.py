"""High spots and hollows: where the back stands off a smooth, symmetric one, and fat pockets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from scipy import ndimage

from fitsim.back.marks import POCKET_CENTRE, POCKET_HALF
from fitsim.back.smooth_back import BAR, smooth_back

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fitsim.back.back import Back, Chart

Side = Literal["left", "right"]

BESIDE = 0.03
"""m: nearer to the spine line the back is not judged: the spine itself stands out of it."""

REGION = (-0.50, 0.20)
"""m, on an animal of 1.5 m: stations the smooth back is laid through."""

BEARING = (-0.50, 0.0, 0.20)
"""m, on an animal of 1.5 m: spots are named between these stations and this far down."""

LEAST, SMALLEST = 0.004, 0.0010
"""m, m2: a spot lower or smaller than this is within what noise and anatomy do. On generated
backs with 1.1 mm of noise and no fat pocket 1.5 mm are left where one would be."""

POCKET_LEAST = 0.003
"""m: a fat pocket lower than this is not told from none."""

SEARCH = (0.06, 0.05)
"""m, on an animal of 1.5 m: how far along and across from its usual place it is looked for."""


@dataclass(frozen=True)
class Spot:
    """One place where the back stands off the smooth one.

    Attributes
    ----------
    side : "left" or "right".
    x, t : float, m: chart coordinates of its middle.
    height : float, m: greatest, outward; below 0 a hollow.
    area : float, m2: of the part beyond `LEAST`; for a pocket, of the part above half its height.
    """

    side: Side
    x: float
    t: float
    height: float
    area: float


@dataclass(frozen=True)
class HighSpots:
    """What stands off a smooth, symmetric back.

    Attributes
    ----------
    height : (nx, nt) array, m, on the chart; NaN over the spine, outside the region judged, and
        where nothing was measured.
    spots : highest first, then hollows, deepest last.
    pockets : fat pocket by side, or None where the shape shows none.
    """

    height: NDArray[np.float64]
    spots: tuple[Spot, ...]
    pockets: Mapping[Side, Spot | None]


def high_spots(back: Back) -> HighSpots:
    """Find high spots, hollows and fat pockets from the shape alone.

    Evidence beside the marks: no mark is moved by it.

    Parameters
    ----------
    back : Back

    Returns
    -------
    HighSpots
    """
    scale = back.withers_height / 1.5
    halves = _Halves.of(back.chart, scale, 1)
    both = smooth_back(halves.points, halves.measured, halves.wave)
    shown = np.where(halves.measured, both.height, np.nan)
    height = np.full(back.chart.valid.shape, np.nan)
    height[np.ix_(halves.rows, halves.columns[0])] = shown[..., 0]
    height[np.ix_(halves.rows, halves.columns[1])] = shown[..., 1]
    halves = _Halves.of(back.chart, scale, max(1, round(0.010 / back.chart.spacing)))
    pockets: dict[Side, Spot | None] = {
        side: _pocket(halves, k, side, scale) for k, side in enumerate(SIDES)
    }
    return HighSpots(height, _spots(back.chart, height, scale), pockets)


SIDES: tuple[Side, Side] = ("left", "right")


@dataclass(frozen=True)
class _Halves:
    """Left and right half of the chart, both seen as left, every `stride` nodes."""

    x: NDArray[np.float64]
    t: NDArray[np.float64]
    points: NDArray[np.float64]
    normals: NDArray[np.float64]
    measured: NDArray[np.bool_]
    rows: NDArray[np.intp]
    columns: tuple[NDArray[np.intp], NDArray[np.intp]]
    wave: float

    @staticmethod
    def of(chart: Chart, scale: float, stride: int) -> _Halves:
        """The halves beside the spine, as far along as the smooth back is laid."""
        along = (chart.x > REGION[0] * scale) & (chart.x < REGION[1] * scale)
        rows = np.flatnonzero(along)[::stride]
        left = np.flatnonzero(chart.t > BESIDE - 1e-9)[::stride]
        columns = left, len(chart.t) - 1 - left
        points, normals = (
            np.stack(
                [field[np.ix_(rows, columns[0])], field[np.ix_(rows, columns[1])] * MIRROR], axis=-1
            )
            for field in (chart.points, chart.normals)
        )
        seen = chart.valid & ~chart.filled
        measured = np.stack([seen[np.ix_(rows, c)] for c in columns], axis=-1)
        wave = BAR * scale / (stride * chart.spacing)
        x, t = chart.x[rows], chart.t[left]
        return _Halves(x, t, points, normals, measured, rows, columns, wave)


MIRROR = np.array([1.0, -1.0, 1.0])


def _pocket(halves: _Halves, k: int, side: Side, scale: float) -> Spot | None:
    """The fat pocket of one side: the bump that, taken away, leaves a smooth back.

    A bump pulls the smooth back up under it, so its height over that is too small by about half.
    Instead a bump of the usual size is taken off the back until nothing stands out any more; then
    it is looked for again, since the smooth back is now free of it.
    """
    x, t = np.meshgrid(halves.x, halves.t, indexing="ij")
    seen = halves.measured[..., k]
    offset = (x / scale - POCKET_CENTRE[0], t / scale - POCKET_CENTRE[1])
    near = seen & (np.abs(offset[0]) < SEARCH[0]) & (np.abs(offset[1]) < SEARCH[1])
    if near.sum() < 20:  # noqa: PLR2004 - a fifth of the window
        return None
    peeled = _Peeled(halves, k)
    height, bump = 0.0, np.zeros(x.shape)
    place = (0.0, 0.0)
    for _ in range(2):
        over = ndimage.gaussian_filter(peeled.left(height, bump) + height * bump, 1.5)
        found = _middle(over, near, x, t)
        if found is None:
            return None
        place = found
        radius = np.hypot((x - place[0]) / POCKET_HALF[0], (t - place[1]) / POCKET_HALF[1])
        bump = 2.0 ** (-((radius / scale) ** 2))
        height = _taken_off(peeled, bump, seen, height)
    if height < POCKET_LEAST:
        return None
    area = float(np.pi * POCKET_HALF[0] * POCKET_HALF[1] * scale**2)
    sign = 1.0 if side == "left" else -1.0
    return Spot(side, place[0], sign * place[1], height, area)


class _Peeled:
    """One side's deviation from its own smooth back after a bump was taken off."""

    def __init__(self, halves: _Halves, k: int) -> None:
        self._halves, self._k = halves, slice(k, k + 1)
        self._pull: NDArray[np.float64] | None = None

    def left(self, height: float, bump: NDArray[np.float64]) -> NDArray[np.float64]:
        """What still stands off, (nx, nt) m, when `height` times `bump` is gone."""
        halves, k = self._halves, self._k
        taken = halves.points[..., k] - height * bump[..., None, None] * halves.normals[..., k]
        rounds = {} if self._pull is None else {"pull": self._pull, "rounds": 3}
        smooth = smooth_back(taken, halves.measured[..., k], halves.wave, **rounds)  # type: ignore[arg-type]
        self._pull = smooth.pull
        return smooth.height[..., 0]


def _taken_off(
    peeled: _Peeled, bump: NDArray[np.float64], seen: NDArray[np.bool_], height: float
) -> float:
    """Height at which nothing of the bump is left, m: one step of the secant method."""
    weight = bump**2 * seen

    def rest(trial: float) -> float:
        left = peeled.left(trial, bump)
        return float((left * weight).sum() / (bump * weight).sum())

    first = rest(height)
    second_height = height + 2.0 * first  # about half of a bump shows, see `_pocket`
    second = rest(second_height)
    if abs(second - first) < 1e-7:  # noqa: PLR2004 - a tenth of a micrometre: no bump at all
        return second_height
    step = second * (second_height - height) / (second - first)
    return float(np.clip(second_height - step, 0.0, HIGHEST))


HIGHEST = 0.030
"""m: a fat pocket stands out less than this (from memory)."""


def _middle(
    over: NDArray[np.float64],
    near: NDArray[np.bool_],
    x: NDArray[np.float64],
    t: NDArray[np.float64],
) -> tuple[float, float] | None:
    """Middle of the highest part of the window; None where the top lies on the window's rim."""
    inner = ndimage.binary_erosion(near)
    top = float(over[near].max())
    if not inner.any() or over[inner].max() < top or top <= 0.0:
        return None  # it rises on beyond: the blade's edge, not a pocket
    weight = np.where(near & (over > 0.6 * top), over, 0.0)
    total = float(weight.sum())
    return float((x * weight).sum() / total), float((t * weight).sum() / total)


def _spots(chart: Chart, height: NDArray[np.float64], scale: float) -> tuple[Spot, ...]:
    """Connected parts of the bearing area that stand off, highest first."""
    along = (chart.x > BEARING[0] * scale) & (chart.x < BEARING[1] * scale)
    across = np.abs(chart.t) < BEARING[2] * scale
    judged = np.where(along[:, None] & across[None, :], np.nan_to_num(height), 0.0)
    spots = []
    for sign in (1.0, -1.0):
        parts, count = ndimage.label(sign * judged > LEAST)
        for part in range(1, count + 1):
            nodes = np.argwhere(parts == part)
            area = float(chart.area[tuple(nodes.T)].sum())
            if area < SMALLEST:
                continue
            top = nodes[np.argmax(np.abs(judged[tuple(nodes.T)]))]
            t = float(chart.t[top[1]])
            side: Side = "left" if t > 0 else "right"
            spots.append(Spot(side, float(chart.x[top[0]]), t, float(judged[tuple(top)]), area))
    return tuple(sorted(spots, key=lambda spot: -spot.height))
