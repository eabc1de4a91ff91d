"""Prints the table of docs/operators.md: the compliance as a dense block and as a convolution.

python tests/bench/operators.py   (some minutes; processor time, BLAS on one thread)
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from threadpoolctl import threadpool_limits

import fitsim
from fitsim.back.from_scan import back_from_scan
from fitsim.contact.compliance import Convolved, Dense, compliance_of
from fitsim.contact.foundation import build_foundation
from fitsim.contact.problem import prepare
from fitsim.contact.solve import solve
from fitsim.rig.cases import cases_for
from fitsim.rig.read import read_load, read_pad, read_rig
from fitsim.tree.read import read_tree
from fitsim.tree.seat import seat

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitsim.contact.compliance import Compliance
    from fitsim.contact.problem import Problem
    from fitsim.scan.scan import Scan

ROOT = Path(__file__).resolve().parents[2]
HEAD = "| nodes | near | form | make, ms | held, MB | solve one step, ms | warm case, ms |\n"
RULE = "| ---: | ---: | --- | ---: | ---: | ---: | ---: |\n"


def best(work: Callable[[], object], rounds: int = 3) -> float:
    """Least processor time, ms."""
    times = []
    for _ in range(rounds):
        began = time.process_time()
        work()
        times.append(time.process_time() - began)
    return 1e3 * min(times)


def held(compliance: Compliance) -> float:
    """Memory the operator keeps, MB, single-precision copies included."""
    if isinstance(compliance, Dense):
        return 1.5 * compliance.matrix.nbytes / 1e6
    assert isinstance(compliance, Convolved)
    grids = len(compliance.root) * compliance.box[0] * compliance.box[1] * 4
    whole = compliance.spectra.nbytes * 1.5 + compliance.symbols.nbytes + compliance.root.nbytes
    return (whole + grids) / 1e6


def rows(scan: Scan, spacing: float) -> list[str]:
    """Both forms on one chart."""
    back, tree = back_from_scan(scan, spacing=spacing), read_tree("riding-middle")
    pose, foundation = seat(back, tree).T_body_tree, build_foundation(back.chart, back.tissue)
    problem = prepare(foundation, tree, read_pad(), pose)
    usual = next(
        c for c in cases_for(back, tree, pose, read_rig(), read_load()) if c.name == "both"
    )
    tighter = replace(
        usual, straps=tuple(replace(one, tension=1.1 * one.tension) for one in usual.straps)
    )
    rest = solve(problem, usual)
    found = []
    for name, most in (("dense", 10**9), ("convolved", 0)):
        make = best(lambda most=most: compliance_of(foundation, problem.near, most), 2)  # type: ignore[misc]
        own: Problem = replace(problem, compliance=compliance_of(foundation, problem.near, most))
        step = best(lambda own=own: _one_step(own, rest.pressure))  # type: ignore[misc]
        warm = best(lambda own=own: solve(own, tighter, rest))  # type: ignore[misc]
        found.append(
            f"| {len(foundation.nodes):,} | {len(problem.near):,} | {name} | {make:.0f} | "
            f"{held(own.compliance):.1f} | {step:.1f} | {warm:.0f} |"
        )
    return found


def _one_step(problem: Problem, pressure: np.ndarray) -> None:  # type: ignore[type-arg]
    """What a Newton step asks: roughly for each motion, closely for the forces."""
    chosen = np.flatnonzero(pressure[problem.near] > 0.0)
    inverse = problem.compliance.inverse(chosen, 2.0 * problem.compliance.diagonal[chosen])
    points = problem.points[chosen]
    asked = np.column_stack([np.ones(len(chosen)), points, points[:, :1] * points[:, 1:]])
    rough = inverse(asked, None, 5e-2)
    inverse(asked[:, :1], rough[:, :1], 1e-5)


def main() -> None:
    """Measure and print."""
    scan = fitsim.cleaned(fitsim.read_scan(ROOT / "meshes" / "mule.ply"))
    sys.stdout.write(HEAD + RULE)
    with threadpool_limits(limits=1, user_api="blas"):
        for spacing in (0.028, 0.020, 0.014, 0.010, 0.007, 0.005):
            sys.stdout.write("\n".join(rows(scan, spacing)) + "\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
