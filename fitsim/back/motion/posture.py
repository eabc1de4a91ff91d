"""The back at one moment of a stride: where its skin is, and which way it faces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial.transform import Rotation

from fitsim.back.motion.gait import glided, load_factor
from fitsim.back.motion.kinematics import AHEAD_OF_EDGE, BEHIND_EDGE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fitsim.back.motion.kinematics import Blade, Kinematics

    Array = NDArray[np.float64]


@dataclass(frozen=True)
class Posture:
    """The back at one moment.

    Attributes
    ----------
    phase : -, share of the stride.
    load : -, how heavy the load is, over its weight.
    glide : m, how far each blade's rear edge has gone back, by side.
    lift : m, how far it has risen, by side.
    points, normals : (n, 3) arrays, m and unit, the skin at the chart's valid nodes.
    carried : (n, 3) array, m, the skin as the spine alone has carried it.
    rise : (n,) array, m, along the normal, what the blades have added.
    """

    phase: float
    load: float
    glide: Mapping[str, float]
    lift: Mapping[str, float]
    points: Array
    normals: Array
    carried: Array
    rise: Array


def posture(moving: Kinematics, phase: float) -> Posture:
    """Move a back to one moment of its stride.

    Parameters
    ----------
    moving : Kinematics
    phase : float, -
        Share of the stride since the left hind foot came down.

    Returns
    -------
    Posture

    Notes
    -----
    Each cross-section turns and shifts as one with the spine; the blades then push the skin out
    along its normal. Normals turn with their section, and lean away from where the skin has come
    out farther than beside it, whether a blade or the twist of the spine has brought it there.
    """
    chart, gait = moving.chart, moving.gait
    back = {side: glided(gait, side, phase) for side in moving.blades}
    glide = {side: gait.shoulder.glide * moving.scale * share for side, share in back.items()}
    lift = {side: gait.shoulder.lift * moving.scale * share for side, share in back.items()}
    rise = sum(
        (
            lift[side] * edge_profile(blade, glide[side], moving.scale)
            for side, blade in moving.blades.items()
        ),
        np.zeros(chart.valid.shape),
    )
    valid = chart.valid
    turn, shift = sections(moving, phase, chart.x)
    row = np.nonzero(valid)[0]
    by_x, by_t = (np.asarray(np.gradient(rise, chart.spacing, axis=k))[valid] for k in (0, 1))
    by_x = by_x + _twisted(moving, phase, row)
    leaned = chart.normals[valid] - by_x[:, None] * moving.per_x - by_t[:, None] * moving.per_t
    leaned /= np.sqrt(np.einsum("ni,ni->n", leaned, leaned))[:, None]
    turned = np.asarray(turn.as_matrix())[row]
    carried = moved_with_sections(chart.points[valid], turned, shift[row], moving.axis[row])
    faced = np.einsum("nij,nj->ni", turned, chart.normals[valid])
    return Posture(
        phase=phase,
        load=float(load_factor(gait, np.array([phase]))[0]),
        glide=glide,
        lift=lift,
        points=carried + rise[valid][:, None] * faced,
        normals=np.einsum("nij,nj->ni", turned, leaned),
        carried=carried,
        rise=rise[valid],
    )


def edge_profile(blade: Blade, glide: float, scale: float) -> Array:
    """Share of the edge's rise that reaches each node, (nx, nt), 0..1.

    Parameters
    ----------
    blade : Blade
    glide : float, m
        How far the edge has gone back.
    scale : float, -
        Size of the animal over one of 1.5 m.
    """
    ahead = blade.ahead + glide
    width = np.where(ahead < 0.0, BEHIND_EDGE, AHEAD_OF_EDGE) * scale
    near = np.clip(np.abs(ahead) / width, 0.0, 1.0)
    return np.asarray(np.cos(0.5 * np.pi * near) ** 2 * blade.cover)


def sections(moving: Kinematics, phase: float, x: Array) -> tuple[Rotation, Array]:
    """How cross-sections have turned and shifted with the spine.

    Parameters
    ----------
    moving : Kinematics
    phase : float, -
    x : (m,) array, m, stations

    Returns
    -------
    turn : Rotation of m sections
    shift : (m, 3) array, m, of the spine's axis there

    Notes
    -----
    The bending angle runs straight from one end of the back to the other, and the axis follows it:
    d(y, z)/dx = (yaw, -pitch); at the middle both are 0. Roll runs straight from the withers to the
    hips. Beyond the ends the sections go on straight.
    """
    rear, front = moving.span
    length, middle = front - rear, 0.5 * (front + rear)
    along = np.clip((x - middle) / length, -0.5, 0.5)
    beyond = (x - middle) / length - along
    even, rate = _bent(moving, phase)
    bow = length * (along**2 / 2.0 + along * beyond)
    turn = even + along[:, None] * rate
    # The axis goes where the sections face: up where they pitch up, left where they yaw left.
    shift = bow[:, None] * np.array([0.0, rate[2], -rate[1]])
    return Rotation.from_rotvec(turn), shift


def _bent(moving: Kinematics, phase: float) -> tuple[Array, Array]:
    """Turn (3,) of the back's middle, rad, and how much more from its rear to its front."""
    gait = moving.gait
    hollow = np.cos(2.0 * np.pi * gait.flexion_cycles * (phase - gait.extended_at))
    left = np.cos(2.0 * np.pi * (phase - gait.lateral_at))
    high = np.cos(2.0 * np.pi * gait.axial_cycles * (phase - gait.axial_at))
    roll = 0.25 * high * (gait.axial_front + gait.axial_rear)
    twist = 0.5 * high * (gait.axial_front - gait.axial_rear)
    rate = np.array([twist, -0.5 * gait.flexion * hollow, gait.lateral * left])
    return np.array([roll, 0.0, 0.0]), rate


def _twisted(moving: Kinematics, phase: float, row: NDArray[np.int_]) -> Array:
    """How much farther out along its normal each node is carried per m of x, -.

    Two things do it: the twist of one section against the next, and a turn about an axis that
    slopes, which shifts sections along each other.
    """
    chart, (rear, front) = moving.chart, moving.span
    even, rate = _bent(moving, phase)
    along = np.clip((chart.x - 0.5 * (front + rear)) / (front - rear), -0.5, 0.5)
    turn = even + along[:, None] * rate
    twist = rate / (front - rear) * (np.abs(along) < 0.5)[:, None]  # noqa: PLR2004 - the ends
    slope = np.zeros_like(turn)
    slope[:, 2] = np.gradient(moving.axis, chart.spacing)
    normal, points = chart.normals[chart.valid], chart.points[chart.valid]
    side, up = points[:, 1], points[:, 2] - moving.axis[row]
    wx, wy, wz = twist[row].T
    turned = (
        normal[:, 0] * (wy * up - wz * side) - normal[:, 1] * wx * up + normal[:, 2] * wx * side
    )
    return np.asarray(turned - np.einsum("ni,ni->n", np.cross(turn, slope)[row], normal))


def moved_with_sections(points: Array, turn: Array, shift: Array, axis: Array) -> Array:
    """Points (m, 3) m carried by their sections: turned about the axis, then shifted."""
    arm = points.copy()
    arm[:, 0] = 0.0
    arm[:, 2] -= axis
    turned = np.einsum("nij,nj->ni", turn, arm)
    return np.asarray(points - arm + turned + shift)


def carried_points(moving: Kinematics, phase: float, points: Array) -> Array:
    """Places (m, 3) m off the skin, such as where a strap lies, carried by their sections."""
    turn, shift = sections(moving, phase, points[:, 0])
    axis = np.interp(points[:, 0], moving.chart.x, moving.axis)
    return moved_with_sections(points, turn.as_matrix(), shift, axis)
