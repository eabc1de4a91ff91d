"""Balance added up from the nodes, independently of the solver that claims it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.measure.pressure import node_forces

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fitsim.contact.equilibrium import AppliedForce

    Array = NDArray[np.float64]

BALANCED = 1e-3  # -, largest unbalanced component that still counts as equilibrium


@dataclass(frozen=True)
class Balance:
    """What is left over when everything that acts on the tree is added up.

    Attributes
    ----------
    force : (3,) array, N, body frame.
    moment : (3,) array, N*m, body frame, about the middle of the bars.
    relative : (6,) array, -, the forces over the applied load, the moments over the applied load
        times half the bar's length.
    """

    force: Array
    moment: Array
    relative: Array

    @property
    def residual(self) -> float:
        """Largest of the six, -."""
        return float(np.abs(self.relative).max())


def balance(
    points: Array,
    contact: Array,
    applied: Sequence[AppliedForce],
    about: Array,
    length: float,
) -> Balance:
    """Sum of contact and applied forces on the tree, and of their moments.

    Parameters
    ----------
    points : (n, 3) array, m
        Nodes of the back, body frame.
    contact : (n, 3) array, N
        Force of each node on the tree (`fitsim.measure.pressure.node_forces`).
    applied : sequence of AppliedForce
        Straps, weights, loads. The applied load is the sum of their sizes.
    about : (3,) array, m
        Where moments are taken.
    length : float, m
        Of the bars.

    Returns
    -------
    Balance

    Examples
    --------
    A bar of 1 m held by two nodes under a weight at a quarter of its length:

    >>> from fitsim.contact.equilibrium import AppliedForce
    >>> ends = np.array([[0.5, 0.0, 0.0], [-0.5, 0.0, 0.0]])
    >>> up = np.array([[0.0, 0.0, 75.0], [0.0, 0.0, 25.0]])
    >>> weight = AppliedForce("weight", np.array([0.25, 0.0, 0.1]), np.array([0.0, 0.0, -100.0]))
    >>> balance(ends, up, [weight], np.zeros(3), 1.0).residual
    0.0
    """
    at = np.vstack([points, *(force.point for force in applied)]) - about
    forces = np.vstack([contact, *(force.force for force in applied)])
    force = forces.sum(axis=0)
    moment = np.cross(at, forces).sum(axis=0)
    load = sum(float(np.linalg.norm(one.force)) for one in applied)
    # Nothing applied and something pressed is unbalanced altogether, not infinitely so.
    scale = load or float(np.linalg.norm(contact, axis=1).sum()) or 1.0
    relative = np.concatenate([force, moment / (0.5 * length)]) / scale
    return Balance(force, moment, relative)


def balance_of_nodes(
    points: Array,
    normals: Array,
    area: Array,
    *,
    pressure: Array,
    shear: Array,
    applied: Sequence[AppliedForce],
    about: Array,
    length: float,
) -> Balance:
    """`balance` from tractions, as they stand in ``nodes.csv``.

    Parameters
    ----------
    points, normals : (n, 3) arrays, m and unit
    area : (n,) array, m2
    pressure : (n,) array, Pa
    shear : (n, 3) array, Pa
        Traction on the back.
    applied, about, length
        As in `balance`.

    Returns
    -------
    Balance
    """
    contact = node_forces(pressure, shear, normals, area)
    return balance(points, contact, applied, about, length)


def friction_used(pressure: Array, shear: Array, area: Array, friction: float) -> float:
    """Net sideways force on the skin as a share of the most that friction bears.

    Parameters
    ----------
    pressure : (n,) array, Pa
    shear : (n, 3) array, Pa
        Traction on the back.
    area : (n,) array, m2
    friction : float, -
        Coulomb's coefficient.

    Returns
    -------
    float, -
        Near 1 the tree is about to slide; 0 without friction to use.

    Notes
    -----
    ``|sum t A| / (mu sum p A)``. On a round back part of the shear on one side is against that on
    the other and does not count.

    Examples
    --------
    >>> one = np.ones(1)
    >>> round(friction_used(1e3 * one, 200.0 * np.array([[1.0, 0.0, 0.0]]), one, 0.4), 9)
    0.5
    """
    limit = friction * float(pressure @ area)
    net = float(np.linalg.norm((shear * area[:, None]).sum(axis=0)))
    return net / limit if limit > 0.0 else 0.0
