"""What taking in a scan costs: reading, cleaning, finding the back."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import numpy as np
import pytest
import trimesh

import fitsim
from fitsim.back.from_scan import back_from_scan
from fitsim.scan.triangles import area_normals, areas
from tests.bench.used import used_by

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from pytest_benchmark.fixture import BenchmarkFixture

    from fitsim.back.back import Back

pytestmark = pytest.mark.bench

# The promises; processor seconds, since other work on the machine lengthens the others.
MESH_S, CLOUD_S, CLOUD_MB = 3.0, 20.0, 3000.0

POINTS = 5_000_000
NOISE = 0.001
"""m: of the cloud's points, along the normal."""

FITSIM = """
import sys
from pathlib import Path
from fitsim.study.job import ScanFile, read_back
assert read_back(ScanFile(Path(sys.argv[1]), unit="m"))[1].chart.valid.any()
"""
TRIMESH = """
import sys, trimesh
trimesh.load(sys.argv[1])
"""
NUMPY = """
import sys, numpy
numpy.loadtxt(sys.argv[1])
"""


def test_intake(benchmark: BenchmarkFixture, file: Path) -> None:
    """A mesh of 250,000 triangles, once all is imported."""

    def taken_in() -> Back:
        return back_from_scan(fitsim.cleaned(fitsim.read_scan(file, unit="m")))

    back = benchmark.pedantic(taken_in, warmup_rounds=1)
    assert back.chart.valid.any()
    used, alone = least_of(taken_in), least_of(lambda: trimesh.load(file))
    benchmark.extra_info.update(
        processor_s=used, reference="the file loaded by trimesh alone", reference_s=alone
    )
    assert used < MESH_S


def least_of(work: Callable[[], object], rounds: int = 5) -> float:
    """Least processor time of some rounds, s."""
    times = []
    for _ in range(rounds):
        began = time.process_time()
        work()
        times.append(time.process_time() - began)
    return min(times)


def strewn(file: Path) -> np.ndarray:
    """Points strewn evenly over a mesh, with noise along its normals, (n, 3) float32, m."""
    mesh = trimesh.load(file, process=False)
    vertices, triangles = np.asarray(mesh.vertices), np.asarray(mesh.faces)
    area = areas(vertices, triangles)
    rng = np.random.default_rng(7)
    chosen = rng.choice(len(area), POINTS, p=area / area.sum())
    places = np.einsum("nk,nki->ni", rng.dirichlet((1, 1, 1), POINTS), vertices[triangles[chosen]])
    normals = (area_normals(vertices, triangles) / area[:, None])[chosen]
    return (places + normals * rng.normal(0.0, NOISE, (POINTS, 1))).astype("<f4")


@pytest.fixture(scope="module")
def clouds(file: Path) -> dict[str, Path]:
    """The same five million points as a binary PLY and as text."""
    points = strewn(file)
    ply, text = file.with_name("cloud.ply"), file.with_name("cloud.xyz")
    head = ["ply", "format binary_little_endian 1.0", f"element vertex {POINTS}"]
    head += [f"property float {axis}" for axis in "xyz"] + ["end_header", ""]
    ply.write_bytes("\n".join(head).encode() + points.tobytes())
    np.savetxt(text, points, fmt="%.4f")
    return {"ply": ply, "xyz": text}


@pytest.mark.parametrize(
    ("kind", "name", "reference"),
    [
        ("ply", "Python started and the file loaded by trimesh alone", TRIMESH),
        ("xyz", "Python started and the file loaded by numpy alone", NUMPY),
    ],
    ids=["ply", "xyz"],
)
def test_cloud(
    benchmark: BenchmarkFixture, clouds: dict[str, Path], kind: str, name: str, reference: str
) -> None:
    """A cloud of five million points, from a cold start."""
    file = str(clouds[kind])
    used = benchmark.pedantic(used_by, ("-c", FITSIM, file))
    alone = used_by("-c", reference, file)
    benchmark.extra_info.update(
        processor_s=used.processor_s, memory_mb=used.memory_mb,
        reference=name, reference_s=alone.processor_s,
    )  # fmt: skip
    assert used.processor_s < CLOUD_S
    assert used.memory_mb < CLOUD_MB
