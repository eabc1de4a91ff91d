"""Writes docs/benchmarks.md from what `make bench` measured: python table.py MEASURED.json."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

PAGE = Path(__file__).resolve().parents[2] / "docs" / "benchmarks.md"
NAMES = {
    "test_foundation": "build the back's compliance (once per scan)",
    "test_cold_case[front]": "solve: front cinch only, from where the tree was laid",
    "test_cold_case[rear]": "solve: rear cinch only",
    "test_cold_case[both]": "solve: both cinches",
    "test_cold_case[rider]": "solve: both cinches and rider",
    "test_warm_case": "solve again with the cinches a tenth tighter",
    "test_whole_fit": "`fitsim fit`, cold start to report: four cases, pictures, tables",
    "test_help": "`fitsim --help`",
}
SOLVER = {
    "test_warm_cases[1000]": "warm case, 999 nodes: median",
    "test_warm_cases[2000]": "warm case, 1,961 nodes: median",
    "test_warm_cases[4000]": "warm case, 3,975 nodes: median",
    "test_warm_cases[8000]": "warm case, 7,738 nodes: median",
    "test_warm_cases[32000]": "warm case, 30,595 nodes: median",
    "test_foundation_and_problem": "compliance and problem, 3,975 nodes",
    "test_pressed_sphere[64]": "sphere on a half-space to 1e-8, 64 square",
    "test_pressed_sphere[128]": "the same, 128 square",
    "test_pressed_sphere[256]": "the same, 256 square",
    "test_bar_on_a_saddle": "bar on a saddle-shaped patch, warm",
}
INTAKE = {
    "test_intake": ("a mesh of 250,000 triangles, once all is imported", "3 s"),
    "test_cloud[ply]": ("a cloud of 5 million points (PLY), Python started", "20 s, 3 GB"),
    "test_cloud[xyz]": ("the same points as text (XYZ)", "20 s, 3 GB"),
}
BOOK = {
    f"test_ten_thousand_fits_are_answered_at_once[{asked}]": words
    for asked, words in {
        "fits listed-200": "the latest 200 fits, listed",
        "fits of one animal-100": "the 100 fits of one animal",
        "animals listed-100": "the 100 animals, listed",
        "animals searched-15": "a word searched for among animals and notes",
        "time line of one animal-100": "the time line of one animal",
    }.items()
}
HEAD = """# How long it takes

Written by `make bench`; do not edit. The scan is a made-up mule of 250,000 triangles on the
default 10 mm grid, BLAS on one thread, {cores}. Each time is the best of its rounds; beside it
stands a reference measured in the same run, since a ratio travels from machine to machine and
seconds do not.

| what | time, s | processor, s | peak memory, MB | reference | its time, s | ratio |
| --- | ---: | ---: | ---: | --- | ---: | ---: |
"""


INTAKE_HEAD = """
## Taking in a scan

Read, cleaned and the back found: processor time, so that other work on the machine counts little
(of the mesh the least of five rounds). The points lie on the same mule with 1 mm of noise.

| what | asked for | processor, s | peak memory, MB | reference | its, s | ratio |
| --- | ---: | ---: | ---: | --- | ---: | ---: |
"""

SOLVER_HEAD = """
## The contact solver

Processor time on one thread, least of its rounds, so that other work on the machine counts little;
the peers in turn with ours. A warm case starts from the rest under cinches up to a tenth tighter or
looser. ASPHER solves the same sphere; Tamaas in its default and fastest form, periodic. CalculiX's
time is the clock's, kept from its own run on two cores. Sphere: ours is solving alone, what is made
once per back made before; ASPHER makes its operators within the time given.

| what | ours, ms | p95, ms | cases/s, two cores | reference | its, ms | ratio | Tamaas 2.9, ms |
| --- | ---: | ---: | ---: | --- | ---: | ---: | ---: |
"""

BOOK_HEAD = """
## The book

100 animals with 100 fits each, from the file opened to the records read: processor time, least and
slowest of five runs (200 ms asked for).

| what | ms | slowest, ms | reference | its, ms | ratio |
| --- | ---: | ---: | --- | ---: | ---: |
"""


def intake_row(measured: dict[str, Any]) -> str:
    """One line of the intake's table."""
    more = measured["extra_info"]
    ours, theirs = more["processor_s"], more["reference_s"]
    cells = (
        *INTAKE[measured["name"]],
        f"{ours:.1f}",
        f"{more['memory_mb']:.0f}" if "memory_mb" in more else "",
        more["reference"],
        f"{theirs:.2g}",
        f"{ours / theirs:.1f}",
    )
    return "| " + " | ".join(cells) + " |"


def book_row(measured: dict[str, Any]) -> str:
    """One line of the book's table."""
    more = measured["extra_info"]
    ours, theirs = more["processor_s"], more["reference_s"]
    cells = (
        BOOK[measured["name"]],
        f"{1e3 * ours:.1f}",
        f"{1e3 * more['slowest_s']:.1f}",
        more["reference"],
        f"{1e3 * theirs:.1f}",
        f"{ours / theirs:.2g}",
    )
    return "| " + " | ".join(cells) + " |"


def solver_row(measured: dict[str, Any]) -> str:
    """One line of the solver's table."""
    more = measured["extra_info"]
    ours, theirs = more["processor_s"], more["reference_s"]
    cells = (
        SOLVER[measured["name"]],
        f"{1e3 * ours:.1f}",
        f"{1e3 * more['p95_s']:.1f}" if "p95_s" in more else "",
        f"{more['cases_a_second']:.0f}" if "cases_a_second" in more else "",
        more["reference"],
        f"{1e3 * theirs:.1f}",
        f"{ours / theirs:.2g}",
        f"{1e3 * more['tamaas_s']:.1f}" if "tamaas_s" in more else "",
    )
    return "| " + " | ".join(cells) + " |"


def row(measured: dict[str, Any]) -> str:
    """One line of the table."""
    best, more = measured["stats"]["min"], measured["extra_info"]
    cells = (
        NAMES[measured["name"]],
        f"{best:.2f}",
        f"{more['processor_s']:.1f}" if "processor_s" in more else "",
        f"{more['memory_mb']:.0f}" if "memory_mb" in more else "",
        more["reference"],
        f"{more['reference_s']:.3f}",
        f"{best / more['reference_s']:.1f}",
    )
    return "| " + " | ".join(cells) + " |"


def main(file: str) -> None:
    """Write the page."""
    found = {one["name"]: one for one in json.loads(Path(file).read_text())["benchmarks"]}
    # the sphere is skipped where the peers are not installed
    needed = {name for name in (*NAMES, *INTAKE, *SOLVER, *BOOK) if "sphere" not in name}
    if missing := needed - found.keys():
        sys.exit(f"not measured: {', '.join(sorted(missing))}")
    head = HEAD.format(cores=f"{os.cpu_count()} cores")
    rows = "\n".join(row(found[name]) for name in NAMES) + "\n"
    intake = INTAKE_HEAD + "\n".join(intake_row(found[name]) for name in INTAKE) + "\n"
    solver = "\n".join(solver_row(found[name]) for name in SOLVER if name in found) + "\n"
    book = "\n".join(book_row(found[name]) for name in BOOK) + "\n"
    PAGE.write_text(head + rows + intake + SOLVER_HEAD + solver + BOOK_HEAD + book)


if __name__ == "__main__":
    main(sys.argv[1])
