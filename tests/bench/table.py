"""Writes docs/benchmarks.md from what `make bench` measured: python table.py MEASURED.json."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

PAGE = Path(__file__).resolve().parents[2] / "docs" / "benchmarks.md"
NAMES = {
    "test_intake": "read, clean and understand a scan of 250,000 triangles",
    "test_foundation": "build the back's compliance (once per scan)",
    "test_cold_case[front]": "solve: front cinch only, from where the tree was laid",
    "test_cold_case[rear]": "solve: rear cinch only",
    "test_cold_case[both]": "solve: both cinches",
    "test_cold_case[rider]": "solve: both cinches and rider",
    "test_warm_case": "solve again with the cinches a tenth tighter",
    "test_whole_fit": "`fitsim fit`, cold start to report: four cases, pictures, tables",
    "test_help": "`fitsim --help`",
}
HEAD = """# How long it takes

Written by `make bench`; do not edit. The scan is a made-up mule of 250,000 triangles on the
default 10 mm grid, BLAS on one thread, {cores}. Each time is the best of its rounds; beside it
stands a reference measured in the same run, since a ratio travels from machine to machine and
seconds do not.

| what | time, s | processor, s | peak memory, MB | reference | its time, s | ratio |
| --- | ---: | ---: | ---: | --- | ---: | ---: |
"""


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
    if missing := NAMES.keys() - found.keys():
        sys.exit(f"not measured: {', '.join(sorted(missing))}")
    head = HEAD.format(cores=f"{os.cpu_count()} cores")
    PAGE.write_text(head + "\n".join(row(found[name]) for name in NAMES) + "\n")


if __name__ == "__main__":
    main(sys.argv[1])
