"""The contact law: what the skin and the pad ask of the normal forces under the bars."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.stiffening import linear_sinking
from fitsim.rig.pad import pad_compliance, pad_compression

if TYPE_CHECKING:
    from fitsim.contact.above import Above
    from fitsim.contact.problem import Problem

Array = NDArray[np.float64]

# A cell of which a share w lies under the bar is softer by this much of its own compliance
# times (1/w - 1): force fades out smoothly as a bar's edge leaves a cell.
_PARTIAL_CELL = 0.5


@dataclass(frozen=True)
class Skin:
    """How far each near node is from obeying the contact law under given normal forces.

    Attributes
    ----------
    excess : (m,) array, m, linear sinking in force minus that asked for by the bar's position;
        0 in contact, positive where the skin has sunk clear of the bar.
    slope : (m,) array, -, change of the asked-for sinking per indentation.
    own : (m,) array, m/N, compliance added to the back's by pad and partial cells.
    by_cover : (m,) array, m, change of the excess as more of a cell comes under the bar.
    """

    excess: Array
    slope: Array
    own: Array
    by_cover: Array


def press(problem: Problem, above: Above, force: Array) -> Skin:
    """Hold normal forces (m,) N against the contact law of every near node."""
    pad = problem.pad
    covered = above.cover > 0.0
    cover = np.where(covered, above.cover, 1.0)
    area = problem.area * cover
    partial = _PARTIAL_CELL * problem.compliance.diagonal * (1.0 / cover - 1.0)
    sinking = problem.compliance.sinking(force) + partial * force
    pressure = np.clip(force, 0.0, None) / area
    squeezed = pad.thickness * pad_compression(pad, pressure)
    softness = pad.thickness * pad_compliance(pad, pressure) / area
    asked, slope = linear_sinking(pad.thickness - above.distance - squeezed, problem.depth)
    excess = np.where(covered, sinking - asked, np.inf)
    pressing = np.clip(force, 0.0, None) / cover
    by_cover = -(_PARTIAL_CELL * problem.compliance.diagonal / cover + slope * softness) * pressing
    return Skin(excess, slope, partial + slope * softness, by_cover)
