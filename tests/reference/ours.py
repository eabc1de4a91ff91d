"""The reference model on the comparison cases."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import numpy as np

from fitsim.contact.reference_model.assembly import assembly
from fitsim.contact.reference_model.indenter import clearance
from fitsim.contact.reference_model.press import at_rest, press
from fitsim.contact.reference_model.pressure import contact_area, patch_peak, skin_pressure

if TYPE_CHECKING:
    from cases import Case
    from numpy.typing import NDArray


def mirrored(
    symmetric: tuple[int, ...], points: NDArray[np.float64], values: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Whole patch from its modelled part."""
    for axis in symmetric:
        other = points.copy()
        other[:, axis] *= -1.0
        off = points[:, axis] > 1e-9
        points = np.concatenate([points, other[off]])
        values = np.concatenate([values, values[off]])
    return points, values


def run(case: Case, level: int) -> dict[str, float]:
    """Press as the case says; whole-model force, peak and area.

    Returns
    -------
    dict
        `force_n`, `peak_kpa` (20 x 20 mm mean), `area_cm2`, `seconds`, `unknowns`.
    """
    from cases import fixed

    begin = time.perf_counter()
    mesh = case.mesh(level)
    model = assembly(mesh, case.materials)
    lowered = case.pose.copy()
    state = at_rest(model, lowered)
    start = clear_height(case, mesh.points[mesh.skin])
    for share in np.linspace(0.0, 1.0, case.steps + 1)[1:]:
        lowered = case.pose.copy()
        lowered[2, 3] = start + share * (case.pose[2, 3] - start)
        state = press(model, case.indenter, state, lowered, fixed=fixed(case, mesh))
    skin = skin_pressure(mesh, state)
    points, pressure = mirrored(case.symmetric, skin.points, skin.pressure)
    faces = (mesh.points + state.displacement)[mesh.skin_faces]
    return {
        "force_n": case.copies * float(state.wrench[2]),
        "peak_kpa": patch_peak(points[:, 0], points[:, 1], pressure) / 1e3,
        "area_cm2": case.copies * contact_area(faces, case.indenter, case.pose) * 1e4,
        "seconds": time.perf_counter() - begin,
        "unknowns": mesh.points.size,
    }


def clear_height(case: Case, skin: NDArray[np.float64]) -> float:
    """Height of the indenter's origin at which it just touches the skin at rest."""
    gap = clearance(case.indenter, case.pose, skin).gap
    return float(case.pose[2, 3] - np.nanmin(gap) / case.pose[2, 2])
