"""Where the bars' undersides are over the back, and how they move with the tree and its joints."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial.transform import Rotation

if TYPE_CHECKING:
    from fitsim.tree.tree import Joint, MountedBar, Underside

Array = NDArray[np.float64]

# The ray from a node meets a smooth underside within this many steps to a micrometre; the slope
# settles sooner and is then kept.
_RAY_STEPS, _SLOPE_STEPS = 5, 2
_GUESSED_STEPS = (1, 3)  # slope and ray steps from a neighbouring pose
_EDGE_ON = 0.2  # a ray that meets the bar at a smaller sine runs past it, if it meets it at all
_RAY_MISS = 5e-4  # m
# A node's normal, run backwards through the animal, can meet the other bar.
_DEEPEST = 0.06  # m


@dataclass(frozen=True)
class Face:
    """A bar's underside made ready for evaluation anywhere.

    Attributes
    ----------
    origin : (2,) array, m, first grid point (xi, eta).
    step : (2,) array, m, grid spacing.
    height : cubic B-spline coefficients of the height field.
    slope : (2, m, k) array, -, dheight/dxi and dheight/deta on the grid.
    inside : (m, k) array, m, signed distance to the outline.
    front, rear : xi of the ends, m.
    """

    origin: Array
    step: Array
    height: Array
    slope: Array
    inside: Array
    front: float
    rear: float


def face_of(underside: Underside) -> Face:
    """Underside with its spline and slopes worked out once."""
    step = np.array([underside.xi[1] - underside.xi[0], underside.eta[1] - underside.eta[0]])
    return Face(
        origin=np.array([underside.xi[0], underside.eta[0]]),
        step=step,
        height=ndimage.spline_filter(underside.height, order=3, mode="nearest"),
        slope=np.stack(
            [np.gradient(underside.height, step[axis], axis=axis, edge_order=2) for axis in (0, 1)]
        ),
        inside=underside.inside,
        front=underside.front,
        rear=underside.rear,
    )


@dataclass(frozen=True)
class Overhead:
    """What the rays from some nodes along their normals meet.

    Attributes
    ----------
    distance : (n,) array, m, from the node to the underside, negative where it dips in.
    hit : (n, 3) array, m, body frame.
    normal : (n, 3) array, unit normal of the underside, body frame, away from the back.
    inside : (n,) array, m, signed distance of the hit to the bar's outline.
    along : (n,) array, -, 0 at the bar's front end, 1 at its rear.
    """

    distance: Array
    hit: Array
    normal: Array
    inside: Array
    along: Array


def overhead(
    face: Face, T_body_bar: Array, points: Array, normals: Array, guess: Array | None = None
) -> Overhead:
    """Shoot every node's normal at a bar's underside.

    Parameters
    ----------
    face : Face
    T_body_bar : (4, 4) array
    points, normals : (n, 3) arrays, m and unit, body frame
    guess : (n,) array, m, optional
        Distances in a neighbouring pose, which save half of the work.

    Returns
    -------
    Overhead
        Rays that miss the underside or meet it from inside the animal are returned as far
        outside the outline.
    """
    turn = T_body_bar[:3, :3]
    start = (points - T_body_bar[:3, 3]) @ turn
    ray = normals @ turn
    away = np.abs(ray[:, 2]) < _EDGE_ON
    rise = np.where(away, 1.0, ray[:, 2])
    distance = -start[:, 2] / rise if guess is None else guess
    slope_steps, ray_steps = (_SLOPE_STEPS, _RAY_STEPS) if guess is None else _GUESSED_STEPS
    for step in range(ray_steps):
        place = start[:, :2] + distance[:, None] * ray[:, :2]
        if step < slope_steps:
            slope = _slope(face, place)
            steepness = rise - slope[0] * ray[:, 0] - slope[1] * ray[:, 1]
            steepness = np.where(np.abs(steepness) < _EDGE_ON, 1.0, steepness)
        miss = start[:, 2] + distance * rise - _height(face, place)
        distance = distance - miss / steepness
    place = start[:, :2] + distance[:, None] * ray[:, :2]
    slope = _slope(face, place)
    miss = np.abs(start[:, 2] + distance * rise - _height(face, place))
    normal = np.column_stack([-slope[0], -slope[1], np.ones(len(points))])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    inside = _sample(face, face.inside, place)
    # Fading a ray out as it misses, rather than dropping it, keeps the forces continuous.
    inside -= 10.0 * np.clip(miss - _RAY_MISS, 0.0, 0.1)
    inside[away | (distance < -_DEEPEST)] = -1.0
    return Overhead(
        distance=distance,
        hit=points + distance[:, None] * normals,
        normal=normal @ turn.T,
        inside=inside,
        along=(face.front - place[:, 0]) / (face.front - face.rear),
    )


def _height(face: Face, place: Array) -> Array:
    """Height (n,) m of an underside at places (n, 2) m."""
    at = ((place - face.origin) / face.step).T
    height: Array = ndimage.map_coordinates(
        face.height, at, order=3, mode="nearest", prefilter=False
    )
    return height


def _slope(face: Face, place: Array) -> Array:
    """Slope (2, n) of an underside at places (n, 2) m."""
    at = ((place - face.origin) / face.step).T
    return np.stack(
        [ndimage.map_coordinates(part, at, order=1, mode="nearest") for part in face.slope]
    )


def _sample(face: Face, field: Array, place: Array) -> Array:
    """A field on the underside's grid at places (n, 2) m; beyond the grid, farther outside."""
    at = ((place - face.origin) / face.step).T
    top = np.array(field.shape)[:, None] - 1.0
    beyond = np.clip(-at, 0.0, None) + np.clip(at - top, 0.0, None)
    value: Array = ndimage.map_coordinates(field, at, order=1, mode="nearest")
    past: Array = np.hypot(beyond[0] * face.step[0], beyond[1] * face.step[1])
    return value - past


@dataclass(frozen=True)
class Hinge:
    """A joint where it stands now: a point (3,) m and axis (3,) in the body frame."""

    point: Array
    axis: Array


def place_bar(
    T_body_tree: Array, bar: MountedBar, angles: Array
) -> tuple[Array, tuple[Hinge, ...]]:
    """Pose of a bar whose joints stand at the given angles.

    Parameters
    ----------
    T_body_tree : (4, 4) array
    bar : MountedBar
    angles : (j,) array, rad, one per joint of the bar

    Returns
    -------
    T_body_bar : (4, 4) array
    hinges : one per joint, where each stands after those before it have turned
    """
    current = T_body_tree
    hinges = []
    for joint, angle in zip(bar.joints, angles, strict=True):
        hinges.append(
            Hinge(current[:3, :3] @ joint.point + current[:3, 3], current[:3, :3] @ joint.axis)
        )
        current = current @ turned(joint, angle)
    return current @ bar.T_tree_bar, tuple(hinges)


def turned(joint: Joint, angle: float) -> Array:
    """Rotation (4, 4) about a joint's axis through its point."""
    return about(joint.point, joint.axis * angle)


def about(point: Array, rotation: Array) -> Array:
    """Rotation (4, 4) by a rotation vector (3,) rad about a point (3,) m."""
    turn = Rotation.from_rotvec(rotation).as_matrix()
    T = np.eye(4)
    T[:3, :3] = turn
    T[:3, 3] = point - turn @ point
    return T
