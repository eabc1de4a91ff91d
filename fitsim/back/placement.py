"""Where the body lies while its frame is sought: first size, feet on the ground."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.ground import standing_triangle
from fitsim.back.level import ground_step
from fitsim.errors import BadScan

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.rough import RoughFrame
    from fitsim.back.samples import Samples
    from fitsim.back.withers import Withers

USUAL_HEIGHT = 1.5
"""m: proportions are written down for an animal this high at the withers."""

ASSUMED_HEIGHT = 1.45
"""m: taken when only a trunk was scanned and no height was told."""

SHORTEST = 0.45
"""m: a back shorter than this cannot carry a tree of 0.5 m."""

LONGEST = 3.0
"""m: no animal's trunk is longer."""


@dataclass(frozen=True)
class Placement:
    """State while the frame is settled.

    Attributes
    ----------
    T : (4, 4) array: from the scan to where the body frame is thought to lie now, m.
    height : m, of the withers above the ground.
    withers : found last, or None before the first round.
    withers_z : m, height of their top in the frame.
    cautions : sentences.
    """

    T: NDArray[np.float64]
    height: float
    withers: Withers | None = None
    withers_z: float = 0.0
    cautions: tuple[str, ...] = ()

    @property
    def scale(self) -> float:
        """Size of the animal over one of 1.5 m."""
        return self.height / USUAL_HEIGHT

    def stepped(self, T_new_old: NDArray[np.float64]) -> Placement:
        """The same, moved by `T_new_old`, (4, 4)."""
        return replace(self, T=T_new_old @ self.T)


_TELL_SIZE = "tell its unit, or the withers height of the animal in metres if it stands whole"


def first_size(rough: RoughFrame, name: str, told: float | None, *, metres: bool) -> Placement:
    """First size in metres: by the told height of a standing animal, else as the file says.

    Parameters
    ----------
    rough : RoughFrame
    name : of the file, for messages.
    told : m or None: height of the withers.
    metres : the scan's unit is settled.

    Returns
    -------
    Placement

    Raises
    ------
    BadScan
        The size is not known, or no back has it.
    """
    scale, height = 1.0, told or ASSUMED_HEIGHT
    if not metres and (told is None or rough.ground is None):
        raise BadScan(name, "its size is not known", _TELL_SIZE)
    if rough.ground is not None:
        tall = 0.45 * rough.depth - rough.ground
        scale = told / tall if told is not None else 1.0
        height = scale * tall
    if rough.length * scale > LONGEST:
        length = f"{rough.length * scale:.0f}"
        raise BadScan(name, f"the back in it would be {length} m long", "check the unit")
    if rough.length * scale < SHORTEST:
        raise BadScan(
            name, f"the back in it is only {rough.length * scale:.2f} m long, too short for a tree",
            "check the unit, or scan from the neck to the croup",
        )  # fmt: skip
    return Placement(np.diag([scale, scale, scale, 1.0]) @ rough.T_rough_scan, height)


def toes_of(samples: Samples, rough: RoughFrame) -> NDArray[np.float64] | None:
    """Three points of the ground, where feet or a floor were seen.

    Parameters
    ----------
    samples : Samples
        Over the whole scan, in its frame.
    rough : RoughFrame

    Returns
    -------
    (3, 3) array or None
        In the scan's frame and unit.
    """
    if rough.ground is None:
        return None
    if rough.floor is not None:
        return _under_the_trunk(rough)
    placed = samples.moved(rough.T_rough_scan).points
    corners = standing_triangle(
        placed[placed[:, 2] < 0.6 * rough.ground], 0.45 * rough.depth - rough.ground
    )
    if corners is None:
        return None
    back = np.linalg.inv(rough.T_rough_scan)
    return np.asarray(corners @ back[:3, :3].T + back[:3, 3])


def _under_the_trunk(rough: RoughFrame) -> NDArray[np.float64]:
    """Three points of the floor as far apart as the trunk is long, in the scan's frame."""
    if rough.floor is None or rough.ground is None:
        raise TypeError("no floor was seen")
    normal, offset = rough.floor[:3], rough.floor[3]
    reach = 0.4 * rough.length
    z = rough.ground
    corners = np.array([[reach, 0.0, z], [-reach, reach, z], [-reach, -reach, z]])
    back = np.linalg.inv(rough.T_rough_scan)
    place = corners @ back[:3, :3].T + back[:3, 3]
    return np.asarray(place - np.outer(place @ normal - offset, normal))


def on_its_feet(place: Placement, toes: NDArray[np.float64], told: float | None) -> Placement:
    """Stand the animal on level ground, and set its size by the told withers height.

    Parameters
    ----------
    place : Placement
    toes : (3, 3) array, scan's frame: points of the ground.
    told : m or None: height of the withers.

    Returns
    -------
    Placement
    """
    for _ in range(3):
        place = place.stepped(ground_step(toes @ place.T[:3, :3].T + place.T[:3, 3]))
    if place.withers is None:
        return place
    ground = float((toes @ place.T[2, :3] + place.T[2, 3]).mean())
    height = place.withers_z - ground
    if told is None:
        return replace(place, height=height)
    factor = told / height
    return replace(place.stepped(np.diag([factor, factor, factor, 1.0])), height=told)
