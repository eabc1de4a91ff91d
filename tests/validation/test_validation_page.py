"""docs/validation.md shows what tests/validation/figures.jsonl keeps, and each figure once."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest

from tests.validation.kept import read, write
from tests.validation.measured import Measured
from tests.validation.page import CASES, PAGE, TABLE, by_case, files_of, filled, groups, row

ROOT = Path(__file__).resolve().parents[2]


def test_page_is_in_step_with_the_figures() -> None:
    text = PAGE.read_text(encoding="utf-8")
    assert filled(text, read()) == text, "run `python tests/validation/page.py`"


@pytest.mark.parametrize(("tables", "told"), [(TABLE, False), (CASES, True)], ids=["held", "told"])
def test_every_figure_stands_in_one_table(tables: re.Pattern[str], *, told: bool) -> None:
    """A file with figures held to a limit in one table of them, one that tells cases in one."""
    figures = [one for one in read() if (one["kind"] == "told") == told]
    shown = Counter(
        file
        for match in tables.finditer(PAGE.read_text(encoding="utf-8"))
        for file in {one["test"].split("::")[0] for one in files_of(match[2], figures)}
    )
    assert figures
    assert shown == Counter({one["test"].split("::")[0]: 1 for one in figures})


def test_what_is_told_by_case_is_a_cell_of_its_row() -> None:
    cells = [told("told", *cell) for cell in (("mule", "a", "1 N"), ("pony", "b", "2 N"))]
    lines = by_case(cells).strip().splitlines()
    assert lines[0] == "| case | a | b |"
    assert lines[2:4] == ["| mule | 1 N |  |", "| pony |  | 2 N |"]
    assert lines[-1] == "Measured on 2026-01-02."
    assert groups(cells) == []


def test_figures_are_of_tests_that_there_are() -> None:
    """A test renamed or taken out takes its figures along."""
    for test in {one["test"].partition("[")[0] for one in read()}:
        file, function = test.split("::")
        source = (ROOT / file).read_text(encoding="utf-8")
        assert re.search(rf"^def {function}\(", source, re.MULTILINE), test


def test_figures_come_back_from_their_file(tmp_path: Path) -> None:
    write(read(), tmp_path / "again.jsonl")
    assert read(tmp_path / "again.jsonl") == read()


def told(say: str, *args: object, **options: object) -> dict[str, object]:
    """What one call keeps, whether it holds or not."""
    kept: list[dict[str, object]] = []
    try:
        getattr(Measured(lambda _name, figure: kept.append(figure)), say)(*args, **options)  # type: ignore[arg-type]
    except AssertionError:
        assert not kept[0]["held"]
    return {"test": "tests/x.py::test_x", "date": "2026-01-02", **kept[0]}


@pytest.mark.parametrize(
    ("say", "args", "options"),
    [
        ("near", ("depth", [1.0, 1.02], 1.0, "Hertz"), {"rel": 0.01}),
        ("apart", ("force", 14.0, 12.1, "a study"), {"off": 1.2, "unit": "N"}),
        ("below", ("gap", [0.1, 0.4], 0.3, "mm", "hand"), {}),
        ("above", ("order", 0.9, 1.0, "", "theory"), {}),
        ("within", ("work", 3.0, (1.0, 2.0), "J", "a study"), {}),
        ("same", ("goes", "rolls left", "tips back", "hand"), {}),
        ("below", ("not a number", float("nan"), 0.3, "mm", "hand"), {}),
    ],
)
def test_beyond_its_limit_fails_and_is_kept(
    say: str, args: tuple[object, ...], options: dict[str, object]
) -> None:
    with pytest.raises(AssertionError, match=str(args[0])):
        getattr(Measured(lambda _name, _figure: None), say)(*args, **options)
    assert "**no** (1 of 1)" in row([told(say, *args, **options)])


def test_words_of_a_row() -> None:
    """Cases are gathered; a limit of its own, and one asked for that is missed, are said."""
    figures = [
        told("near", "peak", 1.02, 1.0, "CalculiX", rel=0.04, asked=0.03),
        told("near", "peak", 0.965, 1.0, "CalculiX", rel=0.08, asked=0.03),
    ]
    (group,) = groups(figures)
    assert row(group) == (
        "| peak | CalculiX | 4 to 8 % (3 % asked) | -3.5 to +2.0 %, 2 cases | yes; as asked"
        " **not in 1 of 2** | 2026\u201101\u201102 |"
    )
    study = told("apart", "force", 13.0, 12.1, "a study", off=1.2, unit="N")
    assert "| 12.1 ± 1.2 N | 13 N | yes |" in row([study])
    assert "| at most 0.3 mm | 0.1 mm | yes |" in row(
        [told("below", "gap", 0.1, 0.3, "mm", "hand")]
    )
    assert "| at least 1 | 1.4 | yes |" in row([told("above", "order", 1.4, 1.0, "", "theory")])
    assert "| 1e-06 | -2e-09 | yes |" in row([told("near", "f", 1 - 2e-9, 1.0, "a code", rel=1e-6)])
