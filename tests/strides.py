"""Strides that several tests look at, followed once."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from fitsim.study.laid import laid
from fitsim.study.stride import stride
from fitsim.tree.adjust import adjusted
from fitsim.tree.read import read_tree
from tests.fits import COARSE, back_of, lie_of_the_back

if TYPE_CHECKING:
    from fitsim.back.back import Back
    from fitsim.measure.stride import StrideMeasures
    from fitsim.rig.load import Load
    from fitsim.study.laid import Laid
    from fitsim.study.stride import Stride
    from fitsim.tree.tree import Tree

BESIDE = 0.080  # m from the spine: under the middle of a bar 100 mm wide set 30 mm off the spine


@cache
def laid_on(animal: str, tree: str = "riding-middle", spacing: float = COARSE) -> Laid:
    """A tree of the library on an animal."""
    return laid(back_of(animal, spacing), read_tree(tree))


@cache
def stride_of(  # noqa: PLR0917 - what a stride hangs on
    animal: str,
    gait: str = "walk",
    phases: int = 8,
    case: str | None = None,
    tree: str = "riding-middle",
    load: Load | None = None,
) -> Stride:
    """A tree of the library on an animal through a stride."""
    on = laid_on(animal, tree)
    return stride(
        back_of(animal), on.problem.tree, gait, phases=phases, case=case, load=load, on=on
    )


def measures_of(followed: Stride) -> StrideMeasures:
    """What was measured on a stride in which the tree stays; fails where it leaves."""
    lost = {
        f"{one.posture.phase:.2f}": one.equilibrium.leaves
        for one in followed.moments
        if not one.equilibrium.found
    }
    assert followed.measures is not None, lost
    return followed.measures


def sagitta(back: Back, front: float = -0.02, rear: float = -0.54) -> float:
    """How far a back is hollow lengthwise under the bars, m, mean of both sides."""
    x = np.linspace(front, rear, 23)
    heights = np.array([_height(back, station) for station in x])
    chord = np.interp(-x, [-x[0], -x[-1]], [heights[0], heights[-1]])
    return float((chord - heights)[len(x) // 2])


def _height(back: Back, x: float) -> float:
    row = int(np.abs(back.chart.x - x).argmin())
    points = back.chart.points[row][back.chart.valid[row]]
    heights = []
    for side in (1.0, -1.0):
        out = side * points[:, 1]
        order = np.argsort(out)
        heights.append(np.interp(BESIDE, out[order], points[order, 2]))
    return float(np.mean(heights))


def fitted_tree(back: Back, steeper: float = 0.0, closer: float = 0.0) -> Tree:
    """The middle riding tree as a builder would set it on this back.

    Bars lie 30 mm off the spine, follow the back's slope under both arches and its lengthwise
    curve. `steeper` (rad) and `closer` (m a side) change the front arch alone, as the next width
    of a tree does.
    """
    changes: dict[str, object] = {
        "arches.front.inner_edge": 0.030 - closer,
        "arches.rear.inner_edge": 0.038,
        "arches.front.angle": lie_of_the_back(back, -0.03, BESIDE) + steeper,
        "arches.rear.angle": lie_of_the_back(back, -0.40, BESIDE),
        "bar.curve.sagitta": float(np.clip(sagitta(back), 0.004, 0.060)),
    }
    return adjusted(read_tree("riding-middle"), changes)


@cache
def fitted_on(animal: str, steeper_deg: float = 0.0, closer: float = 0.0) -> Laid:
    """That tree laid on an animal."""
    back = back_of(animal)
    return laid(back, fitted_tree(back, float(np.deg2rad(steeper_deg)), closer))


@cache
def fitted_stride(  # noqa: PLR0917 - what a stride hangs on
    animal: str,
    gait: str = "walk",
    phases: int = 8,
    steeper_deg: float = 0.0,
    closer: float = 0.0,
    load: Load | None = None,
) -> Stride:
    """That tree through a stride."""
    on = fitted_on(animal, steeper_deg, closer)
    return stride(back_of(animal), on.problem.tree, gait, phases=phases, load=load, on=on)
