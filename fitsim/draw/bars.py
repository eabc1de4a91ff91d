"""Where the bars lie over the back: outlines, middle lines, tips, and the daylight below."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Chart
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.tree.tree import MountedBar, Side, Tree


def moved(T_target_source: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return points carried by a (4, 4) transform, (n, 3)."""
    return points @ T_target_source[:3, :3].T + T_target_source[:3, 3]


def bar_pose(tree: Tree, equilibrium: Equilibrium, index: int) -> NDArray[np.float64]:
    """Return T_body_bar, the pose of a bar at rest with its hinges turned, (4, 4).

    Parameters
    ----------
    index : 0 for the left bar, 1 for the right.
    """
    before = sum(len(bar.joints) for bar in tree.bars[:index])
    bar = tree.bars[index]
    T = equilibrium.T_body_tree.copy()
    for joint, angle in zip(bar.joints, equilibrium.joint_angles[before:], strict=False):
        T = T @ _turn(joint.point, joint.axis, float(angle))
    return np.asarray(T @ bar.T_tree_bar)


def _turn(
    point: NDArray[np.float64], axis: NDArray[np.float64], angle: float
) -> NDArray[np.float64]:
    """Return the turn by an angle (rad) about an axis through a point, (4, 4)."""
    from scipy.spatial.transform import Rotation

    T = np.eye(4)
    T[:3, :3] = Rotation.from_rotvec(angle * np.asarray(axis)).as_matrix()
    T[:3, 3] = point - T[:3, :3] @ point
    return T


def outline(bar: MountedBar) -> NDArray[np.float64]:
    """Return the rim of a bar's underside in its own frame, (k, 3) m, closed."""
    from contourpy import contour_generator
    from scipy.interpolate import RegularGridInterpolator

    face = bar.underside
    rims = [np.asarray(rim) for rim in contour_generator(face.eta, face.xi, face.inside).lines(0.0)]
    rim = max(rims, key=len)[:, ::-1]
    height = RegularGridInterpolator((face.xi, face.eta), face.height)
    return np.column_stack([rim, height(rim)])


def footprint(chart: Chart, rim: NDArray[np.float64], step: float = 0.004) -> NDArray[np.float64]:
    """Return where a rim falls on the skin, square to the skin, (n, 3) m.

    Under a pad the rim stands off the skin; seen from above on a sloping back it would seem to
    lie beside what it presses.

    Parameters
    ----------
    rim : (k, 3) array, m, body frame, closed.
    step : m, how far the rim's points are spread along it.
    """
    from scipy.ndimage import gaussian_filter1d
    from scipy.spatial import cKDTree

    nodes, normals = chart.points[chart.valid], chart.normals[chart.valid]
    legs = np.linalg.norm(np.diff(rim, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(legs)])
    places = np.arange(0.0, along[-1], step)
    even = np.column_stack([np.interp(places, along, rim[:, k]) for k in range(3)])
    _, near = cKDTree(nodes).query(even, k=4)
    normal = normals[near].mean(axis=1)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    height = np.einsum("nk,nk->n", even - nodes[near].mean(axis=1), normal)
    fallen = gaussian_filter1d(even - height[:, None] * normal, 1.5, axis=0, mode="wrap")
    return np.vstack([fallen, fallen[:1]])


def middle_line(bar: MountedBar, count: int = 113) -> NDArray[np.float64]:
    """Return the middle of a bar's underside from front to rear, bar frame, (count, 3) m."""
    from scipy.interpolate import RegularGridInterpolator

    face = bar.underside
    weight = np.clip(face.inside, 0.0, None)
    total = weight.sum(axis=1)
    within = total > 0
    middle = np.interp(face.xi, face.xi[within], (weight @ face.eta)[within] / total[within])
    xi = np.linspace(face.front, face.rear, count)
    eta = np.interp(xi, face.xi, middle)
    height = RegularGridInterpolator(
        (face.xi, face.eta), face.height, bounds_error=False, fill_value=None
    )
    return np.column_stack([xi, eta, height(np.column_stack([xi, eta]))])


@dataclass(frozen=True)
class Daylight:
    """What lies under the middle line of one bar, from its front end to its rear.

    Attributes
    ----------
    side : "left" or "right".
    along : (n,) array, m, from the bar's front end.
    bar : (n, 3) array, m, body frame, the underside.
    gap : (n,) array, m, clearance to the pressed back and its pad, square to the skin; 0 touches.
    indentation : (n,) array, m, how far the skin is pressed in there.
    pressure : (n,) array, Pa.
    slope : rise per m along the bar of the line through both its ends as seated, -; taken out
        where the bar is drawn, so that its curve and not the lie of the back fills the strip.
    """

    side: Side
    along: NDArray[np.float64]
    bar: NDArray[np.float64]
    gap: NDArray[np.float64]
    indentation: NDArray[np.float64]
    pressure: NDArray[np.float64]
    slope: float


def daylight(chart: Chart, tree: Tree, equilibrium: Equilibrium, index: int) -> Daylight:
    """Return what lies under one bar's middle line, from the nearest nodes under that bar.

    Parameters
    ----------
    index : 0 for the left bar, 1 for the right.

    Raises
    ------
    ValueError
        When no node lies under the bar.
    """
    from scipy.ndimage import gaussian_filter1d
    from scipy.spatial import cKDTree

    bar = tree.bars[index]
    local = middle_line(bar)
    line = moved(bar_pose(tree, equilibrium, index), local)
    seated = moved(equilibrium.T_body_tree_seat @ bar.T_tree_bar, local)
    sign = 1 if bar.side == "left" else -1
    under = np.flatnonzero((equilibrium.bar == sign) & np.isfinite(equilibrium.gap))
    if len(under) == 0:
        msg = f"no node lies under the {bar.side} bar"
        raise ValueError(msg)
    nodes = chart.points[chart.valid][under]
    found = cKDTree(nodes).query(line, k=min(9, len(under)))
    distance, near = (np.asarray(part).reshape(len(line), -1) for part in found)
    weight = 1.0 / (distance + 0.5 * chart.spacing) ** 2
    weight /= weight.sum(axis=1, keepdims=True)

    def below(field: NDArray[np.float64]) -> NDArray[np.float64]:
        mixed = np.einsum("nk,nk->n", weight, field[under][near])
        # The nearest nodes change in steps along the line; the field does not.
        return np.asarray(gaussian_filter1d(mixed, 1.5, mode="nearest"))

    return Daylight(
        bar.side,
        local[0, 0] - local[:, 0],
        line,
        below(equilibrium.gap),
        below(equilibrium.indentation),
        below(equilibrium.pressure),
        float((seated[-1, 2] - seated[0, 2]) / (local[0, 0] - local[-1, 0])),
    )
