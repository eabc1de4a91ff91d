"""Stickers, chalk spots and chalk lines found on a scan by their colour."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from fitsim.scan.cells import cells_of
from fitsim.scan.chalk import pieces_along
from fitsim.scan.colour import DARKEST, Colour, brown, chroma, hue, named
from fitsim.scan.ranked import ranked

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.scan.scan import Scan

WIDTH: Final = (0.010, 0.050)
"""m: spots of 15 to 40 mm, with room for soft edges. What is narrower than the first is a speck."""
LARGEST: Final = 0.080
"""m: wider things are rugs and ropes, not spots to be spoken of."""
LINE: Final = (0.060, 0.800)
"""m: shortest and longest line that is taken for one drawn with chalk; straps are longer."""
THICKEST: Final = 0.030
"""m: a chalk line is 10 to 20 mm thick (from memory), with room for soft edges."""
COARSEST: Final = 0.010
"""m: with points farther apart a sticker of 15 mm is two of them at most."""
LAID: Final = 0.002
"""m: how well scanners lay the colour on the shape, one standard deviation (from memory)."""

_CELL: Final = 0.040  # m: the hide's own colour is taken over cells of this width
_CELLS: Final = 14  # nearest cells, whose middle colour it is; a sticker fills one or two of them
_UNLIKE: Final = 0.22  # of chroma: so far from the hide around is another colour
_NOISE: Final = 5.0  # the same in terms of the quarter of the hide's points that lie nearest it
_ALIKE: Final = 0.35  # of chroma, between neighbours of one spot
_PALE: Final = 0.50  # saturation of a sticker at the least; shade and sky give grey hides 0.3
_PALE_YELLOW: Final = 0.70  # the same of yellow; dung, straw and stains have 0.5
_PALEST: Final = 0.8  # of these: below it nothing is said of a spot either
_DIM: Final = 60.0  # of 255: what is darker may owe its hue to noise
_DULL: Final = 0.40  # brightness over that of the hide around: less is a stain
_DULL_YELLOW: Final = 0.75  # the same of yellow; dung and grass are dark yellow
_ROUND: Final = 0.50  # shortest over longest width
_FULL: Final = 0.60  # of the ellipse that it spans
_ALONE: Final = 0.20  # of its colour in the ring around
_CORE: Final = 0.7  # of the way from the hide's colour to its own
_FAINT: Final = 0.15  # of the same: the hide's own unevenness
_RING: Final = 0.015  # m
_LEAST: Final = 3  # points of a spot's core


@dataclass(frozen=True)
class Blob:
    """A spot of another colour than the hide around it.

    Attributes
    ----------
    colour : the nearest of the colours that a sticker may have.
    place : (3,) array, of its middle, in the frame and unit of the scan.
    sd_m : m, standard deviation of the middle along the skin, in each direction.
    width_m : m, of the disc with its area.
    doubt : why it is not taken for a sticker; nothing where it is one.
    line : number of the chalk line that it is a piece of; 0 for a spot by itself.
    """

    colour: Colour
    place: NDArray[np.float64]
    sd_m: float
    width_m: float
    doubt: str = ""
    line: int = 0


def blobs_of(scan: Scan, metre: float = 1.0) -> tuple[Blob, ...]:
    """Find the spots of a scan that look like stickers, and those that nearly do.

    A spot is told from the hide by its hue and saturation, not its brightness, and against the
    hide within about 0.1 m around it, so that spotted coats, shade and lamps do not matter.

    Parameters
    ----------
    scan : Scan
        Cleaned, with colours.
    metre : float
        Metres per unit of its coordinates.

    Returns
    -------
    tuple of Blob
        Clear ones, and unclear ones against which one thing speaks; specks, what is brown and that
        against which two things speak are left out. Empty where the
        scan has no colours or its points lie farther apart than `COARSEST`.

    Notes
    -----
    The middle is the mean of the points weighted by how far their colour lies from the hide's
    towards the spot's own, w from 0 to 1. For n = (sum w)^2 / sum w^2 points strewn over a disc of
    radius r it has a variance of r^2 / (4 n) in each direction, to which `LAID` squared is added.
    """
    points, colours = painted_points(scan)
    if colours is None or len(points) < _CELLS:
        return ()
    points = points * metre
    tree = cKDTree(points, balanced_tree=False)
    spacing = _spacing(tree)
    if spacing > COARSEST:
        return ()
    look = _Look(points, colours, spacing, tree)
    found = []
    for number, rows in enumerate(look.groups(), 1):
        found += [replace(b, line=number) for b in look.line(rows)] or look.spot(rows)
    return tuple(replace(blob, place=blob.place / metre) for blob in found)


def painted_points(scan: Scan) -> tuple[NDArray[np.float64], NDArray[np.uint8] | None]:
    """The points of a scan that have a colour: of its picture where that is finer than its corners.

    Parameters
    ----------
    scan : Scan

    Returns
    -------
    points : (n, 3) array, unit of the scan.
    colours : (n, 3) uint8 array or None
    """
    if scan.paint is None:
        return scan.vertices, scan.colours
    # Of the room that cleaning took away the picture still shows everything
    tree = cKDTree(scan.vertices, balanced_tree=False)
    reach = 2.0 * _spacing(tree)
    far, _ = tree.query(scan.paint.points, distance_upper_bound=reach, workers=2)
    kept = np.isfinite(far)
    return scan.paint.points[kept], scan.paint.colours[kept]


def _spacing(tree: cKDTree) -> float:
    """Usual distance of neighbours, from how many lie in the disc that holds six."""
    some = tree.data[:: max(1, tree.n // 3_000)]
    far = np.asarray(tree.query(some, k=7)[0])[:, -1]
    return float(np.median(far) * np.sqrt(np.pi / 6.0))


class _Look:
    """Coloured points with what is needed to judge one spot after another."""

    def __init__(
        self, points: NDArray[np.float64], colours: NDArray[np.uint8], spacing: float, tree: cKDTree
    ) -> None:
        self.points, self.colours, self.spacing, self.tree = points, colours, spacing, tree
        self.value = colours.max(axis=1).astype(np.float64)
        self.plane = chroma(colours)
        self.hide, self.hide_value, self.unlike = self._hide()

    def _hide(self) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Chroma and brightness of the hide around each point, and what is unlike it."""
        where, middle = cells_of(self.points, _CELL)
        near = np.asarray(cKDTree(middle).query(middle, k=min(_CELLS, len(middle)))[1])
        near = near.reshape(len(middle), -1)

        def around(values: NDArray[np.float64], part: float) -> NDArray[np.float64]:
            return np.median(ranked(values, where, len(middle), part)[near], axis=1)[where]

        plane = np.column_stack([around(self.plane[:, 0], 0.5), around(self.plane[:, 1], 0.5)])
        scatter = around(np.linalg.norm(self.plane - plane, axis=1), 0.25)
        return plane, around(self.value, 0.5), np.maximum(_UNLIKE, _NOISE * scatter)

    def groups(self) -> list[NDArray[np.intp]]:
        """Points unlike the hide around them, by what hangs together."""
        off = np.linalg.norm(self.plane - self.hide, axis=1)
        unlike = np.flatnonzero((off > self.unlike) & (self.value >= DARKEST))
        if len(unlike) < _LEAST:
            return []
        reach = max(2.5 * self.spacing, 0.004)
        pairs = cKDTree(self.points[unlike]).query_pairs(reach, output_type="ndarray")
        step = self.plane[unlike[pairs[:, 0]]] - self.plane[unlike[pairs[:, 1]]]
        pairs = pairs[np.linalg.norm(step, axis=1) < _ALIKE]
        graph = coo_array((np.ones(len(pairs)), pairs.T), shape=(len(unlike), len(unlike)))
        count, label = connected_components(graph, directed=False)
        order = np.argsort(label, kind="stable")
        parts = np.split(unlike[order], np.searchsorted(label[order], np.arange(1, count)))
        return [part for part in parts if len(part) >= _LEAST]

    def _reach(self, rows: NDArray[np.intp]) -> float:
        """Size of a group corner to corner, m."""
        return float(np.linalg.norm(np.ptp(self.points[rows], axis=0)))

    def _tint(self, rows: NDArray[np.intp]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Chroma of the hide around a group, and of those of its points that are least like it."""
        hide = np.median(self.hide[rows], axis=0)
        off = np.linalg.norm(self.plane[rows] - hide, axis=1)
        return hide, np.median(self.plane[rows[off >= np.median(off)]], axis=0)

    def line(self, rows: NDArray[np.intp]) -> list[Blob]:
        """Places along a chalk line; none where a group is no line of a clear colour."""
        if not WIDTH[1] < self._reach(rows) < LINE[1]:
            return []
        tint = self._tint(rows)
        weight = self._weight(rows, *tint)
        core = rows[weight > _CORE]
        pieces, length = pieces_along(self.points[rows], max(2.5 * self.spacing, 0.004))
        thick = float(weight.sum()) * self.spacing**2 / max(length, self.spacing)
        if len(core) < _LEAST or thick > THICKEST or not LINE[0] <= length <= LINE[1]:
            return []
        mean = self.colours[core].mean(axis=0)
        plane, value = chroma(mean[None])[0], float(mean.max())
        light = value, value / max(1.0, float(np.median(self.hide_value[rows])))
        if brown(hue(plane)) or _off_colour(plane, light) or self._beside(rows, tint) > _ALONE:
            return []
        places = [self._piece(rows[piece], weight[piece]) for piece in pieces]
        colour = named(hue(plane))[0]
        return [Blob(colour, *place, thick) for place in places if place is not None]

    def _beside(
        self, rows: NDArray[np.intp], tint: tuple[NDArray[np.float64], NDArray[np.float64]]
    ) -> float:
        """How much of a line's colour lies beside it: the rim of a rug has the rug there."""
        low, high = self.points[rows].min(axis=0) - _RING, self.points[rows].max(axis=0) + _RING
        near = np.flatnonzero(((self.points > low) & (self.points < high)).all(axis=1))
        far, _ = cKDTree(self.points[rows]).query(self.points[near])
        beside = near[(far > 2.0 * self.spacing) & (far < 2.0 * self.spacing + _RING)]
        return float(self._weight(beside, *tint).mean()) if len(beside) else 0.0

    def _piece(
        self, rows: NDArray[np.intp], weight: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], float] | None:
        """Middle of a piece of a line and how sure that is across it, m; None for a scrap."""
        if (weight > _CORE).sum() < _LEAST:
            return None
        shape = _shape(self.points[rows], weight, self.spacing)
        across = shape.sd * shape.shortest / shape.longest
        return shape.middle, float(np.hypot(across, LAID))

    def spot(self, rows: NDArray[np.intp]) -> list[Blob]:
        """One group judged: a spot, a doubtful one, or nothing to speak of."""
        if self._reach(rows) >= 2.0 * LARGEST:
            return []
        hide, core = self._tint(rows)
        near = np.array(self.tree.query_ball_point(self.points[rows].mean(axis=0), LARGEST))
        weight = self._weight(near, hide, core)
        inside = self._inside(near, rows) & (weight > _FAINT)
        if (weight[inside] > _CORE).sum() < _LEAST:
            return []
        shape = _shape(self.points[near[inside]], weight[inside], self.spacing)
        if shape.width < WIDTH[0] or shape.longest > LARGEST:
            return []
        plane, value = self._own(near[inside & (weight > _CORE)], shape)
        light = value, value / max(1.0, float(np.median(self.hide_value[rows])))
        doubts = _doubts(shape, plane, light, self._around(near, weight, shape))
        if brown(hue(plane)) or len(doubts) > 1 or _washed_out(plane):
            return []
        sd = float(np.hypot(shape.sd, LAID))
        return [Blob(named(hue(plane))[0], shape.middle, sd, shape.width, next(iter(doubts), ""))]

    def _own(self, core: NDArray[np.intp], shape: _Shape) -> tuple[NDArray[np.float64], float]:
        """Chroma and brightness of a spot's middle, averaged before noise can lend it colour."""
        far = np.linalg.norm(self.points[core] - shape.middle, axis=1)
        count = max(_LEAST, int((far < shape.width / 3.0).sum()))
        mean = self.colours[core[np.argsort(far)[:count]]].mean(axis=0)
        return chroma(mean[None])[0], float(mean.max())

    def _weight(
        self, near: NDArray[np.intp], hide: NDArray[np.float64], core: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """How far the colour of each point lies from the hide's to the spot's, 0 to 1."""
        way = core - hide
        from_hide = self.plane[near] - hide
        weight = np.clip(from_hide @ way / (way @ way), 0.0, 1.0)
        aside = np.linalg.norm(from_hide - weight[:, None] * way, axis=1) > _UNLIKE
        weight[aside | (self.value[near] < DARKEST)] = 0.0
        return weight

    def _inside(self, near: NDArray[np.intp], rows: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Points that lie in the group or on its soft edge."""
        far, _ = cKDTree(self.points[rows]).query(self.points[near])
        return np.asarray(far < 1.5 * self.spacing)

    def _around(self, near: NDArray[np.intp], weight: NDArray[np.float64], shape: _Shape) -> float:
        """How much of the spot's colour lies in the ring around it."""
        rim = 0.5 * shape.longest + 2.0 * self.spacing
        far = np.linalg.norm(self.points[near] - shape.middle, axis=1)
        ring = (far > rim) & (far < rim + _RING)
        return float(weight[ring].mean()) if ring.any() else 0.0


class _Shape(NamedTuple):
    """Of a spot, m."""

    middle: NDArray[np.float64]
    width: float
    longest: float
    shortest: float
    sd: float


def _shape(points: NDArray[np.float64], weight: NDArray[np.float64], spacing: float) -> _Shape:
    """Middle and size of weighted points that are spread evenly over a spot."""
    total = weight.sum()
    middle = weight @ points / total
    off = (points - middle) * np.sqrt(weight / total)[:, None]
    # A disc's points vary by a sixteenth of its width squared in each direction
    longest, shortest = 4.0 * np.linalg.svd(off, compute_uv=False)[:2]
    width = 2.0 * float(np.sqrt(total / np.pi)) * spacing
    count = total**2 / (weight**2).sum()
    return _Shape(middle, width, longest, shortest, float(longest / 4.0 / np.sqrt(count)))


def _palest(colour: Colour) -> float:
    return _PALE_YELLOW if colour == "yellow" else _PALE


def _washed_out(plane: NDArray[np.float64]) -> bool:
    """Whether a colour is so pale that it is the hide's, dust or a stain."""
    return float(np.linalg.norm(plane)) < _PALEST * _palest(named(hue(plane))[0])


def _doubts(
    shape: _Shape, core: NDArray[np.float64], light: tuple[float, float], around: float
) -> list[str]:
    """What speaks against a sticker, by its colour, its light (see `_off_colour`) and its shape."""
    full = shape.width**2 / (shape.longest * shape.shortest)
    reasons = {
        f"it is {1e3 * shape.longest:.0f} mm long": shape.longest > WIDTH[1],
        "it is a streak": shape.shortest < _ROUND * shape.longest,
        "it is ragged or hollow": full < _FULL,
        "it runs out into what is around it": around > _ALONE,
    }
    return _off_colour(core, light) + [words for words, holds in reasons.items() if holds]


def _off_colour(plane: NDArray[np.float64], light: tuple[float, float]) -> list[str]:
    """What speaks against a colour; `light` is its brightness, and that over the hide's."""
    colour, sure = named(hue(plane))
    dull = _DULL_YELLOW if colour == "yellow" else _DULL
    reasons = {
        "its colour lies between two": not sure,
        "its colour is pale": float(np.linalg.norm(plane)) < _palest(colour),
        "it is dark like a stain": light[1] < dull,
        "it lies too dark to tell its colour": light[0] < _DIM,
    }
    return [words for words, holds in reasons.items() if holds]
