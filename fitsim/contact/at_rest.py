"""The answer on the nodes near the bars, spread over the whole back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.applied import applied_forces
from fitsim.contact.equilibrium import Equilibrium
from fitsim.contact.stiffening import true_indentation
from fitsim.rig.pad import pad_compression

if TYPE_CHECKING:
    from fitsim.contact.above import Above
    from fitsim.contact.equilibrium import Way
    from fitsim.contact.problem import Problem
    from fitsim.contact.view import View
    from fitsim.rig.case import Case

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


def at_rest(view: View, case: Case, steps: int, way: Way | None) -> Equilibrium:
    """Spread the near nodes' answer over the whole back."""
    problem, pose, above = view.problem, view.state.pose, view.above
    foundation, near = problem.foundation, problem.near
    count = len(foundation.nodes)
    force, shear = np.zeros(count), np.zeros((count, 3))
    force[near] = view.force
    shear[near] = -view.balance.shear.force / foundation.area[near, None]
    indentation = true_indentation(foundation.deflection(force), foundation.depth)
    under = above.cover > 0.0
    bar, along = np.zeros(count, dtype=np.int_), np.full(count, np.nan)
    bar[near[under]] = np.where(problem.bar[under] == 0, 1, -1)
    along[near[under]] = np.clip(above.along[under], 0.0, 1.0)
    return Equilibrium(
        found=way is None,
        leaves=way,
        residual=view.left,
        iterations=steps,
        T_body_tree=pose.T_body_tree,
        T_body_tree_seat=problem.T_body_tree_seat,
        joint_angles=pose.angles,
        pressure=force / foundation.area,
        shear=shear,
        gap=_gap(problem, above, force, indentation, under),
        indentation=indentation,
        bar=bar,
        along=along,
        forces=applied_forces(case, pose.T_body_tree),
    )


def _gap(problem: Problem, above: Above, force: Array, indentation: Array, under: Flags) -> Array:
    """Clearance (n,) m between bar and pad over the deformed skin; nan where no bar is above."""
    gap = np.full(len(force), np.nan)
    near, pad = problem.near, problem.pad
    area = problem.foundation.area[near] * np.where(under, above.cover, 1.0)
    left_of_pad = pad.thickness * (1.0 - pad_compression(pad, force[near] / area))
    clear = above.distance + indentation[near] - left_of_pad
    gap[near[under]] = np.where(force[near] > 0.0, 0.0, np.clip(clear, 0.0, None))[under]
    return gap
