"""The file of figures: what each test measured when it was last run.

One JSON line for each thing that a test function measures, and in it the cases in which it did.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pytest

FILE = Path(__file__).with_name("figures.jsonl")
SHARED = ("what", "against", "kind", "unit")
"""What all cases of a line have in common, beside the test function."""

Figures = list[dict[str, Any]]


def read(file: Path = FILE) -> Figures:
    """All figures, one for each case, in the order they are kept in."""
    figures = []
    for line in file.read_text(encoding="utf-8").splitlines():
        shared = json.loads(line)
        function = shared.pop("test")
        figures += [
            {"test": function + case.pop("of"), **shared, **case} for case in shared.pop("cases")
        ]
    return figures


def write(figures: Figures, file: Path = FILE) -> None:
    """Keep them, sorted by test file, else in the order given."""
    lines: dict[tuple[Any, ...], dict[str, Any]] = {}
    for one in sorted(figures, key=lambda one: str(one["test"]).split("::")[0]):
        function, bracket, parameters = one["test"].partition("[")
        shared = {"test": function} | {name: one[name] for name in SHARED if name in one}
        case = {name: value for name, value in one.items() if name not in shared}
        line = lines.setdefault(tuple(shared.items()), shared | {"cases": []})
        line["cases"].append({"of": bracket + parameters, **case})
    written = (json.dumps(line, ensure_ascii=False) for line in lines.values())
    file.write_text("".join(f"{line}\n" for line in written), encoding="utf-8")


class Keeper:
    """A plugin of pytest's: when the run ends, the tests that ran have their figures replaced.

    Those of tests that did not run stay with their date, so that the slow ones need not be run
    each time.
    """

    def __init__(self, file: Path) -> None:
        self._file = file
        self._told: dict[str, Figures] = {}

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Take down what one test measured, in whichever process it ran."""
        if report.when == "call" and not report.skipped:
            today = datetime.now(UTC).date().isoformat()
            self._told[report.nodeid] = [
                {"test": report.nodeid, **value, "found": _rounded(value["found"]), "date": today}
                for name, value in report.user_properties
                if name == "figure" and isinstance(value, dict)
            ]

    def pytest_sessionfinish(self) -> None:
        """Put them with the older ones; a test keeps its place."""
        merged: dict[str, Figures] = {}
        for one in read(self._file) if self._file.is_file() else []:
            merged.setdefault(one["test"], []).append(one)
        merged |= self._told
        write([one for figures in merged.values() for one in figures], self._file)


def _rounded(found: float | str) -> float | str:
    """Four digits: more would differ from machine to machine."""
    return found if isinstance(found, str) else float(f"{found:.4g}")
