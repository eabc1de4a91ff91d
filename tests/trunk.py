"""A plain trunk of known shape, as mesh or points, and ways to spoil and write it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import trimesh
from scipy.spatial.transform import Rotation

from fitsim.scan.scan import Provenance, Scan

if TYPE_CHECKING:
    from numpy.typing import NDArray

LENGTH, RADIUS = 1.4, 0.3  # m


def trunk(along: int = 120, around: int = 90) -> trimesh.Trimesh:
    """Upper side of a trunk 1.4 m long, open below, with normals out; metres."""
    u, v = np.meshgrid(
        np.linspace(0.0, LENGTH, along), np.linspace(-0.3, np.pi + 0.3, around), indexing="ij"
    )
    r = RADIUS * (1.0 + 0.1 * np.sin(3.0 * u))
    vertices = np.c_[u.ravel(), (r * np.cos(v)).ravel(), (1.1 * r * np.sin(v)).ravel() + 1.0]
    a = (np.arange(along - 1)[:, None] * around + np.arange(around - 1)).ravel()
    faces = np.r_[np.c_[a, a + 1, a + around], np.c_[a + 1, a + around + 1, a + around]]
    return trimesh.Trimesh(vertices, faces, process=False)


def sheet(corner: list[float], one: list[float], other: list[float], n: int) -> trimesh.Trimesh:
    """A flat sheet of n x n squares from a corner along two sides."""
    s, t = np.meshgrid(np.linspace(0, 1, n + 1), np.linspace(0, 1, n + 1), indexing="ij")
    vertices = np.asarray(corner) + np.outer(s, one) + np.outer(t, other)
    a = (np.arange(n)[:, None] * (n + 1) + np.arange(n)).ravel()
    faces = np.r_[np.c_[a, a + n + 1, a + 1], np.c_[a + 1, a + n + 1, a + n + 2]]
    return trimesh.Trimesh(vertices, faces, process=False)


def scan_of(
    vertices: NDArray[np.float64], triangles: NDArray[np.int64] | None = None, unit: str = "m"
) -> Scan:
    """A `Scan` in metres from plain arrays."""
    faces = np.empty((0, 3)) if triangles is None else triangles
    return Scan(
        np.asarray(vertices, dtype=np.float64),
        np.asarray(faces, dtype=np.int32),
        Provenance("trunk.ply", "0" * 64, len(faces), len(vertices), unit=unit),
    )


def turned(points: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.float64]:
    """The same points turned and moved anywhere in space."""
    return Rotation.random(rng=rng).apply(points) + rng.uniform(-3.0, 3.0, 3)
