"""The noun `Surface`: an animal's noise-free hide as a smooth function of station and arc."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from scipy.interpolate import CubicSpline, PchipInterpolator, RectBivariateSpline
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

from meshes import anatomy
from meshes.animal import DEPTHS, STATIONS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from meshes.animal import Animal

STATION_STEP = 0.004
ANGLES = np.linspace(-np.pi, np.pi, 1441)
ARCS = np.linspace(-1, 1, 721)
LEVEL_FROM, LEVEL_TO = -0.60, -0.10
"""m at the reference height: between these the spine's least-squares line is the x axis's way."""


@dataclass(frozen=True)
class Surface:
    """The hide in the body frame: x along, t the arc length across from the spine line.

    Sections are planar (constant x) and closed at the belly; t > 0 on the left.

    Attributes
    ----------
    animal : whose hide.
    stations : (n,) array, m, ascending.
    half_girth : cubic spline of x: (..., 2) m, arc from spine to belly, right and left.
    across, up : bicubic splines of (x, arc as a fraction of the half girth): y and z, m.
    slope : rise of the spine's least-squares line over the ground, taken off in the body frame.
    """

    animal: Animal
    stations: NDArray[np.float64]
    half_girth: CubicSpline
    across: RectBivariateSpline
    up: RectBivariateSpline
    slope: float

    def points(self, x: NDArray[np.float64], t: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points of the hide: (..., 3) array, m, at stations x and arcs t (same shape, m)."""
        x, arc = self._arguments(x, t)
        return np.stack([x, self.across.ev(x, arc), self.up.ev(x, arc)], axis=-1)

    def normals(self, x: NDArray[np.float64], t: NDArray[np.float64]) -> NDArray[np.float64]:
        """Outward unit normals: (..., 3) array, at stations x and arcs t (same shape, m)."""
        along, across = self._tangents(x, t)
        normal = np.cross(along, across)
        return normal / np.linalg.norm(normal, axis=-1, keepdims=True)

    def spine(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points of the spine line: (..., 3) array, m."""
        return self.points(x, np.zeros_like(x))

    def project(
        self, points: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Nearest place on the hide.

        Parameters
        ----------
        points : (n, 3) array, m, body frame, within a few centimetres of the hide.

        Returns
        -------
        x, t : (n,) arrays, m, of the nearest place.
        distance : (n,) array, m, positive outside the hide.
        """
        tree, x_near, t_near = self._samples
        nearest = tree.query(points)[1]
        x, t = x_near[nearest], t_near[nearest]
        for _ in range(4):  # Gauss-Newton from 8 mm away: close to a smooth hide it gains fast
            along, across = self._tangents(x, t)
            miss = points - self.points(x, t)
            # with a = d/dx and b = d/dt: solve the two normal equations in closed form
            aa, ab, bb = _dot(along, along), _dot(along, across), _dot(across, across)
            am, bm = _dot(along, miss), _dot(across, miss)
            determinant = aa * bb - ab**2
            x = np.clip(x + (bb * am - ab * bm) / determinant, self.stations[0], self.stations[-1])
            t = t + (aa * bm - ab * am) / determinant
        offset = points - self.points(x, t)
        return x, t, _dot(offset, self.normals(x, t))

    @cached_property
    def _samples(self) -> tuple[cKDTree, NDArray[np.float64], NDArray[np.float64]]:
        grid = np.meshgrid(self.stations[::2], ARCS[::3], indexing="ij")
        x, arc = grid[0].ravel(), grid[1].ravel()
        t = arc * self._girth(x, arc)
        return cKDTree(self.points(x, t)), x, t

    def _girth(self, x: NDArray[np.float64], side: NDArray[np.float64]) -> NDArray[np.float64]:
        right, left = np.moveaxis(self.half_girth(x), -1, 0)
        return np.where(side < 0, right, left)

    def _arguments(
        self, x: NDArray[np.float64], t: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        x, t = np.broadcast_arrays(np.asarray(x, float), np.asarray(t, float))
        return x, t / self._girth(x, t)

    def _tangents(
        self, x: NDArray[np.float64], t: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Derivatives of `points` by x and by t, each (..., 3)."""
        x, arc = self._arguments(x, t)
        girth = self._girth(x, arc)
        right, left = np.moveaxis(self.half_girth(x, 1), -1, 0)
        slide = -arc * np.where(arc < 0, right, left) / girth  # d(arc fraction)/dx at constant t
        zero, one = np.zeros_like(x), np.ones_like(x)
        by_arc = [f.ev(x, arc, dy=1) for f in (self.across, self.up)]
        by_x = [f.ev(x, arc, dx=1) for f in (self.across, self.up)]
        along = np.stack([one, *(fx + fa * slide for fx, fa in zip(by_x, by_arc, strict=True))], -1)
        return along, np.stack([zero, *(fa / girth for fa in by_arc)], -1)


def surface(animal: Animal) -> Surface:
    """Sculpt an animal: smooth sections, relief laid on along the section's normal, arc chart.

    Parameters
    ----------
    animal : see `meshes.animal.Animal`.

    Returns
    -------
    Surface

    Examples
    --------
    >>> from meshes.animal import MULE
    >>> hide = surface(MULE)
    >>> bool(np.abs(hide.spine(np.array([0.0]))).max() < 1e-9)
    True
    """
    low, high = animal.scale * STATIONS.min(), animal.scale * STATIONS.max()
    stations = np.linspace(low, high, round((high - low) / STATION_STEP) + 1)
    y, z = _smooth_sections(animal, stations)
    y, z = _with_relief(animal, stations, y, z)
    crest = z[:, len(ANGLES) // 2]
    spine = CubicSpline(stations, crest)
    level = animal.scale * np.linspace(LEVEL_FROM, LEVEL_TO, 201)
    slope = float(np.polyfit(level, spine(level), 1)[0])
    z = z - (spine(0.0) + slope * stations)[:, None]
    girth, y, z = _by_arc(y, z)
    return Surface(
        animal,
        stations,
        CubicSpline(stations, girth),
        RectBivariateSpline(stations, ARCS, y),
        RectBivariateSpline(stations, ARCS, z),
        slope,
    )


def _dot(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.einsum("ij,ij->i", a, b)


def _smooth_sections(
    animal: Animal, stations: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Sections of the bare trunk as (n, 1441) y and z, m, over station and polar angle."""
    centre = 0.5 * animal.depth
    radius = np.array([_section_radius(animal, i, centre[i]) for i in range(len(STATIONS))])
    order = np.argsort(STATIONS)
    table = np.column_stack([animal.crest - centre, radius])[order]
    at = animal.scale * PchipInterpolator(STATIONS[order], table)(stations / animal.scale)
    at = gaussian_filter1d(at, 0.028 * animal.scale / STATION_STEP, axis=0, mode="nearest")
    heart, radius = at[:, :1], at[:, 1:]
    return radius * np.sin(ANGLES), heart + radius * np.cos(ANGLES)


def _section_radius(animal: Animal, i: int, centre: float) -> NDArray[np.float64]:
    """Polar radius of one tabulated section about a point `centre` below the crest."""
    wide, at = animal.widest[i]
    depth = animal.depth[i]
    lower = np.linspace(0, 1, 6)[1:-1] * np.pi / 2  # from the widest place an ellipse to the belly
    y = np.concatenate([[0], animal.half_width[i], [wide], wide * np.cos(lower), [0]])
    z = np.concatenate([[0], DEPTHS, [at], at + (depth - at) * np.sin(lower), [depth]])
    angle, radius = np.arctan2(y, centre - z), np.hypot(y, centre - z)
    # even about crest and belly, so that the section closes without a kink
    mirror_angle = np.concatenate([-angle[3:0:-1], angle, 2 * np.pi - angle[-2:-5:-1]])
    mirror_radius = np.concatenate([radius[3:0:-1], radius, radius[-2:-5:-1]])
    ring = PchipInterpolator(mirror_angle, mirror_radius)(np.abs(ANGLES))
    return gaussian_filter1d(ring, np.deg2rad(3.0) / (ANGLES[1] - ANGLES[0]), mode="wrap")


def _with_relief(
    animal: Animal, stations: NDArray[np.float64], y: NDArray[np.float64], z: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Sections with the anatomy laid on along their normals."""
    dy, dz = np.gradient(y, axis=1), np.gradient(z, axis=1)
    length = np.hypot(dy, dz)
    height = anatomy.relief(animal, stations[:, None], _arc(y, z))
    return y - height * dz / length, z + height * dy / length


def _arc(y: NDArray[np.float64], z: NDArray[np.float64]) -> NDArray[np.float64]:
    """Arc length along each section from its crest, signed, m."""
    step = np.hypot(np.diff(y, axis=1), np.diff(z, axis=1))
    arc = np.concatenate([np.zeros((len(y), 1)), np.cumsum(step, axis=1)], axis=1)
    return arc - arc[:, [y.shape[1] // 2]]


def _by_arc(
    y: NDArray[np.float64], z: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Half girths (n, 2), and the sections resampled evenly by arc on each side."""
    arc = _arc(y, z)
    girth = np.column_stack([-arc[:, 0], arc[:, -1]])
    out_y, out_z = np.empty((len(y), len(ARCS))), np.empty((len(y), len(ARCS)))
    for i in range(len(y)):
        at = np.where(ARCS < 0, ARCS * girth[i, 0], ARCS * girth[i, 1])
        out_y[i], out_z[i] = CubicSpline(arc[i], np.column_stack([y[i], z[i]]))(at).T
    return girth, out_y, out_z
