"""Fine turning of the body frame: roll from the mirrored sections, yaw and place from the spine."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.trunk import SEEN

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.crest import Crest
    from fitsim.back.trunk import TrunkSurface

HUBER = 0.010
"""m: left and right may differ by this before they count less (real animals: 10-25 mm)."""

FEWEST_PAIRS, FEWEST_ROWS = 50, 5
"""Grid nodes and rows below which a step is not taken."""


def mirror_step(
    surface: TrunkSurface,
    x_range: tuple[float, float],
    crest_z: float,
    *,
    roll_free: bool = True,
) -> NDArray[np.float64]:
    """Rigid step that makes left and right of the trunk mirror each other better.

    Parameters
    ----------
    surface : TrunkSurface
    x_range : stations to compare, m.
    crest_z : float, m: height of the line the roll turns about.
    roll_free : whether the roll may change; feet on the ground settle it better.

    Returns
    -------
    (4, 4) array
        T_new_old.

    Notes
    -----
    Moving the surface by a small d(p) changes its radius at a fixed angle by d . n / (n . e_r).
    Huber-weighted Gauss-Newton on r(x, angle) - r(x, -angle); linear in roll, yaw and shift.
    """
    radius, angle = surface.radius, surface.angle
    x = surface.grid.a
    slope_x = np.gradient(radius, surface.grid.cell, axis=0)
    slope_angle = np.gradient(radius, angle, axis=1)
    sine, cosine = np.sin(angle), np.cos(angle)
    tilt = slope_angle / radius
    # Unit-free normal (component along e_r is 1) in x, y, z.
    normal_y = sine - tilt * cosine
    normal_z = cosine + tilt * sine
    height = radius * cosine + surface.axis_z[:, None] - crest_z
    side = radius * sine
    roll = -height * normal_y + side * normal_z
    yaw = -side * -slope_x + (x - np.mean(x_range))[:, None] * normal_y
    shift = normal_y
    uneven = radius - radius[:, ::-1]
    effects = np.stack([field - field[:, ::-1] for field in (roll, yaw, shift)], axis=-1)
    rows = (x >= x_range[0]) & (x <= x_range[1])
    use = (
        rows[:, None] & (angle > np.radians(4.0)) & (angle < np.radians(100.0))
        & (surface.cover > SEEN) & (surface.cover[:, ::-1] > SEEN)
        & np.isfinite(uneven) & np.isfinite(effects).all(axis=-1)
    )  # fmt: skip
    if use.sum() < FEWEST_PAIRS:
        return np.eye(4)
    first = 0 if roll_free else 1
    moves = np.zeros(3)
    moves[first:] = huber_fit(effects[use][:, first:], uneven[use])
    return _rigid(moves, float(np.mean(x_range)), crest_z)


def spine_step(crest: Crest, x_range: tuple[float, float]) -> NDArray[np.float64]:
    """Yaw and sideways step that lay the spine line along x.

    Parameters
    ----------
    crest : Crest
    x_range : stations to lay along x, m.

    Returns
    -------
    (4, 4) array
        T_new_old.
    """
    use = crest.seen & (crest.x >= x_range[0]) & (crest.x <= x_range[1])
    if use.sum() < FEWEST_ROWS:
        return np.eye(4)
    middle = float(np.mean(x_range))
    slope, offset = np.polyfit(crest.x[use] - middle, crest.y[use], 1)
    return _rigid(np.array([0.0, -np.arctan(slope), -offset]), middle, 0.0)


def pitch_step(crest: Crest, x_range: tuple[float, float]) -> NDArray[np.float64]:
    """Pitch step that levels the line of the back between two stations.

    Parameters
    ----------
    crest : Crest
    x_range : stations the line is fitted between, m.

    Returns
    -------
    (4, 4) array
        T_new_old.
    """
    use = crest.seen & (crest.x >= x_range[0]) & (crest.x <= x_range[1])
    if use.sum() < FEWEST_ROWS:
        return np.eye(4)
    slope, _ = np.polyfit(crest.x[use], crest.z[use], 1)
    return turned_about_y(float(np.arctan(slope)))


def turned_about_y(angle: float) -> NDArray[np.float64]:
    """Rotation about y that lowers the front (+x) by `angle` rad, as (4, 4)."""
    return _turn(1, angle)


def ground_step(toes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Pitch and roll that lay the plane through the toes level.

    Parameters
    ----------
    toes : (k, 3) array, m, k = 3 or 4: lowest point of each foot.

    Returns
    -------
    (4, 4) array
        T_new_old.
    """
    slope_x, slope_y, _ = np.linalg.lstsq(
        np.column_stack([toes[:, :2], np.ones(len(toes))]), toes[:, 2], rcond=None
    )[0]
    pitch, roll = np.clip(np.arctan([slope_x, slope_y]), -0.2, 0.2)
    return _turn(0, -roll) @ turned_about_y(pitch)


def _turn(axis: int, angle: float) -> NDArray[np.float64]:
    """Right-handed rotation about a coordinate axis, as (4, 4)."""
    first, second = (axis + 1) % 3, (axis + 2) % 3
    matrix = np.eye(4)
    matrix[first, first] = matrix[second, second] = np.cos(angle)
    matrix[first, second], matrix[second, first] = -np.sin(angle), np.sin(angle)
    return matrix


def huber_fit(
    effects: NDArray[np.float64], uneven: NDArray[np.float64], limit: float = HUBER
) -> NDArray[np.float64]:
    """Least squares of uneven + effects @ step with Huber weights.

    Parameters
    ----------
    effects : (n, k) array.
    uneven : (n,) array, m.
    limit : m: what is left beyond this counts less.

    Returns
    -------
    (k,) array
    """
    step: NDArray[np.float64] = np.zeros(effects.shape[1])
    for _ in range(8):
        left = np.abs(uneven + effects @ step)
        weight = np.sqrt(np.minimum(1.0, limit / np.maximum(left, 1e-9)))
        step = np.asarray(
            np.linalg.lstsq(effects * weight[:, None], -uneven * weight, rcond=1e-6)[0], dtype=float
        )
    return step


def _rigid(moves: NDArray[np.float64], x: float, z: float) -> NDArray[np.float64]:
    """T of a roll and yaw (rad) about the point (x, 0, z), then a shift along y (m)."""
    roll, yaw, shift = np.clip(moves, [-0.2, -0.2, -0.1], [0.2, 0.2, 0.1])
    matrix = _turn(2, yaw) @ _turn(0, roll)
    centre = np.array([x, 0.0, z])
    matrix[:3, 3] = centre - matrix[:3, :3] @ centre + np.array([0.0, shift, 0.0])
    return matrix
