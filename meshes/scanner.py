"""What a hand-held scanner makes of a hide: uneven triangles, noise, holes, ragged ends, colour."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import Delaunay
from scipy.spatial.transform import Rotation

from meshes.hide import chalk_spots, colours, random_field

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from meshes.surface import Surface

    Floats = NDArray[np.float64]

FRONT, REAR, LOWER = 0.395, -0.905, 0.575
"""m at the reference height: where the scanner stopped, before raggedness."""
NOISE = 0.0011
"""m: standard deviation of a scanned point along the normal."""
GIRTH_FROM, GIRTH_TO = -0.60, 0.20
"""m: stations between which `whole_girth` closes the barrel."""


@dataclass(frozen=True)
class RawScan:
    """A scan as it would leave a scanner, and the placement only its maker knows.

    Attributes
    ----------
    vertices : (n, 3) float32 array, m, scanner's frame.
    triangles : (m, 3) int32 array, counter-clockwise seen from outside.
    colours : (n, 3) uint8 array.
    T_scan_body : (4, 4) array; point_scan = T_scan_body @ point_body.
    holes : (k, 3) array, m: x, t and radius of each hole, body frame.
    """

    vertices: NDArray[np.float32]
    triangles: NDArray[np.int32]
    colours: NDArray[np.uint8]
    T_scan_body: NDArray[np.float64]
    holes: NDArray[np.float64]


def scan(
    hide: Surface,
    *,
    triangles: int = 80_000,
    noise: float = NOISE,
    holes: int = 6,
    whole_girth: bool = False,
    clutter: bool = False,
    placed: bool = True,
    seed: int = 0,
) -> RawScan:
    """Scan a hide.

    Parameters
    ----------
    hide : the noise-free surface.
    triangles : about how many.
    noise : m, standard deviation along the normal, in equal parts per point, 15 mm and 60 mm wide.
    holes : how many, 20 to 60 mm across, both sides.
    whole_girth : close the barrel under the belly between x = -0.60 and +0.20 (at 1.45 m).
    clutter : add floor and two walls, and points floating about.
    placed : put it anywhere in space, any way up; else the scan stays in the body frame.
    seed : everything random follows from it, and edges and holes not from `triangles`.

    Returns
    -------
    RawScan
    """
    edges, dots, placing, rough = np.random.default_rng(seed).spawn(4)
    gaps = _holes(hide, edges, holes)
    seen = _field_of_view(hide, edges, gaps, whole_girth=whole_girth)
    x, t, faces = _triangulated(hide, dots, seen, triangles, whole_girth=whole_girth)
    points = hide.points(x, t) + hide.normals(x, t) * _noise(rough, x, t, noise)[:, None]
    paint = colours(hide, x, t, chalk_spots(hide))
    if clutter:
        points, faces, paint = _with_clutter(placing, hide, (points, faces, paint), noise)
    T_scan_body = _placement(placing) if placed else np.eye(4)
    points = points @ T_scan_body[:3, :3].T + T_scan_body[:3, 3]
    return RawScan(points.astype(np.float32), faces.astype(np.int32), paint, T_scan_body, gaps)


def _holes(hide: Surface, rng: np.random.Generator, count: int) -> Floats:
    k = hide.animal.scale
    x, t = rng.uniform(-0.8, 0.3, count) * k, rng.uniform(0.06, 0.52, count) * k
    side = np.where(rng.random(count) < 0.5, -1.0, 1.0)
    return np.column_stack([x, side * t, rng.uniform(0.010, 0.030, count)])


def _field_of_view(
    hide: Surface, rng: np.random.Generator, gaps: Floats, *, whole_girth: bool
) -> Callable[[Floats, Floats], Floats]:
    """Function of (x, t): how far inside the seen region a place is, m (negative: unseen)."""
    k = hide.animal.scale
    slow, quick = random_field(rng, 0.16), random_field(rng, 0.03)

    def seen(x: Floats, t: Floats) -> Floats:
        ragged = 0.010 * slow(x, t) + 0.003 * quick(x, t)
        down = np.abs(t)
        lower = LOWER * k - down + 2 * ragged
        if whole_girth:
            lower = np.maximum(lower, np.minimum(x - GIRTH_FROM * k, GIRTH_TO * k - x) + ragged)
        # a neck carried forward is cut across itself, a croup along the thigh
        front = FRONT * k + 0.12 * down - x + ragged
        rear = x - REAR * k + 0.10 * down + ragged
        inside = np.minimum(np.minimum(lower, front), rear)
        for gap_x, gap_t, radius in gaps:
            hole = np.hypot(x - gap_x, t - gap_t) - radius + 0.4 * ragged
            inside = np.minimum(inside, hole)
        right, left = np.moveaxis(hide.half_girth(x), -1, 0)
        return np.minimum(inside, np.where(t < 0, right, left) - down)

    return seen


def _triangulated(
    hide: Surface,
    rng: np.random.Generator,
    seen: Callable[[Floats, Floats], Floats],
    count: int,
    *,
    whole_girth: bool,
) -> tuple[Floats, Floats, NDArray[np.integer]]:
    """Places (x, t) and triangles over the seen part of the chart, which is nearly isometric."""
    low, high = hide.stations[[0, -1]]
    reach = float(hide.half_girth(hide.stations).max()) if whole_girth else 0.72 * hide.animal.scale
    probe_x, probe_t = (
        grid.ravel()
        for grid in np.meshgrid(np.arange(low, high, 0.01), np.arange(-reach, reach, 0.01))
    )
    area = 1e-4 * np.count_nonzero(seen(probe_x, probe_t) > 0)
    step = float(np.sqrt(4 * area / (np.sqrt(3) * count)))  # an even hexagonal net of that area
    x, t = _jittered_net(rng, (low, high), reach, step)
    keep = seen(x, t) > (0.5 * step if whole_girth else 0)
    x, t = x[keep], t[keep]
    seam = _belly_seam(hide, seen, step) if whole_girth else np.empty(0)
    girth = hide.half_girth(seam).reshape(-1, 2)
    x = np.concatenate([x, seam, seam])
    t = np.concatenate([t, -girth[:, 0], girth[:, 1]])
    faces = Delaunay(np.column_stack([x, t])).simplices
    faces = faces[
        _compact(x, t, faces, 2.4 * step) & (seen(x[faces].mean(1), t[faces].mean(1)) > 0)
    ]
    (ax, bx, cx), (at, bt, ct) = x[faces].T, t[faces].T
    clockwise = (bx - ax) * (ct - at) < (bt - at) * (cx - ax)
    faces[clockwise] = faces[clockwise, ::-1]
    faces = _welded(faces, len(x), len(seam))
    used, faces = np.unique(faces, return_inverse=True)
    return x[used], t[used], faces.reshape(-1, 3).astype(np.int32)


def _jittered_net(
    rng: np.random.Generator, along: tuple[float, float], reach: float, step: float
) -> tuple[Floats, Floats]:
    rows = np.arange(along[0], along[1], step * np.sqrt(3) / 2)
    places = np.arange(-reach, reach, step)
    x, t = np.meshgrid(rows, places, indexing="ij")
    t = t + 0.5 * step * (np.arange(len(rows)) % 2)[:, None]
    jitter = 0.22 * step * rng.uniform(-1, 1, (2, *x.shape))
    return (x + jitter[0]).ravel(), (t + jitter[1]).ravel()


def _belly_seam(hide: Surface, seen: Callable[[Floats, Floats], Floats], step: float) -> Floats:
    """Stations where the two sides of the chart meet under the belly, m."""
    stations = np.arange(hide.stations[0], hide.stations[-1], step)
    right, left = np.moveaxis(hide.half_girth(stations), -1, 0)
    margin = 2 * step
    both = (seen(stations, margin - right) > 0.5 * step) & (
        seen(stations, left - margin) > 0.5 * step
    )
    return stations[both]


def _compact(x: Floats, t: Floats, faces: NDArray[np.integer], longest: float) -> NDArray[np.bool_]:
    dx, dt = (v[faces] - np.roll(v[faces], 1, axis=1) for v in (x, t))
    return np.hypot(dx, dt).max(axis=1) < longest


def _welded(faces: NDArray[np.integer], count: int, seam: int) -> NDArray[np.integer]:
    """The last `seam` places are the same points as the `seam` before them."""
    alias = np.arange(count)
    alias[count - seam :] -= seam
    return alias[faces]


def _noise(rng: np.random.Generator, x: Floats, t: Floats, sd: float) -> Floats:
    parts = [random_field(rng, width)(x, t) for width in (0.015, 0.060)]
    return sd * (rng.standard_normal(len(x)) + sum(parts)) / np.sqrt(3)


def _placement(rng: np.random.Generator) -> Floats:
    T_scan_body = np.eye(4)
    T_scan_body[:3, :3] = Rotation.from_quat(rng.standard_normal(4)).as_matrix()
    T_scan_body[:3, 3] = rng.uniform(-2, 2, 3)
    return T_scan_body


def _with_clutter(
    rng: np.random.Generator,
    hide: Surface,
    scanned: tuple[Floats, NDArray[np.integer], NDArray[np.uint8]],
    noise: float,
) -> tuple[Floats, NDArray[np.integer], NDArray[np.uint8]]:
    """The scan with floor, two walls and floating specks about it, as a stable gives."""
    points, faces, paint = scanned
    ground = -hide.animal.withers_height
    sheets = [
        ((-2.4, -1.6, ground), (3.6, 0, 0), (0, 3.0, 0)),  # floor
        ((-2.4, 1.4, ground), (3.6, 0, 0), (0, 0, 2.2)),  # wall on the left
        ((-2.4, -1.6, ground), (0, 3.0, 0), (0, 0, 1.2)),  # partition behind
    ]
    for corner, a, b in sheets:
        u, v = np.meshgrid(np.linspace(0, 1, 120), np.linspace(0, 1, 100), indexing="ij")
        sheet = np.array(corner) + u[..., None] * np.array(a) + v[..., None] * np.array(b)
        sheet = sheet.reshape(-1, 3) + noise * rng.standard_normal((u.size, 3))
        square = np.arange(u.size).reshape(u.shape)
        p, q, r, s = (
            c.ravel() for c in (square[:-1, :-1], square[1:, :-1], square[1:, 1:], square[:-1, 1:])
        )
        quads = np.concatenate([np.column_stack([p, q, r]), np.column_stack([p, r, s])])
        faces = np.concatenate([faces, quads + len(points)])
        points = np.concatenate([points, sheet])
        paint = np.concatenate([paint, np.full((len(sheet), 3), 128, np.uint8)])
    middle = rng.uniform([-1.5, -1.2, -1.2], [0.8, 1.2, 0.8], (400, 3))
    specks = middle[:, None] + 0.004 * rng.standard_normal((400, 3, 3))
    faces = np.concatenate([faces, len(points) + np.arange(1200).reshape(-1, 3)])
    points = np.concatenate([points, specks.reshape(-1, 3)])
    return points, faces, np.concatenate([paint, np.full((1200, 3), 90, np.uint8)])
