"""How long reading and cleaning takes."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import pytest

from fitsim.scan.clean import cleaned
from fitsim.scan.read import read_scan
from tests.trunk import trunk

if TYPE_CHECKING:
    from pathlib import Path

    from pytest_benchmark.fixture import BenchmarkFixture


@pytest.mark.bench
@pytest.mark.benchmark(timer=time.process_time)  # others may use the machine meanwhile
def test_read_and_clean_250_000_triangles(tmp_path: Path, benchmark: BenchmarkFixture) -> None:
    trunk(420, 299).export(tmp_path / "back.ply")
    scan = benchmark(lambda: cleaned(read_scan(tmp_path / "back.ply")))
    assert len(scan.triangles) == 249_724
    if benchmark.stats is not None:
        # s; one thread does nearly all of it, so processor time is the time on an idle machine.
        assert benchmark.stats["min"] < 1.5
