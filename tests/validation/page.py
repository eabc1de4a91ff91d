"""Puts the figures the tests measured into docs/validation.md: python tests/validation/page.py.

Between `<!-- figures: tests/... -->` and `<!-- end of figures -->` stands the table of those test
files, between `<!-- by case: tests/... -->` and `<!-- end of cases -->` what they told animal by
animal, between `<!-- whole backs -->` and its end that of tests/reference/backs_results.json; both
are written anew here. What stands around them is written by hand.
"""

from __future__ import annotations

import re
import sys
from fnmatch import fnmatch
from pathlib import Path
from typing import TYPE_CHECKING, Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))  # where this is run as a script

from tests.validation import backs_table, kept  # noqa: E402 - found by the line above

if TYPE_CHECKING:
    from tests.validation.kept import Figures

PAGE = ROOT / "docs" / "validation.md"
TABLE = re.compile(r"(<!-- figures: (.+?) -->\n).*?(<!-- end of figures -->)", re.DOTALL)
UNBROKEN = "\u2011"  # a hyphen at which no line is broken
FINE = 1e-4  # a share below it is not told in percent
HEAD = """
| what | against | limit | measured | held | on |
| --- | --- | --- | --- | --- | --- |
"""


def groups(figures: Figures) -> list[Figures]:
    """Figures that are one row: the same thing against the same source, cases aside."""
    rows: dict[tuple[Any, ...], Figures] = {}
    for one in (figure for figure in figures if figure["kind"] != "told"):
        file = one["test"].split("::")[0]
        key = (file, one["what"], one["against"], one["kind"], one.get("unit"))
        rows.setdefault(key, []).append(one)
    return list(rows.values())


def row(figures: Figures) -> str:
    """One line of the table."""
    first = figures[0]
    missed = sum(not one["held"] for one in figures)
    beyond = sum(not _as_asked(one) for one in figures)
    held = f"**no** ({missed} of {len(figures)})" if missed else "yes"
    if beyond:
        held += f"; as asked **not in {beyond} of {len(figures)}**"
    limit = _limit(figures)
    if asked := [one["asked"] for one in figures if "asked" in one]:
        limit += f" ({_bound(first, asked[:1])} asked)"
    many = f", {len(figures)} cases" if len(figures) > 1 else ""
    dates = sorted({one["date"] for one in figures})
    when = dates[0] if len(dates) == 1 else f"{dates[0]} to {dates[-1]}"
    cells = (first["what"], first["against"], limit, _measured(figures) + many, held)
    return "| " + " | ".join((*cells, when.replace("-", UNBROKEN))) + " |"


def _as_asked(one: dict[str, Any]) -> bool:
    asked, found = one.get("asked"), one["found"]
    if asked is None:
        return True
    if one["kind"] == "above":
        return bool(found >= asked)
    if one["kind"] == "apart":
        found -= one["limit"][0]
    return bool(abs(found) <= asked)


def _expected(figures: Figures) -> float | None:
    """The value expected, where it is one and the same for the row and not nought."""
    values = {one["limit"][0] for one in figures}
    return (values.pop() or None) if len(values) == 1 else None


def _limit(figures: Figures) -> str:
    first = figures[0]
    if first["kind"] == "same":
        return "the same"
    if first["kind"] == "within":
        low, high = (_number(value) for value in first["limit"])
        return f"{low} to {high}{_unit(first)}"
    if first["kind"] == "apart":
        expected = _expected(figures)
        off = _bound(first, [one["limit"][1] for one in figures])
        return off if expected is None else f"{_number(expected)} {off}"
    return _bound(first, [one["limit"] for one in figures])


def _bound(one: dict[str, Any], limits: list[float]) -> str:
    """A limit, or from which to which it goes where a row's cases have their own."""
    if one["kind"] == "relative":
        return _range([_share(value) for value in _ends(limits)])
    word = {"below": "at most ", "above": "at least "}.get(one["kind"], "± ")
    return f"{word}{_range([_number(value) for value in _ends(limits)])}{_unit(one)}"


def _measured(figures: Figures) -> str:
    """Of several cases the range; of those under or over a limit the worst."""
    first, found = figures[0], [one["found"] for one in figures]
    if first["kind"] == "same":
        return ", ".join(dict.fromkeys(found))
    if first["kind"] == "below":
        return f"{_number(max(found))}{_unit(first)}"
    if first["kind"] == "above":
        return f"{_number(min(found))}{_unit(first)}"
    if first["kind"] == "relative":
        return _range([_share(value, first["limit"]) for value in _ends(found)])
    if first["kind"] == "apart" and _expected(figures) is None:
        found = [one["found"] - one["limit"][0] for one in figures]
        return _range([_number(value, sign="+") for value in _ends(found)]) + _unit(first)
    return _range([_number(value) for value in _ends(found)]) + _unit(first)


def _ends(found: list[float]) -> list[float]:
    return [min(found), max(found)]


def _range(ends: list[str]) -> str:
    return ends[0] if ends[0] == ends[1] else f"{ends[0].removesuffix(' %')} to {ends[1]}"


def _unit(one: dict[str, Any]) -> str:
    return f" {one['unit']}" if one.get("unit") else ""


def _share(value: float, of: float | None = None) -> str:
    """A limit in percent, or a deviation `of` a limit; bare where the limit is far below one."""
    if of is None:
        return f"{value:.1g}" if value < FINE else f"{100.0 * value:g} %"
    if of < FINE:
        return f"{value:+.1g}"
    told = f"{100.0 * value:+.{1 if abs(value) > 5.0 * FINE else 2}f} %"
    return told if any(figure in told for figure in "123456789") else told[1:]


def _number(value: float, sign: str = "") -> str:
    return f"{value:{sign}.3g}" if abs(value) < 1000 else f"{value:{sign}.0f}"


def files_of(patterns: str, figures: Figures) -> Figures:
    """The figures of the test files named, in the order named."""
    return [
        one
        for pattern in patterns.split()
        for one in figures
        if fnmatch(one["test"].split("::")[0], pattern)
    ]


CASES = re.compile(r"(<!-- by case: (.+?) -->\n).*?(<!-- end of cases -->)", re.DOTALL)


def by_case(figures: Figures) -> str:
    """A row for each case that was told of, in the order of the tests, and when."""
    told = [one for one in figures if one["kind"] == "told"]
    rows = list(dict.fromkeys(one["against"] for one in told))
    columns = list(dict.fromkeys(one["what"] for one in told))
    cells = {(one["against"], one["what"]): one["found"] for one in told}
    lines = [["case", *columns], ["---"] * (1 + len(columns))]
    lines += [[name, *(cells.get((name, column), "") for column in columns)] for name in rows]
    table = "\n".join("| " + " | ".join(line) + " |" for line in lines)
    dates = sorted({one["date"] for one in told})
    when = dates[0] if len(dates) == 1 else f"{dates[0]} to {dates[-1]}"
    return f"\n{table}\n\nMeasured on {when}.\n\n"


BACKS = re.compile(r"(<!-- whole backs -->\n).*?(<!-- end of whole backs -->)", re.DOTALL)


def filled(text: str, figures: Figures) -> str:
    """The page with its tables written anew."""

    def table(match: re.Match[str]) -> str:
        rows = [row(group) for group in groups(files_of(match[2], figures))]
        return match[1] + HEAD + "\n".join(rows) + "\n\n" + match[3]

    text = BACKS.sub(lambda match: match[1] + backs_table.table() + match[2], text)
    text = CASES.sub(lambda match: match[1] + by_case(files_of(match[2], figures)) + match[3], text)
    return TABLE.sub(table, text)


def main() -> None:
    """Write the page."""
    figures = kept.read()
    PAGE.write_text(filled(PAGE.read_text(encoding="utf-8"), figures), encoding="utf-8")
    if missed := [one for one in figures if not one["held"]]:
        sys.exit(f"beyond their limit: {len(missed)}; docs/validation.md says so")


if __name__ == "__main__":
    main()
