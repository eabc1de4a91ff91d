"""Time and memory of each step, beside a named reference measured in the same run.

A ratio to work that everyone knows travels from machine to machine; seconds do not.
`make bench` writes what is measured here into docs/benchmarks.md.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
import trimesh
from scipy.linalg.lapack import dpotrf
from threadpoolctl import threadpool_limits

import fitsim
from fitsim.back.from_scan import back_from_scan
from fitsim.contact.foundation import build_foundation
from fitsim.contact.problem import prepare
from fitsim.contact.solve import solve
from fitsim.rig.cases import cases_for
from fitsim.rig.read import read_load, read_pad, read_rig
from fitsim.tree.read import read_tree
from fitsim.tree.seat import seat
from meshes.animal import MULE
from meshes.make_backs import ply_bytes
from meshes.scanner import scan as scanned
from meshes.surface import surface

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from pytest_benchmark.fixture import BenchmarkFixture

    from fitsim.back.back import Back
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Case
    from fitsim.rig.rig import Cinch

pytestmark = pytest.mark.bench

TRIANGLES = 250_000
# The promises; processor seconds, since other work on the machine lengthens the others.
WHOLE_FIT_S, WHOLE_FIT_MB, HELP_S = 15.0, 1500.0, 0.5


@pytest.fixture(scope="module", autouse=True)
def _one_thread() -> Iterator[None]:
    """BLAS on one thread, for the reference as for us."""
    with threadpool_limits(limits=1, user_api="blas"):
        yield


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A made-up mule scanned three times as finely as the demo's."""
    path = tmp_path_factory.mktemp("bench") / "mule.ply"
    path.write_bytes(ply_bytes(scanned(surface(MULE), triangles=TRIANGLES, seed=5)))
    return path


@pytest.fixture(scope="module")
def back(file: Path) -> Back:
    return back_from_scan(fitsim.cleaned(fitsim.read_scan(file, unit="m")))


@dataclass(frozen=True)
class Laid:
    problem: Problem
    cases: dict[str, Case]


@pytest.fixture(scope="module")
def laid(back: Back) -> Laid:
    tree = read_tree("riding-middle")
    pose = seat(back, tree).T_body_tree
    foundation = build_foundation(back.chart, back.tissue)
    cases = cases_for(back, tree, pose, read_rig(), read_load())
    return Laid(prepare(foundation, tree, read_pad(), pose), {case.name: case for case in cases})


def against(benchmark: BenchmarkFixture, name: str, reference: Callable[[], object]) -> None:
    """Record the best of three of a reference beside what was measured."""
    best = np.inf
    for _ in range(3):
        began = time.perf_counter()
        reference()
        best = min(best, time.perf_counter() - began)
    benchmark.extra_info.update(reference=name, reference_s=best)


def factorised(count: int) -> Callable[[], object]:
    """LAPACK's Cholesky factor of a dense matrix with `count` rows."""
    rng = np.random.default_rng(0)
    half = rng.standard_normal((count, count))
    matrix = half @ half.T + count * np.eye(count)
    return lambda: dpotrf(matrix)


def test_intake(benchmark: BenchmarkFixture, file: Path) -> None:
    """Read, clean, and find the back."""
    against(benchmark, "the file loaded by trimesh alone", lambda: trimesh.load(file))

    def taken_in() -> Back:
        return back_from_scan(fitsim.cleaned(fitsim.read_scan(file, unit="m")))

    assert benchmark.pedantic(taken_in, rounds=3).chart.valid.any()


def test_foundation(benchmark: BenchmarkFixture, back: Back) -> None:
    """Build the back's compliance, once per scan."""
    against(benchmark, "dense Cholesky of 2,000 rows", factorised(2000))
    built = benchmark.pedantic(build_foundation, (back.chart, back.tissue), rounds=3)
    assert len(built.nodes) == back.chart.valid.sum()


@pytest.mark.parametrize("name", ["front", "rear", "both", "rider"])
def test_cold_case(benchmark: BenchmarkFixture, laid: Laid, name: str) -> None:
    """Solve one case from the tree as it was laid."""
    against(benchmark, "dense Cholesky of 2,000 rows", factorised(2000))
    rest = benchmark.pedantic(solve, (laid.problem, laid.cases[name]), rounds=3)
    assert rest.found
    assert rest.residual < 1e-3


def test_warm_case(benchmark: BenchmarkFixture, back: Back, laid: Laid) -> None:
    """Solve again after both cinches are drawn up by a tenth."""
    against(benchmark, "dense Cholesky of 2,000 rows", factorised(2000))
    rest = solve(laid.problem, laid.cases["both"])
    as_set = read_rig()
    tighter = replace(as_set, front=drawn_up(as_set.front), rear=drawn_up(as_set.rear))
    tree, pose = laid.problem.tree, rest.T_body_tree_seat
    cases = cases_for(back, tree, pose, tighter, read_load("none"))
    case = next(one for one in cases if one.name == "both")
    again = benchmark.pedantic(solve, (laid.problem, case, rest), rounds=5)
    assert again.found
    assert again.pressure @ laid.problem.foundation.area > rest.pressure @ (
        laid.problem.foundation.area
    )


def drawn_up(cinch: Cinch) -> Cinch:
    """A cinch a tenth tighter."""
    return replace(
        cinch, tension_left=1.1 * cinch.tension_left, tension_right=1.1 * cinch.tension_right
    )


@dataclass(frozen=True)
class Used:
    """What a run of the program used."""

    processor_s: float
    memory_mb: float


_RUN = """
import json, resource, subprocess, sys
words = [sys.executable, "-m", "fitsim", *sys.argv[1:]]
subprocess.run(words, stdout=subprocess.DEVNULL, check=True)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(json.dumps([used.ru_utime + used.ru_stime, used.ru_maxrss]))
"""


def used_by(*words: str) -> Used:
    """Run the program from a cold start.

    By way of a small process: a child's peak counts from the memory of whoever starts it.
    """
    done = subprocess.run([sys.executable, "-c", _RUN, *words], stdout=subprocess.PIPE, check=True)
    processor_s, peak = json.loads(done.stdout)
    unit = 1024.0 if sys.platform == "linux" else 1024.0**2  # macOS counts bytes
    return Used(processor_s, peak / unit)


def test_whole_fit(benchmark: BenchmarkFixture, file: Path, tmp_path: Path) -> None:
    """`fitsim fit` from a cold start to its report: four cases, pictures, tables."""
    words = ("fit", str(file), "--unit", "m", "--quiet", "-o", str(tmp_path / "out"))
    used = benchmark.pedantic(used_by, words, rounds=3)
    assert (tmp_path / "out" / "report.html").is_file()
    against(benchmark, "the same libraries imported, nothing done", imported)
    benchmark.extra_info.update(processor_s=used.processor_s, memory_mb=used.memory_mb)
    assert used.processor_s < WHOLE_FIT_S
    assert used.memory_mb < WHOLE_FIT_MB


def imported() -> None:
    """Start Python with the libraries a fit cannot do without."""
    libraries = "numpy, scipy.ndimage, scipy.interpolate, trimesh, pydantic, PIL.Image, jinja2"
    vtk = "vtkmodules.vtkRenderingOpenGL2"
    subprocess.run([sys.executable, "-c", f"import {libraries}, {vtk}"], check=True)


def test_help(benchmark: BenchmarkFixture) -> None:
    """`fitsim --help`, which must not wait for anything heavy."""
    used = benchmark.pedantic(used_by, ("--help",), rounds=3)
    against(
        benchmark, "python -c pass", lambda: subprocess.run([sys.executable, "-c", ""], check=True)
    )
    benchmark.extra_info.update(processor_s=used.processor_s, memory_mb=used.memory_mb)
    assert used.processor_s < HELP_S
