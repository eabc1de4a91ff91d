"""The fast model against the reference model on whole backs, and keep the figures: one command.

    python tests/reference/backs.py [--size 0.030] [--animal mule pony horse] [--case front ...]

Minutes a case. Writes backs_results.json beside this file after every case, so that a broken run
loses nothing, and prints the table. A case that is kept is not run anew without --anew; what the
fast model gives is always worked out afresh.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fitsim.contact.foundation import build_foundation
from fitsim.contact.leaving import motion_since_seat
from fitsim.contact.pose import Pose
from fitsim.contact.reference_model.solve import solve as settle
from fitsim.contact.solve import solve
from fitsim.measure.measured import measured
from fitsim.rig.cases import cases_for
from fitsim.rig.read import read_load, read_rig
from fitsim.study.job import ScanFile, read_back
from fitsim.study.laid import laid
from fitsim.study.model import ground_under
from fitsim.tree.read import read_tree

if TYPE_CHECKING:
    from fitsim.back.back import Back
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Case

RESULTS = Path(__file__).with_name("backs_results.json")
ROOT = Path(__file__).resolve().parents[2]
ANIMALS = {
    "mule": (ROOT / "meshes" / "mule.ply", None),
    "pony": (ROOT / "meshes" / "broad_pony.ply", None),
    "horse": (ROOT.parent / "shared" / "meshes" / "horse-scan.ply", 1.5),
}
TREE = "riding-middle"
VARIANTS: dict[str, dict[str, Any]] = {
    "fast": {},
    "without curvature": {"curved": 0.0},
    "without stiffening": {"stiffens": False},
    "bone felt under the node alone": {"reach": 0.0},
}

TURNING = "reference, pad turning with the skin"


def main() -> None:
    """Run, keep, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--size", type=float, default=0.030, help="m, of an element across")
    parser.add_argument("--animal", nargs="+", default=list(ANIMALS), choices=list(ANIMALS))
    parser.add_argument("--case", nargs="+", default=["front", "rear", "both", "rider"])
    parser.add_argument("--anew", action="store_true", help="run kept cases again")
    told = parser.parse_args()
    kept = json.loads(RESULTS.read_text(encoding="utf-8")) if RESULTS.exists() else {"sizes": {}}
    kept["date"] = datetime.now(UTC).date().isoformat()
    kept["versions"] = {name: metadata.version(name) for name in ("numpy", "scipy", "scikit-fem")}
    rows = kept["sizes"].setdefault(f"{told.size * 1e3:.3g} mm", {})
    for animal in told.animal:
        if ANIMALS[animal][0].is_file():
            compare(animal, told, rows.setdefault(animal, {}), kept)


def compare(animal: str, told: argparse.Namespace, rows: dict[str, Any], kept: Any) -> None:  # noqa: ANN401 read from JSON
    """All cases of one animal."""
    path, height = ANIMALS[animal]
    _, back = read_back(ScanFile(path, withers_height=height))
    tree = read_tree(TREE)
    on = laid(back, tree)
    ground = None
    for case in cases_for(back, tree, on.seat.T_body_tree, read_rig(), read_load()):
        if case.name not in told.case:
            continue
        row = rows.setdefault(case.name, {})
        for name, switches in VARIANTS.items():
            base = build_foundation(back.chart, back.tissue, **switches)
            problem = laid(back, tree, foundation=base).problem
            row[name] = figures(back, problem, case, solve(problem, case))
        if "reference" not in row or told.anew:
            ground = ground or ground_under(back, on.problem, told.size)
            begin = time.perf_counter()
            rest = settle(on.problem, ground, case, solve(on.problem, case)).equilibrium
            row["reference"] = figures(back, on.problem, case, rest)
            row["reference"]["seconds"] = round(time.perf_counter() - begin)
            row["reference"]["unknowns"] = ground.model.slab.points.size
        if TURNING not in row or told.anew:
            ground = ground or ground_under(back, on.problem, told.size)
            start = solve(on.problem, case)
            rest = settle(on.problem, ground, case, start, follows=True).equilibrium
            row[TURNING] = figures(back, on.problem, case, rest)
        if kept is not None:
            RESULTS.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
        for name in VARIANTS:
            sys.stdout.write(table_row(animal, case.name, name, row[name], row["reference"]) + "\n")
        other = row[TURNING]
        name = "fast, against a pad that turns with the skin"
        sys.stdout.write(table_row(animal, case.name, name, row["fast"], other) + "\n")
        sys.stdout.flush()


def figures(back: Back, problem: Problem, case: Case, rest: Equilibrium) -> dict[str, Any]:
    """What is compared: peak, area, shares and where the tree went since it was laid."""
    if not rest.found:
        return {"leaves": rest.leaves, "residual": rest.residual}
    found = measured(back, problem.tree, case, rest)
    motion = motion_since_seat(problem, Pose(rest.T_body_tree, rest.joint_angles))
    told = {
        "residual": rest.residual,
        "peak_kpa": found.peak / 1e3,
        "point_max_kpa": found.point_max / 1e3,
        "area_cm2": found.area * 1e4,
        **{f"share_{name}": 100.0 * found.share[name] for name in ("front", "middle", "rear")},
        "deepest_mm": 1e3 * float(rest.indentation.max()),
        **{f"{k}_mm": 1e3 * float(v) for k, v in zip("xyz", motion[:3], strict=True)},
        **{
            f"{k}_deg": float(np.rad2deg(v))
            for k, v in zip(("roll", "pitch", "yaw"), motion[3:], strict=True)
        },
    }
    return {name: float(f"{value:.5g}") for name, value in told.items()}


def apart(fast: dict[str, Any], reference: dict[str, Any]) -> dict[str, float]:
    """How far two answers are apart: percent, points, mm and degrees; the worst of each kind."""
    return {
        "peak_percent": 100.0 * (fast["peak_kpa"] / reference["peak_kpa"] - 1.0),
        "area_percent": 100.0 * (fast["area_cm2"] / reference["area_cm2"] - 1.0),
        "share_points": max(
            abs(fast[f"share_{name}"] - reference[f"share_{name}"])
            for name in ("front", "middle", "rear")
        ),
        "pose_mm": max(abs(fast[f"{k}_mm"] - reference[f"{k}_mm"]) for k in "xyz"),
        "turn_deg": max(
            abs(fast[f"{k}_deg"] - reference[f"{k}_deg"]) for k in ("roll", "pitch", "yaw")
        ),
    }


def table_row(
    animal: str, case: str, name: str, fast: dict[str, Any], reference: dict[str, Any]
) -> str:
    """One line of the table."""
    if "leaves" in fast or "leaves" in reference:
        return f"| {animal} | {case} | {name} | leaves: {fast.get('leaves')} |"
    off = apart(fast, reference)
    return (
        f"| {animal} | {case} | {name} | {off['peak_percent']:+.1f} % | "
        f"{off['area_percent']:+.1f} % | {off['share_points']:.1f} | {off['pose_mm']:.2f} mm | "
        f"{off['turn_deg']:.2f} deg |"
    )


if __name__ == "__main__":
    main()
