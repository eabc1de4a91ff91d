"""Run every comparison case with both codes and keep the figures: one command.

    python tests/reference/compare.py [--levels 0 1 2] [--case TEXT]

Needs the program ``ccx`` (Debian package calculix-ccx). Writes calculix_results.json beside
this file after every run, so that a broken run loses nothing, and prints the table.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import calculix
import ours
from cases import CASES

RESULTS = Path(__file__).with_name("calculix_results.json")


def main() -> None:
    """Run, keep, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--levels", type=int, nargs="+", default=[0, 1], help="meshes, 0 to 2")
    parser.add_argument("--case", default="", help="only cases whose name contains this")
    told = parser.parse_args()
    kept = json.loads(RESULTS.read_text(encoding="utf-8")) if RESULTS.exists() else {"cases": {}}
    kept["calculix"], kept["date"] = calculix.version(), datetime.now(UTC).date().isoformat()
    with tempfile.TemporaryDirectory() as folder:
        for case in (c for c in CASES if told.case in c.name):
            for level in told.levels:
                rows = kept["cases"].setdefault(case.name, {}).setdefault(str(level), {})
                rows["ours"] = _rounded(ours.run(case, level))
                rows["calculix"] = _rounded(calculix.run(case, level, Path(folder)))
                RESULTS.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
                sys.stdout.write(table_row(case.name, level, rows) + "\n")
                sys.stdout.flush()


def _rounded(figures: dict[str, float]) -> dict[str, float]:
    return {name: float(f"{value:.5g}") for name, value in figures.items()}


def table_row(name: str, level: int, rows: dict[str, dict[str, float]]) -> str:
    """One line of the table: theirs, and ours over theirs in percent."""
    a, b = rows["ours"], rows["calculix"]
    parts = [
        f"{key} {b[key]:.4g} ({100.0 * (a[key] / b[key] - 1.0):+.1f} %)"
        for key in ("force_n", "peak_kpa", "area_cm2")
    ]
    return (
        f"{name} | level {level} | "
        + " | ".join(parts)
        + f" | {a['seconds']:.0f}/{b['seconds']:.0f} s"
    )


if __name__ == "__main__":
    main()
