"""The going: slope of the ground, a turn and the gait, as what they make of every weight.

The body frame stays with the animal and gravity turns: its back is taken to lie parallel to the
ground. An animal that bends its uphill legs on a side slope tilts less, so this is the worse case.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, degrees, sin
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

GRAVITY = 9.80665  # m/s2, standard (CGPM 1901)


@dataclass(frozen=True)
class Going:
    """Where and how the animal goes.

    Attributes
    ----------
    slope : rad, positive uphill.
    side_slope : rad, positive where the ground falls away to the animal's left.
    cornering : m/s2, towards the middle of a turn; positive in a turn to the left.
    load_factor : -, of the gait: every weight counts so many times.
    """

    slope: float = 0.0
    side_slope: float = 0.0
    cornering: float = 0.0
    load_factor: float = 1.0


LEVEL = Going()


def pull_of_gravity(going: Going) -> NDArray[np.float64]:
    """What one kilogram on the animal weighs, and which way.

    Parameters
    ----------
    going : Going

    Returns
    -------
    (3,) array, m/s2 (N/kg)
        Body frame.

    Notes
    -----
    With slope a, side slope b, load factor n and cornering c the body frame is pitched by a and
    then rolled by b: ``n g (-sin a, cos a sin b, -cos a cos b) - (0, c, 0)``, the last being the
    inertia of whatever has to follow the turn.

    Examples
    --------
    >>> float(pull_of_gravity(LEVEL)[2])
    -9.80665
    >>> downhill = pull_of_gravity(Going(slope=-np.pi / 6.0))
    >>> downhill.round(3).tolist()  # forward and down
    [4.903, 0.0, -8.493]
    """
    a, b = going.slope, going.side_slope
    towards = np.array([-sin(a), cos(a) * sin(b), -cos(a) * cos(b)])
    return going.load_factor * GRAVITY * towards - [0.0, going.cornering, 0.0]


def going_in_words(going: Going) -> str:
    """The going as people say it; empty on the level at a standstill.

    Parameters
    ----------
    going : Going

    Returns
    -------
    str

    Examples
    --------
    >>> going_in_words(Going(slope=np.radians(-15.0), load_factor=2.0))
    '15 deg downhill, weights counted 2 times'
    """
    said = []
    if going.slope:
        said.append(
            f"{degrees(abs(going.slope)):g} deg {'uphill' if going.slope > 0 else 'downhill'}"
        )
    if going.side_slope:
        side = "left" if going.side_slope > 0.0 else "right"
        said.append(f"{degrees(abs(going.side_slope)):g} deg side slope falling to the {side}")
    if going.cornering:
        said.append(f"turning {'left' if going.cornering > 0.0 else 'right'}")
    if going.load_factor != 1.0:
        said.append(f"weights counted {going.load_factor:g} times")
    return ", ".join(said)
