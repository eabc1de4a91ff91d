"""Random trees, rigs, loads and slopes on random backs: each one balances or truly leaves.

Run by hand for as many as wanted; what is done is kept, a line of JSON each, and not done again:

    python -m tests.robustness.random_cases 10000 results.jsonl

Trial n draws everything from the seed (SEED, n): one back, one adjusted tree, pad and place, and
`PER_TRIAL` cases of rig, load and going on it.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING, Literal

import numpy as np
from threadpoolctl import threadpool_limits

from fitsim.contact.foundation import build_foundation
from fitsim.contact.leaving import TILT, TRAVEL
from fitsim.contact.solve import solve
from fitsim.errors import BadSettings
from fitsim.measure.balance import BALANCED, balance_of_nodes
from fitsim.rig.cases import cases_for
from fitsim.rig.going import Going
from fitsim.rig.load import NO_LOAD, Load, pack, rider
from fitsim.rig.pad import library_pad
from fitsim.rig.rig import Cinch, Holdback, Rig
from fitsim.scan.scan import Provenance, Scan
from fitsim.study.laid import Laid, laid
from fitsim.tree.adjust import adjusted
from fitsim.tree.read import read_tree
from meshes.animal import animal
from meshes.scanner import scan as scanned
from meshes.surface import surface
from tests import fits

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fitsim.back.back import Back
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.foundation import Foundation
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Case
    from fitsim.tree.tree import Tree

SEED = 71
PER_TRIAL = 10
DRAWN = 6  # animals drawn from the made-up population
TREES = ("pack-fixed", "pack-pivoting", "riding-middle", "riding-narrow", "riding-wide")
PADS = ("none", "felt-thin", "felt", "felt-thick")
NUDGED = 0.05  # share of the cases tried again with everything a little off
EASY, HARD_NUDGED = 25, 0.4  # steps of an easy case; the share of the others tried again
NUDGES = (1e-6, 1e-5, 1e-4, 1e-3)

Verdict = Literal["balanced", "leaves", "failed"]


@dataclass(frozen=True)
class Outcome:
    """What became of one case.

    Attributes
    ----------
    verdict : "balanced" to 0.1 % as added up from the nodes; "leaves" a named way, having tilted
        or travelled as far as that takes; else "failed".
    way : how it leaves.
    residual : -, of the balance.
    steps : of the solver.
    seconds : of the solver.
    """

    verdict: Verdict
    way: str
    residual: float
    steps: int
    seconds: float


def drawn_back(rng: np.random.Generator) -> str:
    """One of our backs, of drawn ones and of the borrowed, which a drawn one stands in for."""
    name = str(rng.choice([*fits.SCANS, *(f"drawn-{number}" for number in range(DRAWN))]))
    there = name not in fits.SCANS or fits.SCANS[name][0].is_file()
    return name if there else "drawn-0"


@cache
def back_of(name: str) -> Back:
    """A back on the coarse grid."""
    if not name.startswith("drawn-"):
        return fits.back_of(name)
    number = int(name.removeprefix("drawn-"))
    kind = animal(np.random.default_rng([SEED, number]))
    raw = scanned(surface(kind), triangles=20_000, seed=number)
    scan = Scan(
        raw.vertices.astype(float),
        raw.triangles,
        Provenance(name, "0" * 64, len(raw.triangles), len(raw.vertices), "m", "made", ()),
    )
    return fits.taken_in(scan, kind.withers_height)


@cache
def foundation_of(name: str) -> Foundation:
    """Compliance of a back."""
    back = back_of(name)
    return build_foundation(back.chart, back.tissue)


def drawn_tree(rng: np.random.Generator) -> Tree:
    """A tree of the library with its arches and bars set at random, within what can be built."""
    tree = read_tree(str(rng.choice(TREES)))
    arches = tree.settings["arches"]
    assert isinstance(arches, dict)
    changes: dict[str, object] = {"bar.curve.sagitta": float(rng.uniform(0.004, 0.03))}
    shift, turn = rng.uniform(-0.012, 0.035), np.radians(rng.uniform(-10.0, 10.0))
    for which in ("front", "rear"):
        arch = arches[which]
        spread = "spread" if arch.get("spread") is not None else "inner_edge"
        changes[f"arches.{which}.{spread}"] = float(arch[spread] + shift + rng.uniform(0, 0.01))
        changes[f"arches.{which}.angle"] = float(arch["angle"] + turn + rng.uniform(-0.05, 0.05))
    try:
        return adjusted(tree, changes)
    except BadSettings:  # cannot be built: the plain one then
        return tree


def drawn_rig(rng: np.random.Generator) -> Rig:
    """Tensions of 0 to 400 N, unequal, and whatever else a rig may have."""

    def cinch() -> Cinch:
        left = float(rng.choice([0.0, rng.uniform(0.0, 400.0)], p=[0.08, 0.92]))
        right = left * float(rng.choice([1.0, rng.uniform(0.3, 1.0)]))
        stretch = float(rng.choice([0.0, rng.uniform(500.0, 2e4)], p=[0.7, 0.3]))
        swing = float(rng.choice([0.0, rng.uniform(-0.05, 0.15)]))
        return Cinch(left, right, stiffness=stretch, swing=swing)

    def held(share: float) -> Holdback | None:
        slack = float(rng.uniform(0.0, 0.12))
        return Holdback(slack) if rng.random() < share else None

    connecting = float(rng.uniform(0.1, 0.4)) if rng.random() < 0.3 else None
    return Rig("drawn", cinch(), cinch(), connecting, held(0.4), held(0.3), held(0.2))


def drawn_load(rng: np.random.Generator) -> Load:
    """A rider, a pack or nothing on any ground."""
    kind = rng.choice(["rider", "pack", "none"], p=[0.45, 0.45, 0.1])
    load = NO_LOAD
    if kind == "rider":
        load = rider(
            float(rng.uniform(30.0, 150.0)),
            float(rng.uniform(0.0, 0.2)),
            float(rng.uniform(0.15, 0.4)),
            lean_forward=float(rng.normal(0.0, 0.15)),
            lean_left=float(rng.normal(0.0, 0.15)),
            stirrup_share=float(rng.uniform(0.0, 0.9)),
            left_stirrup=float(rng.uniform(0.0, 1.0)),
        )
    elif kind == "pack":
        left = float(rng.uniform(0.0, 70.0))
        right = max(0.0, left + float(rng.normal(0.0, 15.0)))
        load = pack(
            left,
            right,
            float(rng.uniform(0.0, 25.0)),
            side_offset=float(rng.uniform(0.25, 0.5)),
            side_height=float(rng.uniform(-0.15, 0.15)),
            top_offset=float(rng.normal(0.0, 0.05)),
        )
    if rng.random() < 0.4:
        return load
    tilt = np.radians(rng.uniform(-30.0, 30.0, 2)) * rng.choice([0.0, 1.0], 2)
    factor = float(rng.choice([1.0, rng.uniform(0.5, 3.0)]))
    return load.over(Going(float(tilt[0]), float(tilt[1]), float(rng.normal(0.0, 1.0)), factor))


def drawn(number: int) -> tuple[Laid, list[Case]]:
    """Everything of one trial: a tree laid on a back, and its cases."""
    rng = np.random.default_rng([SEED, number])
    name = drawn_back(rng)
    tree, pad = drawn_tree(rng), library_pad(str(rng.choice(PADS)))
    pad = replace(pad, friction=float(rng.uniform(0.25, 0.6)))
    at = float(rng.uniform(-0.06, 0.06))
    back = back_of(name)
    on = laid(back, tree, pad=pad, at=at, foundation=foundation_of(name))
    cases = []
    for _ in range(PER_TRIAL):
        rig, load = drawn_rig(rng), drawn_load(rng)
        possible = cases_for(back, tree, on.seat.T_body_tree, rig, load)
        which = len(possible) - 1 if rng.random() < 0.7 else int(rng.integers(len(possible)))
        cases.append(possible[which])
    return on, cases


def outcome(problem: Problem, case: Case) -> Outcome:
    """Solve a case and judge the answer without believing the solver."""
    started = perf_counter()
    try:
        rest = solve(problem, case)
    except (ArithmeticError, ValueError, np.linalg.LinAlgError) as error:
        return Outcome("failed", repr(error), np.inf, 0, perf_counter() - started)
    spent = perf_counter() - started
    left = _left_over(problem, rest) if rest.found else rest.residual
    verdict: Verdict = "failed"
    if rest.found and left <= BALANCED:
        verdict = "balanced"
    elif not rest.found and rest.leaves is not None and _has_left(problem, case, rest):
        verdict = "leaves"
    return Outcome(verdict, rest.leaves or "", float(left), rest.iterations, spent)


def _left_over(problem: Problem, rest: Equilibrium) -> float:
    ground = problem.foundation
    about = rest.T_body_tree[:3, :3] @ problem.centre_tree + rest.T_body_tree[:3, 3]
    found = balance_of_nodes(
        ground.points,
        ground.normals,
        ground.area,
        pressure=rest.pressure,
        shear=rest.shear,
        applied=rest.forces,
        about=about,
        length=2.0 * problem.half_length,
    ).residual
    return float(found) if np.isfinite(found) and (rest.pressure >= 0.0).all() else np.inf


def _has_left(problem: Problem, case: Case, rest: Equilibrium) -> bool:
    """Whether it has gone as far as leaving takes, rather than run out of the solver's steps."""
    from scipy.spatial.transform import Rotation

    from fitsim.contact.applied import longest_slack

    middle = np.append(problem.centre_tree, 1.0)
    gone = np.abs(((rest.T_body_tree - rest.T_body_tree_seat) @ middle)[:3])
    turn = Rotation.from_matrix(rest.T_body_tree[:3, :3] @ rest.T_body_tree_seat[:3, :3].T)
    far = TRAVEL + np.array([longest_slack(case, rest.T_body_tree_seat), 0.0, 0.0])
    return bool((gone >= far).any() or (np.abs(turn.as_rotvec()) >= TILT).any())


def nudged(case: Case, share: float, way: np.random.Generator) -> Case:
    """The case with every tension and weight off by about this share."""
    straps = tuple(
        replace(strap, tension=strap.tension * (1.0 + share * way.normal()))
        for strap in case.straps
    )
    forces = tuple(
        replace(force, force_body=force.force_body * (1.0 + share * way.normal()))
        for force in case.forces
    )
    return replace(case, straps=straps, forces=forces)


def flips(problem: Problem, case: Case, first: Outcome, seed: int) -> str:
    """Whether nudging a case changes its verdict, and if so whether a true boundary is near.

    "steady", "boundary" where the verdict changes once along the nudge, "random" where it changes
    back and forth.
    """
    for share in NUDGES:
        again = outcome(problem, nudged(case, share, np.random.default_rng(seed)))
        if again.verdict != first.verdict:
            along = [
                outcome(problem, nudged(case, one, np.random.default_rng(seed))).verdict
                for one in np.linspace(-3.0, 3.0, 13) * share
            ]
            changes = sum(one != other for one, other in pairwise(along))
            return "boundary" if changes == 1 else "random"
    return "steady"


def trial(number: int, nudge: float = NUDGED) -> Iterator[dict[str, object]]:
    """Records of one trial."""
    rng = np.random.default_rng([SEED, number, 1])
    on, cases = drawn(number)
    for which, case in enumerate(cases):
        found = outcome(on.problem, case)
        record: dict[str, object] = {"trial": number, "case": which, "name": case.name}
        record |= {"verdict": found.verdict, "way": found.way, "steps": found.steps}
        record |= {"residual": float(f"{found.residual:.2g}"), "s": round(found.seconds, 3)}
        if rng.random() < (nudge if found.steps <= EASY else HARD_NUDGED * bool(nudge)):
            record["nudged"] = flips(on.problem, case, found, number)
        yield record


def run(count: int, kept: Path, nudge: float = NUDGED) -> None:
    """Do the trials of `count` cases that are not done yet, and keep each as it comes."""
    lines = kept.read_text(encoding="utf-8").splitlines() if kept.exists() else []
    done = Counter(json.loads(line)["trial"] for line in lines)
    with threadpool_limits(limits=1, user_api="blas"):
        for number in range(-(-count // PER_TRIAL)):
            if done[number] >= PER_TRIAL:
                continue
            records = [json.dumps(record) for record in trial(number, nudge)]
            with kept.open("a", encoding="utf-8") as file:
                file.write("\n".join(records) + "\n")


def counted(kept: Path) -> dict[str, Counter[str]]:
    """How many of each verdict, way and nudge are kept."""
    records = [json.loads(line) for line in kept.read_text(encoding="utf-8").splitlines()]
    return {
        key: Counter(record[key] for record in records if key in record)
        for key in ("verdict", "way", "nudged")
    }


if __name__ == "__main__":
    run(int(sys.argv[1]), Path(sys.argv[2]))
    for key, counts in counted(Path(sys.argv[2])).items():
        sys.stdout.write(f"{key}: {dict(counts)}\n")
