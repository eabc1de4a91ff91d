"""Backs with known truth in the midst of what a stable puts round them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial.transform import Rotation

from fitsim.scan.scan import Provenance, Scan
from meshes.animal import Animal, animal
from meshes.scanner import scan
from meshes.surface import Surface, surface

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Back

    Floats = NDArray[np.float64]

MISSING = 0.30
"""Share of the surface that was not scanned."""
NOISE = 0.003
"""m: standard deviation of a point along the normal."""


@dataclass(frozen=True)
class Scene:
    """A scan of a made-up trunk, and what only its maker knows.

    Attributes
    ----------
    scan : in metres, anyhow turned, with ground, walls, a handler and a rope.
    hide : the true surface, body frame.
    T_scan_body : (4, 4) array, the true place of the body frame in the scan.
    """

    scan: Scan
    hide: Surface
    T_scan_body: Floats


def stable_scene(
    seed: int,
    *,
    which: Animal | None = None,
    triangles: int = 30_000,
    noise: float = NOISE,
    missing: float = MISSING,
    clutter: bool = True,
) -> Scene:
    """One scan in a stable: everything random follows from the seed.

    Parameters
    ----------
    seed : int
    which : the animal; drawn from the made-up population if None.
    triangles : about how many on the animal.
    noise : m, standard deviation along the normal.
    missing : share of the surface cut out, in patches 0.1 to 0.4 m across.
    clutter : whether ground, walls, handler and rope are there.

    Returns
    -------
    Scene
    """
    rng = np.random.default_rng(seed)
    hide = surface(animal(rng) if which is None else which)
    raw = scan(hide, triangles=triangles, noise=noise, holes=6, placed=False, seed=seed)
    points, faces = _with_gaps(raw.vertices.astype(float), raw.triangles, missing, rng)
    parts = [(points, faces)]
    if clutter:
        parts += _stable(hide.animal, rng, noise)
    starts = np.cumsum([0, *(len(p) for p, _ in parts[:-1])])
    points = np.concatenate([p for p, _ in parts])
    faces = np.concatenate([f + s for (_, f), s in zip(parts, starts, strict=True)])
    T_scan_body = np.eye(4)
    T_scan_body[:3, :3] = Rotation.random(random_state=rng).as_matrix()
    T_scan_body[:3, 3] = rng.uniform(-2.0, 2.0, 3)
    points = points @ T_scan_body[:3, :3].T + T_scan_body[:3, 3]
    provenance = Provenance(f"scene-{seed}.ply", "", len(faces), len(points), unit="m")
    return Scene(Scan(points, faces.astype(np.int32), provenance), hide, T_scan_body)


def _with_gaps(
    points: Floats, faces: NDArray[np.int32], share: float, rng: np.random.Generator
) -> tuple[Floats, NDArray[np.int32]]:
    """Cut round patches out until the share of the points is gone."""
    gone = np.zeros(len(points), dtype=bool)
    while gone.mean() < share:
        middle = points[rng.integers(len(points))]
        gone |= np.linalg.norm(points - middle, axis=1) < rng.uniform(0.05, 0.20)
    faces = faces[~gone[faces].any(axis=1)]
    used = np.zeros(len(points), dtype=bool)
    used[faces] = True
    return points[used], (np.cumsum(used) - 1).astype(np.int32)[faces]


def _stable(
    one: Animal, rng: np.random.Generator, noise: float
) -> list[tuple[Floats, NDArray[np.int32]]]:
    """Ground, one or two walls, someone standing beside the neck, and the rope between them."""
    ground = -one.withers_height
    aside = rng.choice([-1.0, 1.0])
    sheets = [
        ((-2.2, -1.6, ground), (4.0, 0, 0), (0, 3.2, 0)),
        ((-2.2, aside * rng.uniform(0.8, 1.4), ground), (4.0, 0, 0), (0, 0, 2.2)),
    ]
    if rng.random() < 0.5:  # every other stable has a back wall
        sheets.append(((-rng.uniform(1.4, 2.0), -1.6, ground), (0, 3.2, 0), (0, 0, 2.0)))
    parts = [_sheet(*np.array(sheet, dtype=float)) for sheet in sheets]
    up = np.array([0.0, 0.0, 1.0])
    # A handler: a body and a head as upright round columns, 10 to 40 cm off the shoulder.
    beside = -aside * (0.30 * one.scale + rng.uniform(0.30, 0.50))
    stand = np.array([rng.uniform(0.15, 0.45) * one.scale, beside, ground])
    parts += [
        _column(stand, 1.45, 0.19), _column(stand + 1.5 * up, 0.25, 0.09),
        _tube(np.array([0.33 * one.scale, 0.0, 0.05]), stand + 1.1 * up, 0.012),
    ]  # fmt: skip
    return [(p + noise * rng.standard_normal(p.shape), f) for p, f in parts]


def _sheet(corner: Floats, a: Floats, b: Floats) -> tuple[Floats, NDArray[np.int32]]:
    rows, columns = 100, 80
    u, v = np.meshgrid(np.linspace(0, 1, rows), np.linspace(0, 1, columns), indexing="ij")
    return (corner + u[..., None] * a + v[..., None] * b).reshape(-1, 3), _quads(rows, columns)


def _column(foot: Floats, height: float, radius: float) -> tuple[Floats, NDArray[np.int32]]:
    return _tube(foot, foot + np.array([0.0, 0.0, height]), radius, 48)


def _tube(
    start: Floats, end: Floats, radius: float, around: int = 8
) -> tuple[Floats, NDArray[np.int32]]:
    """An open tube from start to end."""
    way = end - start
    length = float(np.linalg.norm(way))
    across = np.linalg.svd(way[None, :])[2][1:]
    rows = max(8, round(length / 0.02))
    angle = np.linspace(0, 2 * np.pi, around)
    ring = radius * (np.cos(angle)[:, None] * across[0] + np.sin(angle)[:, None] * across[1])
    points = start + np.linspace(0, 1, rows)[:, None, None] * way + ring
    return points.reshape(-1, 3), _quads(rows, around)


def _quads(rows: int, columns: int) -> NDArray[np.int32]:
    square = np.arange(rows * columns).reshape(rows, columns)
    p, q, r, s = (
        c.ravel() for c in (square[:-1, :-1], square[1:, :-1], square[1:, 1:], square[:-1, 1:])
    )
    return np.concatenate([np.column_stack([p, q, r]), np.column_stack([p, r, s])]).astype(np.int32)


@dataclass(frozen=True)
class FrameError:
    """How far a found body frame is from the true one.

    Attributes
    ----------
    yaw, pitch, roll : deg, of the found frame in the true one.
    along : m, of the origin along the spine.
    aside : m, root mean square distance, side to side, of the true spine line from the found one
        over the stretch a tree lies on.
    spine : m, the same side to side and up, where the spine was scanned; what lies in a gap
        nobody knows.
    swapped : front and rear are exchanged.
    """

    yaw: float
    pitch: float
    roll: float
    along: float
    aside: float
    spine: float
    swapped: bool


def frame_error(scene: Scene, back: Back) -> FrameError:
    """Compare a found frame and spine line with the truth.

    Parameters
    ----------
    scene : Scene
    back : Back
        As found in the scan.

    Returns
    -------
    FrameError
    """
    T = back.T_body_scan @ scene.T_scan_body  # found body from true body
    yaw, pitch, roll = Rotation.from_matrix(T[:3, :3]).as_euler("ZYX", degrees=True)
    k = scene.hide.animal.scale
    true = scene.hide.spine(np.linspace(-0.45, 0.0, 91) * k) @ T[:3, :3].T + T[:3, 3]
    chart, middle = back.chart, len(back.chart.t) // 2
    line = chart.points[:, middle]
    off = np.column_stack([true[:, c] - np.interp(true[:, 0], chart.x, line[:, c]) for c in (1, 2)])
    measured = chart.valid[:, middle] & ~chart.filled[:, middle]
    there = np.interp(true[:, 0], chart.x, measured, left=0.0, right=0.0) > 0.99
    return FrameError(
        float(yaw), float(pitch), float(roll), float(T[0, 3]),
        float(np.sqrt((off[:, 0] ** 2).mean())),
        float(np.sqrt((off[there] ** 2).sum(axis=1).mean())) if there.any() else 0.0,
        bool(T[0, 0] < 0.0),
    )  # fmt: skip
