"""`compare.html` and what lies beside it."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Any

from fitsim.draw.words import case_title
from fitsim.report.compare import compare_facts, rows
from fitsim.report.compare_words import (
    how_sure,
    in_short,
    measure_next_on,
    same_for_all,
    sentences,
)
from fitsim.report.contract import CAUTIONS

if TYPE_CHECKING:
    from pathlib import Path

    from fitsim.draw.quantity import System
    from fitsim.study.compare import Comparison


def write_compare(found: Comparison, folder: Path, system: System = "metric") -> None:
    """Write `compare.html`, `compare.json` and the pictures, all on one scale.

    Parameters
    ----------
    found : Comparison
    folder : that exists.
    system : {"metric", "inch"}
    """
    from fitsim.files import write_text
    from fitsim.report.contract import as_json
    from fitsim.report.house import picture_of, rendered

    sheets = _sheets(found, folder, system)
    cases = [
        {
            "title": case_title(case),
            "rows": rows(found, case, system),
            "said": sentences(found, case),
            "sheets": [picture_of(one[case]) for one in sheets],
            "maps": _maps(found, case, system),
        }
        for case in reversed(found.samples.cases)
    ]
    page = rendered(
        "compare.html.j2",
        names=found.names,
        of=found.of,
        same=same_for_all(found),
        short=in_short(found, found.samples.cases[-1]),
        how_sure=how_sure(found),
        cases=cases,
        matters=measure_next_on(found),
        cautions=_cautions(found),
    )
    write_text(folder / "compare.html", page)
    write_text(folder / "compare.json", as_json(compare_facts(found)))


def _sheets(found: Comparison, folder: Path, system: System) -> list[dict[str, Path]]:
    """The pictures of each, by case, on one scale."""
    from fitsim.draw.paint import canvas
    from fitsim.draw.sheet import draw_cases, top_of_scale

    top = max(top_of_scale(one) for one in found.fits)
    skin = canvas(found.fits[0].back) if found.of == "trees" else None
    sheets = []
    for place, one in enumerate(found.fits, 1):
        drawn = draw_cases(one, folder, system=system, skin=skin, top=top)
        name = f"{found.of.removesuffix('s')}-{place}"
        sheets.append(
            {case: file.replace(folder / f"{name}-{file.name}") for case, file in drawn.items()}
        )
    return sheets


def _maps(found: Comparison, case: str, system: System) -> list[tuple[str, str]]:
    """Where one tree presses more than another; two backs have no common skin to show it on."""
    from fitsim.draw.difference import difference
    from fitsim.report.house import picture_of

    if found.of == "scans":
        return []
    return [
        (
            f"{first.tree.name} less {second.tree.name}",
            picture_of(difference(first, second, case, system)),
        )
        for first, second in combinations(found.fits, 2)
        if first.fits[case].measures and second.fits[case].measures
    ]


def _cautions(found: Comparison) -> list[Any]:
    if found.of == "trees":
        return [*CAUTIONS, *found.fits[0].back.cautions]
    own = [
        f"{name}: {line}"
        for name, one in zip(found.names, found.fits, strict=True)
        for line in one.back.cautions
    ]
    return [*CAUTIONS, *own]
