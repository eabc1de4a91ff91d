"""A parametric bar fitted to a mesh's undersides, so that the tree can be varied from there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from fitsim.errors import BadSettings
from fitsim.tree.bar import Bar, Flare, arc, face_height, inside_outline, roll_rise
from fitsim.tree.build import inner_edge
from fitsim.tree.faces import height_at
from fitsim.tree.imprint import bearing_ends
from fitsim.tree.placed import placed
from fitsim.tree.raster import rasterised
from fitsim.tree.read import settings_from
from fitsim.tree.tree import USUAL_THICKNESS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fitsim.tree.settings import TreeSettings
    from fitsim.tree.tree import MountedBar, Tree, Underside

    Array = NDArray[np.float64]

#: Spacing of the points that are fitted, m, and how far inside the outline they lie at least.
SPACING, WITHIN = 0.010, 0.002

#: A rocker turned about its own centre is the same rocker with another lowest point, so that the
#: mesh is believed to lie level: 1 rad of pitch costs as much as this misfit of one point, m (a
#: straight bar that is tilted is still found to be so: a thousand points speak for it). Where a
#: straight bar has no lowest point, 1 m away from its middle costs as much as the other.
TURNED, SHIFTED = 0.5, 1e-7

#: Starting values and bounds of what is fitted: low, high, and a step that matters (m, 1/m, rad).
BOUNDS: dict[str, tuple[float, float, float]] = {
    "length": (0.20, 1.20, 0.01),
    "front_width": (0.03, 0.30, 0.01),
    "middle_width": (0.03, 0.30, 0.01),
    "rear_width": (0.03, 0.30, 0.01),
    "curve": (-3.0, 3.0, 0.1),
    "low": (-0.3, 0.3, 0.1),
    "twist": (-1.0, 1.0, 0.05),
    "crown": (-0.02, 0.02, 0.001),
    "front_flare": (0.0, 0.25, 0.01),
    "front_rise": (0.0, 0.12, 0.002),
    "rear_flare": (0.0, 0.25, 0.01),
    "rear_rise": (0.0, 0.12, 0.002),
    "edge_roll": (0.0005, 0.04, 0.002),
    "corner": (0.005, 0.08, 0.005),
    "x": (-1.0, 1.0, 0.01),
    "y": (-1.0, 1.0, 0.01),
    "z": (-1.0, 1.0, 0.01),
    "roll": (-1.4, 1.4, 0.05),
    "pitch": (-0.5, 0.5, 0.02),
    "yaw": (-0.5, 0.5, 0.02),
}
NAMES = tuple(BOUNDS)


@dataclass(frozen=True)
class Fitted:
    """A tree of measures that stands for a mesh.

    Attributes
    ----------
    settings : of the tree.
    rms, worst : m, of what is left between both undersides and the fitted one.
    notes : sentences for the user.
    """

    settings: TreeSettings
    rms: float
    worst: float
    notes: tuple[str, ...]


def fitted(tree: Tree, arches_at: tuple[float, float] | None = None) -> Fitted:
    """Fit one bar, the same for both sides, to a tree's two undersides.

    Parameters
    ----------
    tree : from a mesh (or any other).
    arches_at : m, where the arches are taken to be, behind the front tip; a mesh does not tell.
        By default a tenth of the bearing length inside its two ends.

    Returns
    -------
    Fitted

    Raises
    ------
    BadSettings
        What was found makes no tree that can be built.

    Notes
    -----
    Least squares over heights of the face and distances of its outline. Pockets, slots and notches
    are not looked for: they stay in what is left.
    """
    cloud, rim = _cloud(tree)
    start = _start(tree.bars[0])
    low, high, step = (np.array([BOUNDS[name][k] for name in NAMES]) for k in range(3))
    pitch, lowest = NAMES.index("pitch"), NAMES.index("low")

    def misfit(values: Array) -> Array:
        bar, T_tree_bar = _of(values)
        off, edge = _left(bar, T_tree_bar, cloud, rim)
        slight = [TURNED * values[pitch], SHIFTED * values[lowest]]
        return np.concatenate([off, edge, slight])

    found = least_squares(
        misfit, np.clip(start, low, high), bounds=(low, high), x_scale=step, xtol=1e-9, ftol=1e-12
    )
    bar, T_tree_bar = _of(found.x)
    off, _ = _left(bar, T_tree_bar, cloud, rim)
    thick = _thickness(tree)
    settings = _settings(tree, bar, found.x, arches_at, thick)
    rms, worst = float(np.sqrt(np.mean(off**2))), float(np.abs(off).max())
    return Fitted(settings, rms, worst, _notes(rms, worst, found.x, thick))


def _of(values: Array) -> tuple[Bar, Array]:
    """Bar and T_tree_bar from what is fitted."""
    v = dict(zip(NAMES, values.tolist(), strict=True))
    bar = Bar(
        length=v["length"],
        widths=(v["front_width"], v["middle_width"], v["rear_width"]),
        curve=v["curve"],
        low=v["low"],
        twist=v["twist"],
        crown=v["crown"],
        front_flare=Flare(v["front_flare"], v["front_rise"]),
        rear_flare=Flare(v["rear_flare"], v["rear_rise"]),
        edge_roll=v["edge_roll"],
        corner=v["corner"],
        thickness=USUAL_THICKNESS,
    )
    T = np.eye(4)
    T[:3, :3] = Rotation.from_euler("ZYX", [v["yaw"], v["pitch"], v["roll"]]).as_matrix()
    T[:3, 3] = v["x"], v["y"], v["z"]
    return bar, T


def _left(bar: Bar, T_tree_bar: Array, cloud: Array, rim: Array) -> tuple[Array, Array]:
    """What is left: heights over the face, and distances of rim points from the outline, m."""
    T_bar_tree = np.linalg.inv(T_tree_bar).astype(np.float64)
    points = placed(T_bar_tree, np.concatenate([cloud, rim]))
    inside = inside_outline(bar, points[:, 0], points[:, 1])
    count = len(cloud)
    xi, eta, zeta = points[:count].T
    off = zeta - face_height(bar, xi, eta) - roll_rise(inside[:count], bar.edge_roll)
    return off, inside[count:]


def _cloud(tree: Tree) -> tuple[Array, Array]:
    """Points of both undersides and of their outlines, the right one's mirrored, tree frame."""
    clouds, rims = [], []
    for bar, sign in zip(tree.bars, (1.0, -1.0), strict=True):
        face = bar.underside
        step = max(1, round(SPACING / float(face.xi[1] - face.xi[0])))
        some = (slice(None, None, step), slice(None, None, step))
        xi, eta = np.meshgrid(face.xi[some[0]], face.eta[some[1]], indexing="ij")
        keep = face.inside[some] > WITHIN
        points = np.column_stack([xi[keep], eta[keep], face.height[some][keep]])
        clouds.append(placed(bar.T_tree_bar, points) * (1.0, sign, 1.0))
        rims.append(placed(bar.T_tree_bar, _rim(face)) * (1.0, sign, 1.0))
    return np.concatenate(clouds), np.concatenate(rims)


def _rim(face: Underside) -> Array:
    """Points along the outline, (n, 3) m, bar frame."""
    from contourpy import contour_generator

    lines = contour_generator(face.eta, face.xi, face.inside).lines(0.0)
    line = max((np.asarray(one) for one in lines), key=len)[:, ::-1]
    length = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1)))
    even = np.arange(0.0, length[-1], SPACING / 2.0)
    xi, eta = (np.interp(even, length, column) for column in line.T)
    return np.column_stack([xi, eta, height_at(face, xi, eta)])


def _start(left: MountedBar) -> Array:
    """Where the fit begins, read off the left bar."""
    face = left.underside
    rear, front = bearing_ends(face)
    middle = (face.front + face.rear) / 2.0
    widths = [
        _width(face, middle + share * (face.front - face.rear)) for share in (0.42, 0.0, -0.42)
    ]
    roll, pitch, yaw = Rotation.from_matrix(left.T_tree_bar[:3, :3]).as_euler("ZYX")[::-1]
    xi = np.array([rear, (rear + front) / 2.0, front])
    heights = height_at(face, xi, np.zeros(3))
    sagitta = (heights[0] + heights[2]) / 2.0 - heights[1]
    start = {
        "length": face.front - face.rear,
        "front_width": widths[0],
        "middle_width": widths[1],
        "rear_width": widths[2],
        "curve": 8.0 * sagitta / max(front - rear, 0.1) ** 2,
        "low": 0.0,
        "twist": 0.0,
        "crown": 0.001,
        "front_flare": max(face.front - front, 0.01),
        "front_rise": 0.01,
        "rear_flare": max(rear - face.rear, 0.01),
        "rear_rise": 0.01,
        "edge_roll": 0.006,
        "corner": 0.03,
        "x": left.T_tree_bar[0, 3],
        "y": left.T_tree_bar[1, 3],
        "z": left.T_tree_bar[2, 3],
        "roll": roll,
        "pitch": pitch,
        "yaw": yaw,
    }
    return np.array([start[name] for name in NAMES])


def _width(face: Underside, xi: float) -> float:
    row = face.inside[int(np.abs(face.xi - xi).argmin())]
    return float(np.ptp(face.eta[row > 0.0])) if (row > 0.0).sum() > 1 else 0.08


def _thickness(tree: Tree) -> float | None:
    """Thickness seen along the left bar's middle line, m; None where it makes no sense."""
    bar = tree.bars[0]
    if len(tree.triangles) == 0:
        return None
    points = placed(np.linalg.inv(bar.T_tree_bar).astype(np.float64), tree.vertices)
    face = bar.underside
    xi = np.arange(face.rear + 0.05, face.front - 0.05, 0.005)
    eta = np.arange(-0.012, 0.013, 0.006)
    low = rasterised(points, tree.triangles, xi, eta, "lowest")
    high = rasterised(points, tree.triangles, xi, eta, "highest")
    seen = np.isfinite(low)
    if not seen.any():
        return None
    thick = float(np.median((high - low)[seen]))
    return thick if 0.004 < thick < 0.08 else None  # noqa: PLR2004 - m: a bar, not a gap or a bow


def _settings(
    tree: Tree,
    bar: Bar,
    values: Array,
    arches_at: tuple[float, float] | None,
    thick: float | None,
) -> TreeSettings:
    inset = 0.1 * bar.bearing
    usual = (bar.front_flare.length + inset, bar.length - bar.rear_flare.length - inset)
    at = arches_at or (round(usual[0], 3), round(usual[1], 3))
    v = dict(zip(NAMES, values.tolist(), strict=True))
    level = Rotation.from_euler("ZYX", [v["yaw"], 0.0, v["roll"]]).as_matrix()

    def arch(behind_front: float) -> dict[str, object]:
        xi = bar.front - behind_front
        edge = level @ inner_edge(bar, behind_front)
        return {
            "at": behind_front,
            "spread": 2.0 * (v["y"] + float(edge[1])),
            "angle": -v["roll"] + bar.twist * xi / bar.bearing,
        }

    data: dict[str, object] = {
        "name": tree.name,
        "about": "fitted to a mesh",
        "kind": "riding",
        "mass": tree.mass,
        "bar": _bar_settings(bar, thick),
        "arches": {"front": arch(at[0]), "rear": arch(at[1])},
        "rigging": {"front": at[0], "rear": at[1]},
    }
    try:
        return settings_from(_rounded(data), tree.name)
    except BadSettings as fault:
        raise BadSettings(
            tree.name,
            f"the bar fitted to it cannot be built ({fault.where}: {fault.fault})",
            "check that the mesh is a tree, and its unit",
        ) from fault


def _bar_settings(bar: Bar, thick: float | None) -> dict[str, object]:
    front, middle, rear = bar.widths
    roll = bar.edge_roll
    sagitta = float(arc(np.array([bar.bearing / 2.0]), bar.curve)[0])
    return {
        "length": bar.length,
        "width": {"front": front, "middle": middle, "rear": rear},
        "curve": {"sagitta": sagitta, "low": bar.front - bar.low},
        "crown": bar.crown,
        "flare": {
            "front": {"length": bar.front_flare.length, "rise": bar.front_flare.rise},
            "rear": {"length": bar.rear_flare.length, "rise": bar.rear_flare.rise},
        },
        "edge_roll": roll,
        "corner": max(bar.corner, roll),
        "thickness": max(thick or USUAL_THICKNESS, 2.0 * roll),
    }


def _rounded(table: Mapping[str, object]) -> dict[str, object]:
    """Numbers to a micrometre or a microradian: a file that can be read."""
    return {
        key: _rounded(value)
        if isinstance(value, dict)
        else round(value, 6)
        if isinstance(value, float)
        else value
        for key, value in table.items()
    }


def _notes(rms: float, worst: float, values: Array, thick: float | None) -> tuple[str, ...]:
    v = dict(zip(NAMES, values.tolist(), strict=True))
    said = (
        f"the fitted bar is {rms * 1e3:.2f} mm off the mesh's undersides (root mean square), "
        f"{worst * 1e3:.1f} mm at most"
    )
    notes = [said]
    if abs(np.degrees(v["pitch"])) > 1.0:
        notes.append(
            f"the mesh lies {abs(np.degrees(v['pitch'])):.0f} deg "
            f"{'front' if v['pitch'] > 0 else 'rear'} down, which was taken out"
        )
    notes.append(
        "a mesh tells no mass, arches, hinges or rings: look at mass, arches, pivot and rigging"
    )
    if thick is None:
        notes.append(f"its thickness does not show; {USUAL_THICKNESS * 1e3:.0f} mm is assumed")
    return tuple(notes)
