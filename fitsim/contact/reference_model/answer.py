"""The reference model's answer on the chart's nodes, in the fast model's terms."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.equilibrium import Equilibrium
from fitsim.contact.reference_model.ground import spread

if TYPE_CHECKING:
    from fitsim.contact.balance import Balance
    from fitsim.contact.problem import Problem
    from fitsim.contact.reference_model.contact_points import ContactPoints
    from fitsim.contact.reference_model.ground import Ground
    from fitsim.contact.reference_model.touch import Touch

Array = NDArray[np.float64]


def at_rest(  # noqa: PLR0917 all that is known at the end
    uncut: Problem,
    points: ContactPoints,
    ground: Ground,
    touch: Touch,
    balance: Balance,
    displacement: Array,
) -> Equilibrium:
    """Gather the contact points' forces on the nodes whose cells they were cut from.

    Parameters
    ----------
    uncut : Problem
        As given to the solver.
    points : ContactPoints
    ground : Ground
    touch, balance : of the last state.
    displacement : (n, 3) array, m, of the mesh.

    Returns
    -------
    Equilibrium
        Not yet told whether it was found, where the tree is and what acts on it.
    """
    foundation, near, cell = uncut.foundation, uncut.near, points.cell
    on_tree = touch.force[:, None] * touch.problem.normals + balance.shear.force
    forces = np.zeros((len(near), 3))
    np.add.at(forces, cell, on_tree)
    weight = np.asarray(np.bincount(cell, touch.force, len(near)), dtype=np.float64)
    moment = np.cross(touch.problem.points, on_tree).sum(axis=0)
    forces = with_moment(forces, uncut.points, moment, weight)
    along = np.einsum("ni,ni->n", forces, uncut.normals)
    count = len(foundation.nodes)
    pressure, shear = np.zeros(count), np.zeros((count, 3))
    pressure[near] = along / uncut.area
    shear[near] = (along[:, None] * uncut.normals - forces) / uncut.area[:, None]
    cover = np.bincount(cell, touch.above.cover, len(near))
    under = cover > 0.0

    def mean(values: Array) -> Array:
        total = np.bincount(cell, touch.above.cover * values, len(near))
        return np.asarray(total[under] / cover[under])

    bar, place, gap = np.zeros(count, dtype=np.int_), np.full(count, np.nan), np.full(count, np.nan)
    bar[near[under]] = np.where(uncut.bar[under] == 0, 1, -1)
    place[near[under]] = mean(np.clip(touch.above.along, 0.0, 1.0))
    clear = mean(np.clip(touch.above.distance - uncut.pad.thickness, 0.0, None))
    gap[near[under]] = np.where(weight[under] > 0.0, 0.0, clear)
    return Equilibrium(
        found=False,
        leaves=None,
        residual=np.inf,
        iterations=0,
        T_body_tree=uncut.T_body_tree_seat,
        T_body_tree_seat=uncut.T_body_tree_seat,
        joint_angles=np.zeros(sum(uncut.joints)),
        pressure=pressure,
        shear=shear,
        gap=gap,
        indentation=_sunk(uncut, ground, displacement),
        bar=bar,
        along=place,
        forces=(),
    )


def _sunk(uncut: Problem, ground: Ground, displacement: Array) -> Array:
    """Sinking (n,) m of every node of the chart that lies on the mesh; 0 beyond."""
    foundation = uncut.foundation
    rows, columns = np.divmod(foundation.nodes, foundation.shape[1])
    x, t = ground.chart.x[rows], ground.chart.t[columns]
    (low_x, *_, high_x), (low_t, *_, high_t) = ground.edges
    on = np.flatnonzero((x >= low_x) & (x <= high_x) & (t >= low_t) & (t <= high_t))
    moved = spread(ground, x[on], t[on]).value @ displacement
    sunk = np.zeros(len(foundation.nodes))
    sunk[on] = -np.einsum("ni,ni->n", moved, foundation.normals[on])
    return sunk


def with_moment(force: Array, points: Array, moment: Array, weight: Array) -> Array:
    """Forces at points, changed as little as gives them a moment, their sum kept.

    Contact acts where the skin has gone; results are listed by where it was. Each force is kept
    but for a small share, linear in place, that makes up for the arms lost.

    Parameters
    ----------
    force : (m, 3) array, N
    points : (m, 3) array, m
    moment : (3,) array, N m
        About the origin, that they shall have together.
    weight : (m,) array
        Not negative: who bears the change.

    Returns
    -------
    (m, 3) array, N

    Examples
    --------
    >>> points = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    >>> up = np.array([[0.0, 0, 1], [0, 0, 1], [0, 0, 1]])
    >>> same = with_moment(up, points, np.array([1.0, -1.03, 0.0]), np.ones(3))
    >>> np.cross(points, same).sum(axis=0).round(9) + 0.0
    array([ 1.  , -1.03,  0.  ])
    """
    if not weight.any():
        return force
    share = weight / weight.sum()
    arm = points - share @ points
    # About the weighted middle a change (turn x arm) adds no force; the moment gives the turn.
    inertia = np.einsum("n,nij->ij", share, (arm**2).sum(axis=1)[:, None, None] * np.eye(3))
    inertia -= np.einsum("n,ni,nj->ij", share, arm, arm)
    lost = moment - np.cross(points, force).sum(axis=0)
    turn = np.linalg.lstsq(inertia, lost, rcond=None)[0]
    return np.asarray(force + share[:, None] * np.cross(turn, arm))
