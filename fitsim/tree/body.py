"""The tree as drawn: two solid bars and the arches that carry them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.tree.bar import face_height
from fitsim.tree.outline import half_width
from fitsim.tree.placed import placed
from fitsim.tree.solid import (
    DRAWN,
    bar_solid,
    bar_volume,
    joined,
    mirrored_surface,
    swept,
    volume_and_centroid,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.tree.bar import Bar
    from fitsim.tree.settings import ArchSettings, TreeSettings
    from fitsim.tree.tree import Surface, Underside

#: Breadth of an arch at the feet, of a bow and of a cantle over the spine, and thickness; m.
FOOT, BOW, CANTLE, THROUGH = 0.070, 0.044, 0.078, 0.020

#: How far the staves of a crossed arch stand on beyond the crossing, m.
STAVE = 0.12

#: How far a cantle leans back at its top, m.
LEAN = 0.055

#: Stations along an arch and points round its section.
STATIONS, AROUND = 72, 28


def tree_body(
    settings: TreeSettings,
    bar: Bar,
    T_tree_left: NDArray[np.float64],
    spacing: float = DRAWN,
) -> Surface:
    """Closed surfaces of bars and arches.

    Parameters
    ----------
    settings : of the tree.
    bar : its measures.
    T_tree_left : (4, 4) array, pose of the left bar.
    spacing : m, between the points of a bar.

    Returns
    -------
    vertices : (n, 3) array, m, tree frame.
    triangles : (m, 3) int array, outward.
    """
    vertices, triangles = bar_solid(bar, spacing)
    left = (placed(T_tree_left, vertices), triangles)
    pieces = [left, mirrored_surface(left)]
    for arch in (settings.arches.front, settings.arches.rear):
        pieces += arch_solids(arch, bar, T_tree_left)
    return joined(pieces)


def centre_of_mass(
    settings: TreeSettings, bar: Bar, face: Underside, T_tree_left: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Centroid of bars and arches, all of one material.

    Parameters
    ----------
    settings : of the tree.
    bar : its measures.
    face : its underside.
    T_tree_left : (4, 4) array, pose of the left bar.

    Returns
    -------
    (3,) array, m, tree frame: midway between the bars.
    """
    volume, centroid = bar_volume(bar, face)
    measured = [(2.0 * volume, placed(T_tree_left, centroid[None])[0])]
    for arch in (settings.arches.front, settings.arches.rear):
        measured += [volume_and_centroid(piece) for piece in arch_solids(arch, bar, T_tree_left)]
    volumes = np.array([volume for volume, _ in measured])
    centre = np.asarray(volumes @ np.stack([centroid for _, centroid in measured]) / volumes.sum())
    centre[1] = 0.0
    return centre


def arch_solids(arch: ArchSettings, bar: Bar, T_tree_left: NDArray[np.float64]) -> list[Surface]:
    """One arch: a bow from bar to bar, two crossed staves, or a cantle leaning back.

    Parameters
    ----------
    arch : its settings.
    bar, T_tree_left : the left bar and where it is.

    Returns
    -------
    List of closed surfaces, tree frame.
    """
    foot, heel = _foot(arch, bar, T_tree_left)
    top = heel[2] + arch.rise
    if arch.shape == "cross":
        stave = swept(_section_rings(_stave(foot, heel, top), FOOT * 0.75, BOW))
        return [stave, mirrored_surface(stave)]
    path, breadth = _bow(foot, heel, top), BOW
    if arch.shape == "cantle":
        lift = np.clip((path[:, 2] - heel[2]) / arch.rise, 0.0, 1.0)
        path[:, 0] -= LEAN * lift**2
        breadth = CANTLE
    return [swept(_section_rings(path, FOOT, breadth))]


def _foot(
    arch: ArchSettings, bar: Bar, T_tree_left: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Where an arch's foot lies on the left bar: its outer end and its heel."""
    xi = bar.front - arch.at
    half = half_width(np.array([xi]), bar.rear, bar.front, bar.widths)[0]
    eta = np.array([0.45 * half, -0.55 * half])
    zeta = face_height(bar, np.full(2, xi), eta) + bar.thickness
    points = placed(T_tree_left, np.column_stack([np.full(2, xi), eta, zeta]))
    points[:, 0] = points[:, 0].mean()
    return points[0], points[1]


def _bezier(*corners: NDArray[np.float64], count: int = 40) -> NDArray[np.float64]:
    """Cubic Bezier curve through four corners, (count, 3)."""
    s = np.linspace(0.0, 1.0, count)[:, None]
    a, b, c, d = corners
    return (1 - s) ** 3 * a + 3 * s * (1 - s) ** 2 * b + 3 * s**2 * (1 - s) * c + s**3 * d


def _bow(foot: NDArray[np.float64], heel: NDArray[np.float64], top: float) -> NDArray[np.float64]:
    """Path from the left foot over the spine to the right foot."""
    crown = np.array([heel[0], 0.0, top])
    inward = (heel - foot) / np.linalg.norm(heel - foot)
    bend = np.linalg.norm(crown - heel) * 0.45
    rise = _bezier(heel, heel + inward * bend, crown + np.array([0.0, bend, 0.0]), crown)
    half = np.concatenate([np.linspace(foot, heel, 12)[:-1], rise])
    return _resampled(np.concatenate([half, half[-2::-1] * (1.0, -1.0, 1.0)]))


def _stave(foot: NDArray[np.float64], heel: NDArray[np.float64], top: float) -> NDArray[np.float64]:
    """Path of the stave that stands on the left bar and crosses to the right above it."""
    crossing = np.array([heel[0], 0.0, top])
    middle = (foot + heel) / 2.0
    upward = (crossing - middle) / np.linalg.norm(crossing - middle)
    bend = np.linalg.norm(heel - middle)
    straight = middle + upward * bend * 1.6
    curve = _bezier(foot, middle, middle + upward * bend * 0.4, straight)
    return _resampled(np.concatenate([curve[:-1], [straight, crossing + upward * STAVE]]))


def _resampled(path: NDArray[np.float64]) -> NDArray[np.float64]:
    """Put the path's stations evenly by length, closer at the ends where the section closes."""
    length = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1)))
    even = np.linspace(-1.0, 1.0, STATIONS)
    place = length[-1] * (1.0 + np.sign(even) * (1.0 - (1.0 - np.abs(even)) ** 1.6)) / 2.0
    return np.column_stack([np.interp(place, length, column) for column in path.T])


def _section_rings(path: NDArray[np.float64], foot: float, crown: float) -> NDArray[np.float64]:
    """Rounded rectangles square to the path, of one breadth at the feet and another at the top."""
    tangent = np.gradient(path, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    forward = np.array([1.0, 0.0, 0.0]) - tangent * tangent[:, :1]
    forward /= np.linalg.norm(forward, axis=1, keepdims=True)
    through = np.cross(tangent, forward)
    length = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1)))
    end = np.minimum(length, length[-1] - length)
    breadth = crown + (foot - crown) * np.exp(-((end / 0.07) ** 2))
    close = np.sqrt(np.clip(1.0 - (1.0 - np.minimum(end / (foot / 2.0), 1.0)) ** 2, 1e-4, 1.0))
    angle = np.linspace(0.0, 2.0 * np.pi, AROUND, endpoint=False)
    # A superellipse of the fourth power: flat faces, soft edges.
    u = np.sign(np.cos(angle)) * np.sqrt(np.abs(np.cos(angle)))
    v = np.sign(np.sin(angle)) * np.sqrt(np.abs(np.sin(angle)))
    thin = np.minimum(close * 1.6, 1.0)
    return np.asarray(
        path[:, None]
        + (breadth * close / 2.0)[:, None, None] * u[:, None] * forward[:, None]
        + (THROUGH * thin / 2.0)[:, None, None] * v[:, None] * through[:, None]
    )
