"""The fast model on the comparison cases: a rigid indenter at a given pose on bare skin.

    python tests/reference/fast.py

prints its figures beside CalculiX's, with and without its corrections.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fitsim.back.back import Chart, Tissue
from fitsim.back.stack import Layer, Stack
from fitsim.contact.above import look
from fitsim.contact.foundation import build_foundation
from fitsim.contact.pose import Pose
from fitsim.contact.problem import prepare
from fitsim.contact.stiffening import linear_sinking
from fitsim.measure.pressure import on_grid, patch_peak
from fitsim.rig.pad import library_pad
from fitsim.tree.tree import MountedBar, Underside

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[2])]

if TYPE_CHECKING:
    from cases import Case
    from numpy.typing import NDArray

    from fitsim.contact.problem import Problem

    Array = NDArray[np.float64]

SPACING = 0.0025
VARIANTS: dict[str, dict[str, Any]] = {
    "fast": {},
    "without curvature": {"curved": 0.0},
    "without stiffening": {"stiffens": False},
}
_GRIP = 1e-9  # m, of sinking: how well contact is met


def run(case: Case, **switches: Any) -> dict[str, float]:  # noqa: ANN401 those of build_foundation
    """Force, peak (20 x 20 mm mean) and area of the fast model at the case's pose."""
    chart, tissue = ground(case)
    foundation = build_foundation(chart, tissue, **switches)
    from tests.pressed import tree_of

    problem = prepare(foundation, tree_of(body(case)), library_pad("none"), case.pose)
    force = at_pose(problem)
    pressure = np.zeros(len(foundation.nodes))
    pressure[problem.near] = force / problem.area
    upward = (force[:, None] * problem.normals)[:, 2].sum()
    peak = patch_peak(on_grid(chart, pressure), chart.spacing).max()
    return {
        "force_n": float(upward),
        "peak_kpa": float(peak) / 1e3,
        "area_cm2": float(problem.area[force > 0.0].sum()) * 1e4,
    }


def ground(case: Case) -> tuple[Chart, Tissue]:
    """The case's whole patch as a chart, its materials as a stack."""
    mesh = case.mesh(0)
    skin, bone = (mesh.points[mesh.grid[:, :, k]] for k in (-1, 0))
    thickness = float(np.linalg.norm(skin - bone, axis=2).mean())
    stack = stack_of(case, thickness)
    if "saddle" in case.name:
        from cases import _saddle_patch

        place, half, radius = _saddle_patch(0.20, 0.80, thickness), (0.12, 0.09), 0.20
    else:
        half, radius = (0.08, 0.08), np.inf

        def place(s: Array, t: Array, z: Array) -> Array:
            return np.stack([s, t, thickness * (z - 1.0)], axis=1)

    x, t = (SPACING * np.arange(-round(h / SPACING), round(h / SPACING) + 1) for h in half)
    s, across = (a.ravel() for a in np.meshgrid(x, t, indexing="ij"))
    top, low = (place(s, across, np.full_like(s, z)) for z in (1.0, 0.0))
    shape = (len(x), len(t))
    normals = (top - low) / np.linalg.norm(top - low, axis=1, keepdims=True)
    grid = top.reshape(*shape, 3)
    cells = np.cross(np.gradient(grid, SPACING, axis=0), np.gradient(grid, SPACING, axis=1))
    chart = Chart(
        x=x, t=t, points=grid, normals=normals.reshape(*shape, 3),
        area=np.linalg.norm(cells, axis=2) * SPACING**2, curvature=np.full(shape, 1.0 / radius),
        valid=np.ones(shape, dtype=bool), filled=np.zeros(shape, dtype=bool),
    )  # fmt: skip
    return chart, Tissue((stack,), np.ones((*shape, 1)))


def stack_of(case: Case, thickness: float) -> Stack:
    """The case's materials; two layers lie 3 to 7."""
    shares = (0.3, 0.7) if len(case.materials) > 1 else (1.0,)
    layers = []
    for number, (material, share) in enumerate(zip(case.materials, shares, strict=True)):
        G, K = material.shear, material.bulk
        poisson = (3.0 * K - 2.0 * G) / (6.0 * K + 2.0 * G)
        layers.append(Layer(f"{number}", share * thickness, 2.0 * G * (1.0 + poisson), poisson))
    return Stack("case", tuple(layers))


def body(case: Case) -> MountedBar:
    """The indenter as a bar whose rim is far from what it touches."""
    half = (0.118, 0.088) if "saddle" in case.name else (0.050, 0.050)
    xi, eta = (np.arange(-round(h / 0.002), round(h / 0.002) + 1) * 0.002 for h in half)
    x, y = np.meshgrid(xi, eta, indexing="ij")
    height = case.indenter.height(x.ravel(), y.ravel())[0].reshape(x.shape)
    inside = np.minimum(half[0] - np.abs(x), half[1] - np.abs(y))
    return MountedBar("left", Underside(xi, eta, height, inside, half[0], -half[0]), np.eye(4))


def at_pose(problem: Problem) -> Array:
    """Contact forces (m,) N with the body held where it is: an active set, one solve a step."""
    above = look(problem, Pose(problem.T_body_tree_seat, np.zeros(0)))
    asked, _ = linear_sinking(-above.distance, problem.depth)
    compliance = problem.foundation.block(problem.near)
    active = (asked > 0.0) & (above.cover >= 1.0)
    force = np.zeros(len(asked))
    for _ in range(60):
        force[:] = 0.0
        chosen = np.flatnonzero(active)
        force[chosen] = np.linalg.solve(compliance[np.ix_(chosen, chosen)], asked[chosen])
        short = asked - compliance @ force
        after = np.where(active, force > 0.0, (short > _GRIP) & (above.cover >= 1.0))
        if np.array_equal(after, active):
            return force
        active = after
    raise RuntimeError("the active set did not settle")


def main() -> None:
    """Print the table."""
    from cases import CASES

    kept = json.loads(Path(__file__).with_name("calculix_results.json").read_text("utf-8"))
    for case in CASES:
        levels = kept["cases"][case.name]
        theirs = levels[max(levels)]["calculix"]
        for name, switches in VARIANTS.items():
            ours = run(case, **switches)
            parts = [f"{100.0 * (ours[key] / theirs[key] - 1.0):+.1f} %" for key in ours]
            sys.stdout.write(f"| {case.name} | {name} | {' | '.join(parts)} |\n")


if __name__ == "__main__":
    main()
