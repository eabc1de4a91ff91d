"""Where the bars' undersides are over the back, and how they move with the tree and its joints."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.underside import Face, height_and_slope, outline_distance

if TYPE_CHECKING:
    from fitsim.tree.tree import Joint, MountedBar

Array = NDArray[np.float64]
Index = NDArray[np.int_]

# Newton steps along a ray. From the plane of the bar a smooth underside is met to a micrometre
# by the fourth; from the distance in a neighbouring pose by the second.
_RAY_STEPS, _GUESSED_STEPS = 4, 2
_MET = 1e-10  # m; a ray this near to the underside is left there
_EDGE_ON = 0.2  # a ray that meets the bar at a smaller sine runs past it, if it meets it at all
_RAY_MISS = 5e-4  # m
# A node's normal, run backwards through the animal, can meet the other bar.
_DEEPEST = 0.06  # m


@dataclass(frozen=True)
class Overhead:
    """What the rays from some nodes along their normals meet.

    Attributes
    ----------
    distance : (n,) array, m, from the node to the underside, negative where it dips in.
    hit : (n, 3) array, m, body frame.
    normal : (n, 3) array, unit normal of the underside, body frame, away from the back.
    inside : (n,) array, m, signed distance of the hit to the bar's outline.
    inward : (n, 3) array, -, body frame: growth of `inside` as the hit goes over the bar's plane.
    along : (n,) array, -, 0 at the bar's front end, 1 at its rear.
    """

    distance: Array
    hit: Array
    normal: Array
    inside: Array
    inward: Array
    along: Array


def overhead(  # noqa: PLR0917 - rays, and the bars they are shot at
    face: Face,
    T_body_bar: Array,
    points: Array,
    normals: Array,
    guess: Array | None = None,
    bar: Index | None = None,
) -> Overhead:
    """Shoot every node's normal at the underside of the bar it belongs to.

    Parameters
    ----------
    face : Face
        Of one bar or of several.
    T_body_bar : (4, 4) or (b, 4, 4) array
        Pose of each bar.
    points, normals : (n, 3) arrays, m and unit, body frame
    guess : (n,) array, m, optional
        Distances in a neighbouring pose, which save half of the work.
    bar : (n,) int array, optional
        The bar each ray is shot at; the first where not given.

    Returns
    -------
    Overhead
        Rays that miss the underside or meet it from inside the animal are returned as far
        outside the outline.
    """
    poses = T_body_bar.reshape(-1, 4, 4)
    which = np.zeros(len(points), dtype=np.int_) if bar is None else bar
    turn = poses[which, :3, :3]
    start = np.einsum("nij,ni->nj", turn, points - poses[which, :3, 3])
    ray = np.einsum("nij,ni->nj", turn, normals)
    away = np.abs(ray[:, 2]) < _EDGE_ON
    rise = np.where(away, 1.0, ray[:, 2])
    distance = -start[:, 2] / rise if guess is None else guess.copy()
    steps = _RAY_STEPS if guess is None else _GUESSED_STEPS
    slope, miss = _march(face, which, start, np.column_stack([ray[:, :2], rise]), distance, steps)
    place = start[:, :2] + distance[:, None] * ray[:, :2]
    inside, growth = outline_distance(face, which, place)
    # Fading a ray out as it misses, rather than dropping it, keeps the forces continuous.
    inside -= 10.0 * np.clip(np.abs(miss) - _RAY_MISS, 0.0, 0.1)
    inside[away | (distance < -_DEEPEST)] = -1.0
    return Overhead(
        distance=distance,
        hit=points + distance[:, None] * normals,
        normal=_normal(turn, slope),
        inside=inside,
        inward=np.einsum("nij,nj->ni", turn[:, :, :2], growth),
        along=(face.front[which] - place[:, 0]) / (face.front - face.rear)[which],
    )


def _march(  # noqa: PLR0917 - rays, where they are, and how far to go
    face: Face, which: Index, start: Array, ray: Array, distance: Array, steps: int
) -> tuple[Array, Array]:
    """Newton steps along rays: moves `distance`, returns slope (n, 2) and miss (n,) m there."""
    slope, miss = np.empty((len(start), 2)), np.empty(len(start))
    going: Index | slice = slice(None)
    for step in range(steps + 1):
        origin, way, along = start[going], ray[going], distance[going]
        height, lean = height_and_slope(
            face, which[going], origin[:, :2] + along[:, None] * way[:, :2]
        )
        off = origin[:, 2] + along * way[:, 2] - height
        slope[going], miss[going] = lean, off
        unmet = np.flatnonzero(np.abs(off) > _MET)
        if step == steps or len(unmet) == 0:
            break
        steepness = way[:, 2] - lean[:, 0] * way[:, 0] - lean[:, 1] * way[:, 1]
        closer = off / np.where(np.abs(steepness) < _EDGE_ON, 1.0, steepness)
        going = unmet if isinstance(going, slice) else going[unmet]
        distance[going] -= closer[unmet]
    return slope, miss


def _normal(turn: Array, slope: Array) -> Array:
    """Unit normals (n, 3) in the body frame of undersides of given slope (n, 2)."""
    normal = turn[:, :, 2] - turn[:, :, 0] * slope[:, :1] - turn[:, :, 1] * slope[:, 1:]
    size = np.sqrt(1.0 + slope[:, 0] ** 2 + slope[:, 1] ** 2)
    return np.asarray(normal / size[:, None])


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
    turn = rotation_matrix(rotation)
    T = np.eye(4)
    T[:3, :3] = turn
    T[:3, 3] = point - turn @ point
    return T


def rotation_matrix(vector: Array) -> Array:
    """(3, 3) rotation by a vector (3,) rad: Rodrigues' formula.

    Examples
    --------
    >>> np.round(rotation_matrix(np.array([0.0, 0.0, np.pi / 2.0])) @ [1.0, 0.0, 0.0], 12)
    array([0., 1., 0.])
    """
    x, y, z = vector.tolist()
    square = x * x + y * y + z * z
    angle = np.sqrt(square)
    # sin(a)/a and (1 - cos(a))/a^2 by half angles, which lose no digits near 0
    sine = float(np.sinc(angle / np.pi))
    versine = 0.5 * float(np.sinc(0.5 * angle / np.pi)) ** 2
    turn = np.array(
        [
            [x * x - square, x * y, x * z],
            [x * y, y * y - square, y * z],
            [x * z, y * z, z * z - square],
        ]
    )
    across = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + sine * across + versine * turn)
