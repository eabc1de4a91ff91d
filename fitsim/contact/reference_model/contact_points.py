"""Points of the skin at which bars and tissue meet: the chart's cells, cut finer than elements."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RectBivariateSpline

if TYPE_CHECKING:
    from fitsim.back.back import Chart
    from fitsim.contact.problem import Problem

Array = NDArray[np.float64]
Index = NDArray[np.int_]

PARTS_PER_ELEMENT = 6
"""Points along an element at least: fewer load a quadratic element unevenly, and it dents."""


@dataclass(frozen=True)
class ContactPoints:
    """A problem whose near nodes are cut into smaller cells.

    Attributes
    ----------
    problem : Problem
        Its foundation holds the points alone, all of them near; its compliance is not used.
    x, t : (m,) arrays, m, places on the chart.
    cell : (m,) int array, near node of the uncut problem that each point belongs to.
    """

    problem: Problem
    x: Array
    t: Array
    cell: Index


def contact_points(problem: Problem, chart: Chart, size: float) -> ContactPoints:
    """Cut the cells of the near nodes finely enough for elements of a size.

    Parameters
    ----------
    problem : Problem
    chart : Chart
        That of its foundation.
    size : float, m
        Of an element.

    Returns
    -------
    ContactPoints
    """
    foundation, near = problem.foundation, problem.near
    parts = max(1, int(np.ceil(PARTS_PER_ELEMENT * foundation.spacing / size)))
    offset = foundation.spacing * ((np.arange(parts) + 0.5) / parts - 0.5)
    rows, columns = np.divmod(foundation.nodes[near], foundation.shape[1])
    grid = np.zeros((len(near), parts, parts))
    x = (chart.x[rows, None, None] + offset[:, None] + grid).ravel()
    t = (chart.t[columns, None, None] + offset[None, :] + grid).ravel()
    cell = np.repeat(np.arange(len(near)), parts**2)
    points, normals = (
        np.stack(
            [RectBivariateSpline(chart.x, chart.t, field[..., k]).ev(x, t) for k in range(3)], 1
        )
        for field in (chart.points, chart.normals)
    )
    cut = replace(
        foundation,
        spacing=foundation.spacing / parts,
        nodes=np.arange(len(cell)),
        points=points,
        normals=normals / np.linalg.norm(normals, axis=1, keepdims=True),
        area=problem.area[cell] / parts**2,
        depth=problem.depth[cell],
        shear_compliance=foundation.shear_compliance[near][cell],
    )
    fine = replace(problem, foundation=cut, near=np.arange(len(cell)), bar=problem.bar[cell])
    return ContactPoints(fine, x, t, cell)
