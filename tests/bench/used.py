"""What a run from a cold start uses, and a reference's time beside what is measured."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from pytest_benchmark.fixture import BenchmarkFixture


@dataclass(frozen=True)
class Used:
    """What a run of Python used."""

    processor_s: float
    memory_mb: float


_RUN = """
import json, resource, subprocess, sys
words = [sys.executable, *sys.argv[1:]]
subprocess.run(words, stdout=subprocess.DEVNULL, check=True)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(json.dumps([used.ru_utime + used.ru_stime, used.ru_maxrss]))
"""


def used_by(*words: str) -> Used:
    """Run Python with these words from a cold start.

    By way of a small process: a child's peak counts from the memory of whoever starts it.
    """
    done = subprocess.run([sys.executable, "-c", _RUN, *words], stdout=subprocess.PIPE, check=True)
    processor_s, peak = json.loads(done.stdout)
    unit = 1024.0 if sys.platform == "linux" else 1024.0**2  # macOS counts bytes
    return Used(processor_s, peak / unit)


def against(benchmark: BenchmarkFixture, name: str, reference: Callable[[], object]) -> None:
    """Record the best of three of a reference beside what was measured."""
    best = float("inf")
    for _ in range(3):
        began = time.perf_counter()
        reference()
        best = min(best, time.perf_counter() - began)
    benchmark.extra_info.update(reference=name, reference_s=best)
