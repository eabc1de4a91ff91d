"""The numbers of a stride: how the load and its pressure go from moment to moment."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.measure.pressure import (
    contact_nodes,
    force_shares,
    mean_pressure,
    node_forces,
    on_grid,
    patch_mean,
)
from fitsim.measure.shoulder import shoulder_freedom

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from fitsim.back.back import Back
    from fitsim.back.motion.kinematics import Kinematics
    from fitsim.back.motion.posture import Posture
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.measure.shoulder import ShoulderFreedom

    Array = NDArray[np.float64]

SHARES = ("front", "middle", "rear", "left", "right")


@dataclass(frozen=True)
class StrideMeasures:
    """One stride in numbers; arrays have one entry per moment.

    Attributes
    ----------
    normal_force, vertical_force : (p,) arrays, N, on the back.
    strap_force : (p,) array, N, pressing down through the straps.
    peak : (p,) array, Pa, highest 20 x 20 mm patch of skin centred on a node.
    mean : (p,) array, Pa, over the contact patch.
    area : (p,) array, m2, of the contact patch.
    share : by `SHARES`, (p,) arrays, of the normal force.
    zones : by zone name, (p,) arrays, N, force on it.
    shoulders : by side.
    """

    normal_force: Array
    vertical_force: Array
    strap_force: Array
    peak: Array
    mean: Array
    area: Array
    share: Mapping[str, Array]
    zones: Mapping[str, Array]
    shoulders: Mapping[str, ShoulderFreedom]

    @property
    def uneven(self) -> float:
        """Largest difference of the two sides within the stride, share of the load there."""
        return float(np.abs(self.share["left"] - self.share["right"]).max())

    @property
    def lopsided(self) -> float:
        """Left minus right over the whole stride, share of the load; 0 where they take turns."""
        left, right = (float(self.share[side] @ self.normal_force) for side in ("left", "right"))
        return (left - right) / (left + right)


def stride_measures(
    back: Back,
    moving: Kinematics,
    postures: Sequence[Posture],
    found: Sequence[Equilibrium],
    *,
    friction: float,
    bar_length: float,
    straps: frozenset[str] = frozenset(),
) -> StrideMeasures:
    """Measure a stride.

    Parameters
    ----------
    back : Back
    moving : Kinematics
    postures : sequence of Posture
        Evenly over one stride.
    found : sequence of Equilibrium
        At each; all of them found.
    friction : float, -
        Between coat and pad.
    bar_length : float, m
    straps : set of str
        Names of the forces on the tree that are straps.

    Returns
    -------
    StrideMeasures

    Raises
    ------
    ValueError
        The tree does not stay on through the whole stride: there is nothing to measure.
    """
    if not all(rest.found for rest in found):
        raise ValueError("the tree leaves within the stride: there is nothing to measure")
    chart = back.chart
    area = chart.area[chart.valid]
    code = back.zone_code[chart.valid]
    cell = chart.spacing / bar_length
    forces = np.array([rest.pressure * area for rest in found])
    shares = [
        force_shares(force, rest.bar, rest.along, cell)
        for force, rest in zip(forces, found, strict=True)
    ]
    upward = [
        node_forces(rest.pressure, rest.shear, now.normals, area)[:, 2].sum()
        for rest, now in zip(found, postures, strict=True)
    ]
    patches = [patch_mean(on_grid(chart, rest.pressure), chart.spacing) for rest in found]
    touching = [contact_nodes(rest.pressure) for rest in found]
    return StrideMeasures(
        normal_force=forces.sum(axis=1),
        vertical_force=np.array(upward),
        strap_force=np.array([_downward(rest, straps) for rest in found]),
        peak=np.array([patch.max() for patch in patches]),
        mean=np.array([mean_pressure(rest.pressure, area) for rest in found]),
        area=np.array([area[patch].sum() for patch in touching]),
        share={name: np.array([one[name] for one in shares]) for name in SHARES},
        zones={
            zone.name: forces[:, code == number].sum(axis=1)
            for number, zone in enumerate(back.zones)
        },
        shoulders={
            side: shoulder_freedom(moving, postures, found, side, friction, patches)
            for side in ("left", "right")
        },
    )


def _downward(rest: Equilibrium, straps: frozenset[str]) -> float:
    """Downward pull of the straps, N."""
    return -sum(float(one.force[2]) for one in rest.forces if one.name in straps)
