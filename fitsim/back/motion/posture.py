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
    along its normal. The skin keeps its normal pieces together: normals turn with the section and
    lean away from where the skin has risen.
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
    leaned = _leaned(chart.normals[valid], rise, chart.spacing, valid)
    turn, shift = sections(moving, phase, chart.x)
    row = np.nonzero(valid)[0]
    carried = moved_with_sections(
        chart.points[valid], np.asarray(turn.as_matrix())[row], shift[row], moving.axis[row]
    )
    faced = turn[row].apply(chart.normals[valid])
    return Posture(
        phase=phase,
        load=float(load_factor(gait, np.array([phase]))[0]),
        glide=glide,
        lift=lift,
        points=carried + rise[valid][:, None] * faced,
        normals=turn[row].apply(leaned),
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
    d(y, z)/dx = (yaw, -pitch). Roll runs straight from the withers to the hips. Beyond the ends
    the sections go on straight.
    """
    gait, (rear, front) = moving.gait, moving.span
    length, middle = front - rear, 0.5 * (front + rear)
    along = np.clip((x - middle) / length, -0.5, 0.5)
    beyond = (x - middle) / length - along
    hollow = np.cos(2.0 * np.pi * gait.flexion_cycles * (phase - gait.extended_at))
    left = np.cos(2.0 * np.pi * (phase - gait.lateral_at))
    high = np.cos(2.0 * np.pi * gait.axial_cycles * (phase - gait.axial_at))
    bent_up, bent_left = 0.5 * gait.flexion * hollow, gait.lateral * left
    bow = length * (along**2 / 2.0 + along * beyond)
    roll = 0.5 * high * (gait.axial_rear + (gait.axial_front - gait.axial_rear) * (along + 0.5))
    turn = np.column_stack([roll, -bent_up * along, bent_left * along])
    shift = np.column_stack([np.zeros_like(x), bent_left * bow, bent_up * bow])
    return Rotation.from_rotvec(turn), shift


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


def _leaned(normals: Array, rise: Array, spacing: float, valid: NDArray[np.bool_]) -> Array:
    """Normals (n, 3) leaning away from where the skin has risen."""
    by_x, by_t = (np.asarray(np.gradient(rise, spacing, axis=k))[valid] for k in (0, 1))
    forward = np.array([1.0, 0.0, 0.0]) - normals[:, :1] * normals
    stretch = np.linalg.norm(forward, axis=1, keepdims=True)
    forward /= stretch
    left = np.cross(normals, forward)
    # A step of the chart along x is longer on sloping skin.
    leaned = normals - by_x[:, None] * stretch * forward - by_t[:, None] * left
    return np.asarray(leaned / np.linalg.norm(leaned, axis=1, keepdims=True))
