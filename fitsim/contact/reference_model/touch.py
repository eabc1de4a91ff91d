"""Bars on the deformed skin: where they touch, how hard the pad is squeezed, and how it changes.

Contact points move with the skin of the elements. The pad lies on the skin: distances are taken,
and pressure acts, square to the skin as it is now.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.above import Above, look
from fitsim.rig.pad import pad_compliance, pad_pressure

if TYPE_CHECKING:
    from fitsim.contact.pose import Pose
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Pad

Array = NDArray[np.float64]

BARE_STIFFNESS = 2.0e8
"""Pa/m, of a bar on bare skin: 20 kPa press it in by 0.1 mm, a hundredth of what tissue gives."""

_THINNEST_PAD = 1e-4  # m, thinner is none


@dataclass(frozen=True)
class Touch:
    """The bars over the deformed skin in one pose.

    Attributes
    ----------
    problem : as given, with its points and normals those of the deformed skin.
    above : see `fitsim.contact.above.Above`, over those points along those normals.
    force : (m,) array, N, >= 0.
    stiffness : (m,) array, N/m, more force per less distance.
    """

    problem: Problem
    above: Above
    force: Array
    stiffness: Array

    @property
    def lever(self) -> Array:
        """(m, 3) array, -, decrease of distance per motion of the skin."""
        return np.asarray(-self.above.closing[:, :3])


def touched(problem: Problem, points: Array, normals: Array, pose: Pose) -> Touch:
    """Look at the bars from the deformed skin and squeeze the pad.

    Parameters
    ----------
    problem : Problem
        Of contact points, see `fitsim.contact.reference_model.contact_points`.
    points, normals : (m, 3) arrays, m and unit
        Of the skin as it is now.
    pose : Pose

    Returns
    -------
    Touch
    """
    skin = replace(problem.foundation, points=points, normals=normals)
    here = replace(problem, foundation=skin)
    above = look(here, pose)
    area = problem.area * above.cover
    pressure, slope = pad_law(problem.pad, above.distance)
    return Touch(here, above, area * pressure, area * slope)


def pad_law(pad: Pad, distance: Array) -> tuple[Array, Array]:
    """Pressure between bar and skin, and its rise as they close in.

    Parameters
    ----------
    pad : Pad
        Of thickness 0: the bar on bare skin.
    distance : (m,) array, m
        Between bar and skin.

    Returns
    -------
    pressure : (m,) array, Pa
    slope : (m,) array, Pa/m
        0 where they do not touch.

    Examples
    --------
    >>> from fitsim.rig.pad import library_pad
    >>> pressure, _ = pad_law(library_pad("felt"), np.array([0.015, 0.021]))
    >>> [round(float(p)) for p in pressure]
    [20000, 0]
    """
    closed = np.clip(pad.thickness - distance, 0.0, None)
    if pad.thickness < _THINNEST_PAD:
        return BARE_STIFFNESS * closed, np.where(closed > 0.0, BARE_STIFFNESS, 0.0)
    pressure = pad_pressure(pad, closed / pad.thickness)
    slope = 1.0 / (pad.thickness * pad_compliance(pad, pressure))
    return pressure, np.where(closed > 0.0, slope, 0.0)
