"""Time and memory of each step, beside a named reference measured in the same run.

A ratio to work that everyone knows travels from machine to machine; seconds do not.
`make bench` writes what is measured here into docs/benchmarks.md.
"""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
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
from tests.bench.used import against, used_by

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from pytest_benchmark.fixture import BenchmarkFixture

    from fitsim.back.back import Back
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Case
    from fitsim.rig.rig import Cinch

pytestmark = pytest.mark.bench

# The promises; processor seconds, since other work on the machine lengthens the others.
WHOLE_FIT_S, WHOLE_FIT_MB, HELP_S = 15.0, 1500.0, 0.5


@pytest.fixture(scope="module", autouse=True)
def _one_thread() -> Iterator[None]:
    """BLAS on one thread, for the reference as for us."""
    with threadpool_limits(limits=1, user_api="blas"):
        yield


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


def factorised(count: int) -> Callable[[], object]:
    """LAPACK's Cholesky factor of a dense matrix with `count` rows."""
    rng = np.random.default_rng(0)
    half = rng.standard_normal((count, count))
    matrix = half @ half.T + count * np.eye(count)
    return lambda: dpotrf(matrix)


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


def test_whole_fit(benchmark: BenchmarkFixture, file: Path, tmp_path: Path) -> None:
    """`fitsim fit` from a cold start to its report: four cases, pictures, tables."""
    fit = ("-m", "fitsim", "fit", str(file), "--unit", "m", "--quiet")
    words = (*fit, "-o", str(tmp_path / "out"))
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
    used = benchmark.pedantic(used_by, ("-m", "fitsim", "--help"), rounds=3)
    against(
        benchmark, "python -c pass", lambda: subprocess.run([sys.executable, "-c", ""], check=True)
    )
    benchmark.extra_info.update(processor_s=used.processor_s, memory_mb=used.memory_mb)
    assert used.processor_s < HELP_S
