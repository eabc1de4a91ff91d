"""Slope and normal of a bar's underside, from the same formulae as its height."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.tree.bar import STEEPEST_ROLL, core_of, curvature_of_sagitta
from fitsim.tree.openings import away_from_slot, beside_slot, pocket_slope
from fitsim.tree.outline import nearest_point, signed_distance

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.tree.bar import Bar, Flare


def slope(bar: Bar, xi: NDArray[np.float64], eta: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slope of the left bar's underside along xi and eta: the gradient of `bar.height`.

    Parameters
    ----------
    bar : its measures.
    xi, eta : arrays of one shape, m.

    Returns
    -------
    (..., 2) array, -.
    """
    turn = bar.twist / bar.bearing
    crown = curvature_of_sagitta(bar.crown, bar.widths[1])
    half = bar.bearing / 2.0
    along = _arc_slope(xi - bar.low, bar.curve) - eta * turn / np.cos(turn * xi) ** 2
    along = along + _flare_slope(xi - half, bar.front_flare)
    along = along - _flare_slope(-xi - half, bar.rear_flare)
    across = -np.tan(turn * xi) + _arc_slope(eta, crown)
    found = np.stack(np.broadcast_arrays(along, across), axis=-1)
    for pocket in bar.pockets:
        found = found + pocket_slope(pocket, xi, eta)
    return np.asarray(found + _rolled(bar, xi, eta))


def normal(bar: Bar, xi: NDArray[np.float64], eta: NDArray[np.float64]) -> NDArray[np.float64]:
    """Unit normal of the left bar's underside, away from the back.

    Parameters
    ----------
    bar : its measures.
    xi, eta : arrays of one shape, m.

    Returns
    -------
    (..., 3) array, unit, bar frame.
    """
    lean = slope(bar, xi, eta)
    up = np.concatenate([-lean, np.ones((*lean.shape[:-1], 1))], axis=-1)
    return np.asarray(up / np.linalg.norm(up, axis=-1, keepdims=True))


def _rolled(bar: Bar, xi: NDArray[np.float64], eta: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slope of the rolled edges: of the outline and of every slot's rim."""
    points = np.stack([xi, eta], axis=-1)
    if bar.edge_roll == 0.0:
        return np.zeros_like(points)
    core = core_of(bar)
    distance = signed_distance(core, points)
    offset = points - nearest_point(core, points)
    size = np.maximum(np.linalg.norm(offset, axis=-1, keepdims=True), 1e-12)
    inwards = np.sign(distance)[..., None] * offset / size
    found = _roll_slope(bar.corner + distance, bar.edge_roll)[..., None] * inwards
    for slot in bar.slots:
        steep = _roll_slope(beside_slot(slot, xi, eta), bar.edge_roll)
        found = found + steep[..., None] * away_from_slot(slot, xi, eta)
    return np.asarray(found)


def _roll_slope(inside: NDArray[np.float64], radius: float) -> NDArray[np.float64]:
    return -_arc_slope(np.maximum(radius - inside, 0.0), 1.0 / radius)


def _arc_slope(distance: NDArray[np.float64], curvature: float) -> NDArray[np.float64]:
    """Slope of `bar.arc`: tan of the angle on the circle, held beyond 60 degrees."""
    reach = np.inf if curvature == 0.0 else np.sin(STEEPEST_ROLL) / abs(curvature)
    s = np.clip(distance, -reach, reach)
    return np.asarray(curvature * s / np.sqrt(1.0 - (curvature * s) ** 2))


def _flare_slope(distance: NDArray[np.float64], flare: Flare) -> NDArray[np.float64]:
    if flare.length == 0.0:
        return np.zeros_like(distance)
    return np.asarray(2.0 * flare.rise / flare.length * np.clip(distance / flare.length, 0.0, 1.0))
