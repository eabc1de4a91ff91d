"""The surface under the hair: a trunk's surface moved in by the depth that a load presses away."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage
from scipy.spatial import cKDTree

from fitsim.back.samples import Samples
from fitsim.back.settling import CROWN
from fitsim.back.smoothing import nearest_filled

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fitsim.back.back import Chart
    from fitsim.back.crest import Crest
    from fitsim.back.frame import BodyFrame
    from fitsim.back.trunk import TrunkSurface

FINER, COARSER = 2, 2
"""Parts a cell is cut into where nearest places are looked for, and cells from ray to ray
lengthwise: how far a surface comes in changes slowly along a ridge, but not across it."""

ROUNDS, EXACT = 12, 2e-5
"""Most steps along a ray, and m, how near the wanted depth ends them."""

STEEPEST = 0.2
"""Least cosine between ray and normal that a step is lengthened by."""


def under_coat(frame: BodyFrame, body: Samples, allowance: float) -> tuple[BodyFrame, Samples]:
    """The frame and its samples with the surface moved in, and the origin on the new spine line.

    Parameters
    ----------
    frame : BodyFrame
    body : Samples
        Trunk samples in the frame.
    allowance : float, m

    Returns
    -------
    BodyFrame
    Samples
        Drawn in along their rays, so that none passes another; the belly, beyond the surface, as
        far as its nearest edge.
    """
    skin = moved_in(frame.surface, allowance)
    drawn = _drawn_in(body, frame.surface, skin)
    frame = replace(frame, surface=skin, crest=_crest_on(skin, frame.crest, allowance))
    fallen = float(np.interp(0.0, frame.crest.x, frame.crest.z))
    shift = np.eye(4)
    shift[2, 3] = -fallen
    return frame.moved_to(0.0), drawn.moved(shift)


def moved_in(surface: TrunkSurface, depth: float) -> TrunkSurface:
    """The places that lie `depth` inside a surface.

    Parameters
    ----------
    surface : TrunkSurface
    depth : float, m

    Returns
    -------
    TrunkSurface
        On the same grid, with the same cover.

    Notes
    -----
    A ridge sharper than the depth would fold over itself if each of its places were moved along
    its own normal. So each ray from the axis is followed inwards to where the *nearest* place of
    the surface is `depth` away: the folds are cut off where they would cross, and what is found
    is the surface that this depth of hair would have rounded to the one scanned. Steps are
    Newton's on the distance to the nearest place's tangent plane. In a hollow narrower than the
    coat the hair closed over, what lay below was not scanned, and is guessed rounder than it is.
    """
    filled = nearest_filled(surface.radius)
    fine = _rays(surface, filled, [FINER * (n - 1) + 1 for n in filled.shape])
    places, normals = fine.places.reshape(-1, 3), fine.normals().reshape(-1, 3)
    few = _rays(surface, filled, [filled.shape[0] // COARSER + 2, filled.shape[1]])
    come = _come_in(few, cKDTree(places), places, normals, depth)
    come = np.minimum(come, few.radius - LEAST * surface.depth)
    every = _spread(come.shape, filled.shape)
    return replace(
        surface,
        radius=surface.radius - ndimage.map_coordinates(come, every, order=3, mode="nearest"),
    )


def _come_in(
    rays: _Rays,
    tree: cKDTree,
    places: NDArray[np.float64],
    normals: NDArray[np.float64],
    depth: float,
) -> NDArray[np.float64]:
    """How far to come in along each ray until the nearest of the places is `depth` away, m."""
    come = np.full(rays.radius.size, depth)
    met, away = rays.places.reshape(-1, 3), rays.away.reshape(-1, 3)
    left = np.arange(len(come))
    for _ in range(ROUNDS):
        here = met[left] - come[left, None] * away[left]
        near = np.asarray(tree.query(here)[1])
        lies = np.einsum("nk,nk->n", normals[near], places[near] - here)
        slant = np.einsum("nk,nk->n", normals[near], away[left])
        step = (depth - lies) / np.maximum(slant, STEEPEST)
        come[left] += step
        left = left[np.abs(step) > EXACT]
        if not len(left):
            break
    return come.reshape(rays.radius.shape)


@dataclass(frozen=True)
class _Rays:
    """Rays from the axis to the surface: places met, unit directions away, lengths."""

    places: NDArray[np.float64]
    away: NDArray[np.float64]
    radius: NDArray[np.float64]

    def normals(self) -> NDArray[np.float64]:
        """Outward unit normals at the places, (na, nb, 3)."""
        along, across = (np.gradient(self.places, axis=k, edge_order=2) for k in (0, 1))
        normals = np.cross(along, across)
        return np.asarray(normals / np.linalg.norm(normals, axis=-1, keepdims=True))


def _rays(surface: TrunkSurface, filled: NDArray[np.float64], count: Sequence[int]) -> _Rays:
    """Evenly spread rays, so many along and around."""
    grid = surface.grid
    index = _spread(filled.shape, count)
    radius = ndimage.map_coordinates(filled, index, order=3, mode="nearest")
    axis_z = ndimage.map_coordinates(surface.axis_z, [index[0]], order=3, mode="nearest")
    angle = (grid.b[0] + grid.cell * index[1]) / surface.depth
    away = np.stack([np.zeros_like(angle), np.sin(angle), np.cos(angle)], axis=-1)
    places = radius[..., None] * away
    places[..., 0] = grid.a[0] + grid.cell * index[0]
    places[..., 2] += axis_z
    return _Rays(places, away, radius)


LEAST = 0.1
"""Of the depth of the axis: nothing is moved in further."""


def on_skin(chart: Chart, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Places laid on the chart along its normals.

    Parameters
    ----------
    chart : Chart
    points : (k, 3) array, m
        Body frame, near the surface.

    Returns
    -------
    (k, 3) array, m
    """
    flat, normals = chart.points.reshape(-1, 3), chart.normals.reshape(-1, 3)
    tree = cKDTree(flat)
    laid = np.array(points, dtype=float)
    for _ in range(3):  # the nearest node changes a little as a place comes down
        near = np.asarray(tree.query(laid)[1])
        off = np.einsum("ij,ij->i", laid - flat[near], normals[near])
        laid -= off[:, None] * normals[near]
    return laid


def _spread(shape: Sequence[int], count: Sequence[int]) -> NDArray[np.float64]:
    """Index places spread evenly over a grid, from its first node to its last."""
    rows, columns = (np.linspace(0.0, n - 1, k) for n, k in zip(shape, count, strict=True))
    return np.stack(np.meshgrid(rows, columns, indexing="ij"))


def _drawn_in(body: Samples, scanned: TrunkSurface, skin: TrunkSurface) -> Samples:
    """Samples as far nearer to the axis as the surface came on their ray."""
    nearer = nearest_filled(scanned.radius - skin.radius)
    x, y, z = body.points.T
    axis_z = np.interp(x, scanned.grid.a, scanned.axis_z)
    angle, radius = np.arctan2(y, z - axis_z), np.hypot(y, z - axis_z)
    index = scanned.grid.index(x, angle * scanned.depth)
    come = ndimage.map_coordinates(nearer, index, order=1, mode="nearest")
    now = np.maximum(radius - come, LEAST * scanned.depth)
    points = np.column_stack([x, now * np.sin(angle), now * np.cos(angle) + axis_z])
    share = now / np.maximum(radius, 1e-9)
    return Samples(points, body.area * np.minimum(share, 1.0), body.colours)


def _crest_on(skin: TrunkSurface, crest: Crest, allowance: float) -> Crest:
    """The spine line at its old distance aside, at the skin's height."""
    y, z = skin.sections()
    top = np.abs(skin.angle) < CROWN
    height = crest.z - allowance
    for row in range(len(y)):
        known = top & np.isfinite(y[row])
        if known.any():
            height[row] = np.interp(crest.y[row], y[row][known], z[row][known])
    return replace(crest, z=height)
