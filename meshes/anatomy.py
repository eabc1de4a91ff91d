"""What stands out of the smooth trunk, and where: blade, fat pocket, muscle, ribs, hips.

Places are (x, t) in metres at the reference height: x along the spine line, t the arc length
across from it, one side. They are proportions from memory of general anatomy, not measurements.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import expit, logsumexp

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from meshes.animal import Animal

    Field = NDArray[np.float64]

BLADE_TOP = np.array([0.05504, 0.100])
BLADE_SLOPE = np.deg2rad(65.0)
BLADE_LENGTH = 0.36
BLADE_HALF_WIDTH = (0.085, 0.040)
BLADE_ROUNDING = 0.016
FAT_POCKET_CENTRE = np.array([-0.087, 0.184])
FAT_POCKET_AXES = np.array([0.068, 0.044])
LAST_RIB_X, LAST_RIB_SLANT = -0.475, 0.28
RIB_PITCH = 0.047


def relief(animal: Animal, x: Field, t: Field) -> Field:
    """Outward displacement of the smooth trunk.

    Parameters
    ----------
    animal : whose relief.
    x, t : arrays, m, of this animal (not of the reference); t > 0 on the left.

    Returns
    -------
    array, m, positive outward.
    """
    left = expit(t / 0.01)
    x, t = x / animal.scale, np.abs(t) / animal.scale
    height = (
        _shoulder(animal, x, t)
        + animal.fat_pocket * np.exp(-np.log(2) * _fat_pocket_radius(x, t) ** 2.6)
        + _along_the_spine(animal, x, t)
        + _ribs(animal, x, t)
        + _hindquarters(animal, x, t)
    )
    uneven = animal.asymmetry * (left - 0.5) * _blob(x, t, (-0.15, 0.09), (0.22, 0.05))
    return animal.scale * (height + uneven)


def blade_outline(animal: Animal, count: int = 48) -> Field:
    """Where the shoulder blade has half its height: (count, 2) array of (x, t), m, on one side."""
    along, _ = _blade_axes()
    middle = BLADE_TOP + 0.4 * BLADE_LENGTH * along
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)
    ray = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    near, far = np.zeros(count), np.full(count, BLADE_LENGTH)
    for _ in range(40):  # bisection: the plate is convex, so each ray leaves it once
        reach = 0.5 * (near + far)
        inside = _inside_blade(*(middle + reach[:, None] * ray).T) > 0
        near, far = np.where(inside, reach, near), np.where(inside, far, reach)
    return animal.scale * (middle + near[:, None] * ray)


def blade_rear_edge(animal: Animal, count: int = 16) -> Field:
    """The rear edge from its rearmost place down: (count, 2) array of (x, t), m, on one side."""
    outline = blade_outline(animal, 720)
    start = outline[np.argmin(outline[:, 0])]
    lower = outline[outline[:, 1] >= start[1]]
    t = np.linspace(start[1], start[1] + 0.2 * animal.scale, count)
    x = [lower[np.abs(lower[:, 1] - level) < 0.004 * animal.scale, 0].min() for level in t]
    return np.column_stack([x, t])


def fat_pocket_outline(animal: Animal, count: int = 32) -> Field:
    """Where the fat pocket has half its height: (count, 2) array of (x, t), m, on one side."""
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return animal.scale * (FAT_POCKET_CENTRE + FAT_POCKET_AXES * ring)


def last_rib(animal: Animal, count: int = 8) -> Field:
    """Line of the last rib: (count, 2) array of (x, t), m, on one side, from the spine down."""
    t = np.linspace(0.05, 0.40, count)
    return animal.scale * np.stack([LAST_RIB_X - LAST_RIB_SLANT * (t - 0.05), t], axis=1)


def _blob(x: Field, t: Field, at: tuple[float, float], size: tuple[float, float]) -> Field:
    return np.exp(-0.5 * (((x - at[0]) / size[0]) ** 2 + ((t - at[1]) / size[1]) ** 2))


def _between(value: Field, low: float, high: float, soft: float) -> Field:
    return expit((value - low) / soft) * expit((high - value) / soft)


def _blade_axes() -> tuple[Field, Field]:
    """Unit vectors in (x, t): down the blade towards the shoulder joint, and towards its rear."""
    along = np.array([np.cos(BLADE_SLOPE), np.sin(BLADE_SLOPE)])
    return along, np.array([-along[1], along[0]])


def _blade_place(x: Field, t: Field) -> tuple[Field, Field]:
    """Distance down the blade from its upper border, and across it towards its rear edge."""
    along, across = _blade_axes()
    dx, dt = x - BLADE_TOP[0], t - BLADE_TOP[1]
    return dx * along[0] + dt * along[1], dx * across[0] + dt * across[1]


def _inside_blade(x: Field, t: Field) -> Field:
    """How far inside the blade's border a place is, with rounded corners; 0 on the border."""
    a, b = _blade_place(x, t)
    top, tip = BLADE_HALF_WIDTH
    half = top + (tip - top) * a / BLADE_LENGTH
    # halved distances: the upper and front borders fade in twice as softly as the rear edge
    sides = np.stack([half - b, 0.55 * (half + b), 0.5 * a, BLADE_LENGTH - a])
    return -BLADE_ROUNDING * logsumexp(-sides / BLADE_ROUNDING, axis=0)


def _shoulder(animal: Animal, x: Field, t: Field) -> Field:
    a, b = _blade_place(x, t)
    # the upper rear edge is a step a hand feels; lower down muscle covers it
    plate = expit(_inside_blade(x, t) / 0.0075) * expit((0.85 * BLADE_LENGTH - a) / 0.045)
    ridge = np.exp(-0.5 * ((b + 0.012) / 0.013) ** 2) * _between(a, 0.09, 0.33, 0.02)
    return (
        animal.blade * (plate + 0.22 * ridge)
        + 0.020 * _blob(x, t, (0.095, 0.50), (0.065, 0.11))  # the muscle between blade and elbow
        + 0.016 * _blob(x, t, (0.36, 0.50), (0.06, 0.08))  # the point of the shoulder
        - 0.012 * _blob(x, t, (-0.035, 0.60), (0.045, 0.13))  # the girth's place
    )


def _fat_pocket_radius(x: Field, t: Field) -> Field:
    return np.hypot(
        (x - FAT_POCKET_CENTRE[0]) / FAT_POCKET_AXES[0],
        (t - FAT_POCKET_CENTRE[1]) / FAT_POCKET_AXES[1],
    )


def _along_the_spine(animal: Animal, x: Field, t: Field) -> Field:
    roll = np.exp(-0.5 * ((t - 0.078) / 0.034) ** 2) * _between(x, -0.68, -0.06, 0.04)
    # ridge of the spinous processes; in a fat back the same place is a groove behind the withers
    sharp, wide = animal.spine_ridge >= 0, animal.spine_ridge < 0
    knobs = 1 + 0.08 * sharp * np.cos(2 * np.pi * x / RIB_PITCH)
    ridge = np.exp(-0.5 * (t / (0.011 + 0.008 * wide)) ** 2) * expit(-(x - 0.05) / 0.05)
    ridge = ridge * (1 if sharp else expit(-(x + 0.12) / 0.05))
    hollow = _blob(x, t, (-0.05, 0.085), (0.075, 0.034))
    loin = 0.003 * _blob(x, t, (-0.57, 0.085), (0.07, 0.04))
    return animal.muscle * roll + animal.spine_ridge * ridge * knobs - animal.hollow * hollow + loin


def _ribs(animal: Animal, x: Field, t: Field) -> Field:
    slanted = x + LAST_RIB_SLANT * (t - 0.05)
    wave = np.cos(2 * np.pi * (slanted - LAST_RIB_X) / RIB_PITCH)
    shown = _between(t, 0.24, 0.50, 0.04) * _between(slanted, LAST_RIB_X - 0.02, -0.10, 0.03)
    return animal.ribs * wave * shown


def _hindquarters(animal: Animal, x: Field, t: Field) -> Field:
    bone = (
        0.017 * _blob(x, t, (-0.690, 0.215), (0.032, 0.036))  # hip point
        - 0.016 * _blob(x, t, (-0.600, 0.265), (0.042, 0.060))  # hollow of the flank
        + 0.005 * _blob(x, t, (-0.735, 0.030), (0.035, 0.018))  # top of the croup
        - 0.006 * _blob(x, t, (-0.755, 0.245), (0.035, 0.05))  # below and behind the hip point
    )
    flesh = (
        0.009 * _blob(x, t, (-0.83, 0.150), (0.08, 0.075))
        + 0.030 * _blob(x, t, (-0.92, 0.44), (0.105, 0.15))  # thigh
        - 0.014 * _blob(x, t, (-0.715, 0.50), (0.05, 0.12))  # in front of the stifle
        + 0.006 * _blob(x, t, (-0.34, 0.46), (0.16, 0.10))  # belly's fullness
    )
    return animal.bone * bone + flesh
