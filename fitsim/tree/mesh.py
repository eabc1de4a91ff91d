"""A tree from a mesh of it: find the two bars and measure their undersides."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from fitsim.errors import BadSettings
from fitsim.scan.triangles import area_normals, triangle_middles
from fitsim.tree.faces import height_at
from fitsim.tree.imprint import bearing_ends, measured_underside
from fitsim.tree.placed import placed
from fitsim.tree.raster import rasterised
from fitsim.tree.tree import USUAL_THICKNESS, MountedBar, Side, Tree, Underside
from fitsim.tree.upright import upright

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from fitsim.scan.scan import Unit
    from fitsim.tree.tree import Surface
    from fitsim.tree.upright import Way

SIDES: tuple[Side, Side] = ("left", "right")

#: Metres in each unit a mesh may be drawn in.
METRES: dict[Unit, float] = {"m": 1.0, "cm": 0.01, "mm": 0.001, "inch": 0.0254}

#: Length of a tree that is believed without being told a unit, m.
SHORTEST, LONGEST = 0.3, 1.1

#: Share of a tree's length that a bar has at least, -.
BAR_SHARE = 0.6

#: Grid on which the bars are looked for, m.
COARSE = 0.003

#: Share of the stations at which the gap between the bars must be seen from below, -.
FREE = 0.3

#: Mass of a riding tree and its rigging where nobody says, kg (common practice, no source).
USUAL_MASS = 8.0


def tree_from_mesh(
    path: Path, unit: Unit | None = None, mass: float = USUAL_MASS, front: Way | None = None
) -> Tree:
    """Read a mesh of a whole tree, or of two bars as they stand to each other.

    The tree is taken to lie as in the tree frame (x forward, y left, z up); if it does not, the
    one way of turning it by right angles that makes a tree of it is found. The bars are the two
    long bodies either side; where bars and arches are one body, the gap between the bars tells
    them apart.

    Parameters
    ----------
    path : a mesh file.
    unit : of its coordinates; by default the one unit that makes it as long as a tree.
    mass : kg, tree and rigging.
    front : which way in the mesh the front points; found where not given.

    Returns
    -------
    Tree

    Raises
    ------
    BadSettings
        The file holds no mesh, or no two bars are found in it.
    """
    where = str(path)
    vertices, triangles = _loaded(path)
    taken = _unit(vertices, unit, where)
    vertices, turned = upright(vertices * METRES[taken], triangles, where, front)
    vertices = vertices - _middle(vertices)
    bars = [_measured(vertices, triangles, side, where) for side in SIDES]
    shift = _tree_origin(bars)
    left, right = (_shifted(bar, shift) for bar in bars)
    return Tree(
        name=path.stem,
        bars=(left, right),
        mass=mass,
        centre_of_mass=_centroid(vertices, triangles) - shift,
        settings={},
        drawing=partial(_as_read, vertices - shift, triangles),
        notes=(*_assumed(unit, taken, mass), *turned),
    )


def _as_read(vertices: NDArray[np.float64], triangles: NDArray[np.int32]) -> Surface:
    return vertices, triangles


def _assumed(told: Unit | None, taken: Unit, mass: float) -> tuple[str, ...]:
    """Sentences on what a mesh does not say."""
    found = f"the unit was taken as {taken}, the only one that makes the mesh as long as a tree"
    untold = (
        f"a mesh tells no mass, hinges or rings: {mass:g} kg, bars that are fixed and "
        f"{USUAL_THICKNESS * 1e3:.0f} mm thick, and rings where the rig says are assumed"
    )
    return (untold,) if told else (found, untold)


def _loaded(path: Path) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """Vertices and triangles of a mesh file, points that coincide merged."""
    import trimesh

    where = str(path)
    try:
        mesh = trimesh.load(path, force="mesh", process=False)
    except Exception as error:  # trimesh's readers raise whatever they stumble over
        raise BadSettings(
            where, "cannot be read as a mesh", "export it again as STL, PLY or OBJ"
        ) from error
    if not isinstance(mesh, trimesh.Trimesh) or len(mesh.faces) < 100:  # noqa: PLR2004
        raise BadSettings(
            where, "holds too few triangles for a tree", "export the whole tree as a closed mesh"
        )
    if not np.isfinite(mesh.vertices).all():
        raise BadSettings(where, "has points without numbers", "export the mesh again")
    mesh.merge_vertices(merge_tex=True, merge_norm=True)
    return np.asarray(mesh.vertices, dtype=np.float64), np.asarray(mesh.faces, dtype=np.int32)


def _unit(vertices: NDArray[np.float64], unit: Unit | None, where: str) -> Unit:
    """Unit of the file, told or found."""
    extent = float(np.ptp(vertices, axis=0).max())
    lengths = {name: extent * metres for name, metres in METRES.items()}
    fits = [name for name, length in lengths.items() if SHORTEST <= length <= LONGEST]
    if unit is None and len(fits) == 1:
        return fits[0]
    if unit is not None and unit in fits:
        return unit
    if unit is None:
        fault = f"is {extent:.4g} units long, which makes a tree in " + (
            " and in ".join(fits) if fits else "no unit"
        )
        raise BadSettings(where, fault, "say the unit")
    fault = f"is {lengths[unit] * 1e3:.0f} mm long when its unit is {unit}"
    mend = f"say {' or '.join(fits)}" if fits else "check the mesh: a tree is 300 to 1100 mm long"
    raise BadSettings(where, fault, mend)


def _middle(vertices: NDArray[np.float64]) -> NDArray[np.float64]:
    """Middle between the outermost points of both sides."""
    return np.asarray((vertices.min(axis=0) + vertices.max(axis=0)) / 2.0)


def _bar_faces(
    vertices: NDArray[np.float64], triangles: NDArray[np.int32], side: Side
) -> tuple[NDArray[np.int32], bool]:
    """Triangles of one bar, and whether it is a body of its own; else all that side has."""
    sign = 1.0 if side == "left" else -1.0
    body = _bodies(triangles, len(vertices))
    length = np.ptp(vertices[:, 0])
    for one in np.unique(body):
        corners = vertices[triangles[body == one].ravel()]
        long = np.ptp(corners[:, 0]) > BAR_SHARE * length
        if long and (sign * corners[:, 1] > 0).all():
            return triangles[body == one], True
    touching = (sign * vertices[triangles][..., 1]).max(axis=1) > 0
    return triangles[touching], False


def _bodies(triangles: NDArray[np.int32], points: int) -> NDArray[np.int_]:
    """Which connected body each triangle belongs to."""
    ends = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]]])
    joined = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(points, points))
    _, body = connected_components(joined, directed=False)
    return np.asarray(body[triangles[:, 0]])


def _measured(
    vertices: NDArray[np.float64], triangles: NDArray[np.int32], side: Side, where: str
) -> MountedBar:
    """One bar's underside, and its frame in the tree: origin amid the bearing length."""
    sign = 1.0 if side == "left" else -1.0
    faces, own_body = _bar_faces(vertices, triangles, side)
    below = faces[area_normals(vertices, faces)[:, 2] < 0.0]
    cells, edge = _seen_from_below(vertices, below, sign, where)
    T_tree_bar = _bar_frame(cells, where)
    T_bar_tree = np.linalg.inv(T_tree_bar).astype(np.float64)
    along, inwards, _ = placed(T_bar_tree, edge).T
    inner = None if own_body else np.polynomial.Polynomial.fit(along, inwards, 2)
    face = measured_underside(placed(T_bar_tree, vertices), faces, -sign, inner, where)
    return MountedBar(side, *_centred(face, T_tree_bar))


def _centred(
    face: Underside, T_tree_bar: NDArray[np.float64]
) -> tuple[Underside, NDArray[np.float64]]:
    """Move the bar's origin to the middle of its bearing length and width, on the face."""
    rear, front = bearing_ends(face)
    xi = (front + rear) / 2.0
    row = int(np.abs(face.xi - xi).argmin())
    under = face.eta[face.inside[row] > 0]
    eta = float(under[0] + under[-1]) / 2.0
    zeta = float(height_at(face, np.array([xi]), np.array([eta]))[0])
    T = T_tree_bar.copy()
    T[:3, 3] += T[:3, :3] @ (xi, eta, zeta)
    moved = Underside(
        face.xi - xi,
        face.eta - eta,
        face.height - zeta,
        face.inside,
        face.front - xi,
        face.rear - xi,
    )
    return moved, T


def _seen_from_below(
    vertices: NDArray[np.float64], triangles: NDArray[np.int32], sign: float, where: str
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points of one bar's underside and of its inner edge, on a grid seen from below: (n, 3), m.

    An arch shows as surface that runs on to the middle. The stations where it does not give the
    bar's inner edge; across the others that edge is drawn straight on.
    """
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    x = np.arange(low[0], high[0] + COARSE, COARSE)
    y = np.arange(0.0, max(high[1], -low[1]) + COARSE, COARSE)
    flipped = vertices * (1.0, sign, 1.0)
    z = rasterised(flipped, triangles, x, y, "lowest")
    seen = np.isfinite(z)
    free = seen.any(axis=1) & ~seen[:, 0]
    if free.sum() < FREE * seen.any(axis=1).sum():
        raise BadSettings(
            where,
            "shows no gap between two bars when looked at from below",
            "give a mesh of two bars and their arches, x forward and z up",
        )
    # The tips' rounded corners would bend the line.
    straight = free & (np.abs(x - (low[0] + high[0]) / 2.0) < 0.38 * (high[0] - low[0]))
    first = seen.argmax(axis=1)[straight]
    line = np.polynomial.Polynomial.fit(x[straight], y[first], 2)
    keep = seen & (y[None, :] >= line(x)[:, None] - 2.0 * COARSE)
    keep[free] = seen[free]
    rows, columns = np.nonzero(keep)
    cells = np.column_stack([x[rows], sign * y[columns], z[rows, columns]])
    return cells, np.column_stack([x[straight], sign * y[first], z[straight, first]])


def _bar_frame(cells: NDArray[np.float64], where: str) -> NDArray[np.float64]:
    """T_tree_bar from the face's middle: its plane, and the line along its middle."""
    x = cells[:, 0]
    middle = (x.min() + x.max()) / 2.0
    near = np.abs(x - middle) < 0.3 * np.ptp(x)
    stations = np.unique(x[near])
    if len(stations) < 10:  # noqa: PLR2004 - 30 mm of bar
        raise BadSettings(where, "shows too little of a bar", "export the whole tree")
    centres = np.array([(cells[x == s, 1].min() + cells[x == s, 1].max()) / 2.0 for s in stations])
    slope, beside = np.polyfit(stations - middle, centres, 1)
    face = cells[near]
    inner = np.abs(face[:, 1] - beside - slope * (face[:, 0] - middle)) < 0.6 * _half_breadth(face)
    design = np.column_stack(
        [face[inner, 0] - middle, face[inner, 1] - beside, np.ones(inner.sum())]
    )
    (dz_dx, dz_dy, level), *_ = np.linalg.lstsq(design, face[inner, 2], rcond=None)
    zeta = np.array([-dz_dx, -dz_dy, 1.0])
    zeta /= np.linalg.norm(zeta)
    xi = np.array([1.0, slope, dz_dx + dz_dy * slope])
    xi /= np.linalg.norm(xi)
    T = np.eye(4, dtype=np.float64)
    T[:3, :3] = np.column_stack([xi, np.cross(zeta, xi), zeta])
    T[:3, 3] = middle, beside, level
    return T


def _half_breadth(face: NDArray[np.float64]) -> float:
    low, high = np.quantile(face[:, 1], (0.02, 0.98))
    return float(high - low) / 2.0


def _tree_origin(bars: list[MountedBar]) -> NDArray[np.float64]:
    """Where the tree frame's origin lies: front end of bearing, midway, at the bars' height."""
    fronts = [
        bar.T_tree_bar[:3, 3] + bar.T_tree_bar[:3, 0] * bearing_ends(bar.underside)[1]
        for bar in bars
    ]
    origins = [bar.T_tree_bar[:3, 3] for bar in bars]
    return np.array(
        [
            np.mean([front[0] for front in fronts]),
            np.mean([origin[1] for origin in origins]),
            np.mean([origin[2] for origin in origins]),
        ]
    )


def _shifted(bar: MountedBar, shift: NDArray[np.float64]) -> MountedBar:
    T = bar.T_tree_bar.copy()
    T[:3, 3] -= shift
    return replace(bar, T_tree_bar=T)


def _centroid(vertices: NDArray[np.float64], triangles: NDArray[np.int32]) -> NDArray[np.float64]:
    """Middle of the surface, each triangle counted by its area: good for open meshes too."""
    area = np.linalg.norm(area_normals(vertices, triangles), axis=1)
    return np.asarray(np.average(triangle_middles(vertices, triangles), axis=0, weights=area))
