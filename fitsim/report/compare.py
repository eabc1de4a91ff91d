"""Several trees on one back: facts for programs, lines for the terminal, and `compare.html`."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Any

from fitsim import __version__
from fitsim.draw.quantity import number, percent, plain, shown
from fitsim.draw.words import case_title
from fitsim.report.contract import CAUTIONS
from fitsim.report.sure import WORDS, measure_next
from fitsim.study.compare import said_of
from fitsim.study.confidence import HEADLINES, interval

if TYPE_CHECKING:
    from pathlib import Path

    from fitsim.draw.quantity import System
    from fitsim.study.compare import Comparison

JUDGED = ("scapula_peak", "peak", "fat_pocket_peak", "spine_peak")
"""Less of these is better whatever else; they are put into sentences, in this order."""
_NOTHING = 500.0  # Pa: below this neither tree presses there, and there is nothing to compare


def compare_facts(found: Comparison) -> dict[str, Any]:
    """Return the comparison as the dict that `compare.json` holds.

    Parameters
    ----------
    found : Comparison

    Returns
    -------
    dict
        Keys that hold a quantity name its unit; intervals hold nine plausible backs in ten.
    """
    samples, trees = found.samples, [one.tree.name for one in found.fits]
    pairs = list(combinations(range(len(trees)), 2))
    cases: dict[str, Any] = {}
    for case in samples.cases:
        cases[case] = {
            "trees": [_of_tree(found, tree, case) for tree in range(len(trees))],
            "less": [
                {
                    "first": trees[first],
                    "second": trees[second],
                    **{name: found.less(first, second, case, name) for name in HEADLINES},
                }
                for first, second in pairs
            ],
        }
    back = found.fits[0].back.provenance
    return {
        "schema": 1,
        "scan": {"name": back.name, "sha256": back.sha256},
        "trees": trees,
        "plausible_backs": len(samples.draws),
        "cases": cases,
        "cautions": list(CAUTIONS),
        "version": __version__,
    }


def _of_tree(found: Comparison, tree: int, case: str) -> dict[str, Any]:
    fit = found.fits[tree].fits[case]
    facts: dict[str, Any] = {
        "tree": found.fits[tree].tree.name,
        "stays": fit.measures is not None,
        "stays_on_share_of_backs": found.stays(tree, case),
    }
    for name, (_, _, key, factor) in WORDS.items():
        within = interval(found.samples.of(tree, case, name))
        own = None if fit.measures is None else HEADLINES[name](fit.measures) * factor
        facts[key] = {
            "value": own,
            "low": None if within is None else within.low * factor,
            "high": None if within is None else within.high * factor,
        }
    return facts


def sentences(found: Comparison, case: str) -> list[str]:
    """Return what can be said of how the trees differ under one case, and what cannot.

    Parameters
    ----------
    found : Comparison
    case : name.
    """
    said = []
    names, count = [one.tree.name for one in found.fits], len(found.samples.draws)
    for first, second in combinations(range(len(names)), 2):
        for headline in JUDGED:
            within = [interval(found.samples.of(one, case, headline)) for one in (first, second)]
            if all(one is None or one.high < _NOTHING for one in within):
                continue
            share = found.less(first, second, case, headline)
            one, other = names[first], names[second]
            if said_of(share).endswith("more"):
                one, other, share = other, one, 1.0 - share
            said.append(_sentence(one, other, headline, share, count))
    return said


def _sentence(one: str, other: str, headline: str, share: float, count: int) -> str:
    where = WORDS[headline][0].removeprefix("hardest ").removeprefix("pressure ")
    times = f"in {round(share * count)} of {count} plausible backs"
    told = said_of(share)
    if told == "less":
        return f"{one} presses less {where} than {other} {times}."
    if told == "leaning less":
        return f"{one} leans to less pressure {where} than {other} ({times}): not sure."
    return f"Which of {one} and {other} presses less {where} cannot be told ({times} the first)."


def rows(found: Comparison, case: str, system: System) -> list[tuple[str, list[str]]]:
    """Return the table of one case: words with their unit, and a cell for every tree.

    Parameters
    ----------
    found : Comparison
    case : name.
    system : {"metric", "inch"}
    """
    table = []
    for name, (words, kind, _, _) in WORDS.items():
        unit = "" if kind == "share" else f", {shown(kind, system).unit}"
        cells = [_cell(found, tree, case, name, system) for tree in range(len(found.fits))]
        table.append((f"{words}{unit}", cells))
    return table


def _cell(found: Comparison, tree: int, case: str, headline: str, system: System) -> str:
    """The number on the back as found, and where nine plausible backs in ten lie."""
    kind = WORDS[headline][1]

    def said(value: float) -> str:
        return percent(value) if kind == "share" else number(value, kind, system)

    measures = found.fits[tree].fits[case].measures
    within = interval(found.samples.of(tree, case, headline))
    own = "leaves" if measures is None else said(HEADLINES[headline](measures))
    return own if within is None else f"{own} ({said(within.low)} to {said(within.high)})"


def compare_lines(found: Comparison, system: System = "metric") -> list[str]:
    """Return the comparison for the terminal.

    Parameters
    ----------
    found : Comparison
    system : {"metric", "inch"}
    """
    names, count = [one.tree.name for one in found.fits], len(found.samples.draws)
    lines = [f"{', '.join(names)} on {found.fits[0].back.provenance.name}"]
    lines += [f"In brackets: nine in ten of {count} plausible backs lie within.", ""]
    wide = max(24, *(len(name) + 2 for name in names))
    for case in found.samples.cases:
        lines += [case_title(case), f"  {'':36}" + "".join(f"{name:>{wide}}" for name in names)]
        lines += [
            f"  {words:36}" + "".join(f"{cell:>{wide}}" for cell in cells)
            for words, cells in rows(found, case, system)
        ]
        lines += ["", *(f"  {said}" for said in sentences(found, case)), ""]
    next_step = measure_next(found.samples, found.samples.cases[-1])
    lines += [*([next_step, ""] if next_step else []), *CAUTIONS]
    return plain(lines)


def write_compare(found: Comparison, folder: Path, system: System = "metric") -> None:
    """Write `compare.html`, `compare.json` and the pictures, all on one scale.

    Parameters
    ----------
    found : Comparison
    folder : that exists.
    system : {"metric", "inch"}
    """
    from fitsim.draw.difference import difference
    from fitsim.draw.paint import canvas
    from fitsim.draw.sheet import draw_cases, top_of_scale
    from fitsim.files import write_text
    from fitsim.report.contract import as_json
    from fitsim.report.house import picture_of, rendered

    top = max(top_of_scale(one) for one in found.fits)
    skin = canvas(found.fits[0].back)
    sheets = []
    for place, one in enumerate(found.fits, 1):
        drawn = draw_cases(one, folder, system=system, skin=skin, top=top)
        sheets.append(
            {
                case: file.replace(folder / f"tree-{place}-{file.name}")
                for case, file in drawn.items()
            }
        )
    cases = []
    for case in reversed(found.samples.cases):
        maps = []
        for first, second in combinations(found.fits, 2):
            if first.fits[case].measures and second.fits[case].measures:
                picture = picture_of(difference(first, second, case, system))
                maps.append((f"{first.tree.name} less {second.tree.name}", picture))
        cases.append(
            {
                "title": case_title(case),
                "rows": rows(found, case, system),
                "said": sentences(found, case),
                "sheets": [picture_of(one[case]) for one in sheets],
                "maps": maps,
            }
        )
    page = rendered(
        "compare.html.j2",
        names=[one.tree.name for one in found.fits],
        scan=found.fits[0].back.provenance.name,
        count=len(found.samples.draws),
        cases=cases,
        matters=measure_next(found.samples, found.samples.cases[-1]),
        cautions=(*CAUTIONS, *found.fits[0].back.cautions),
    )
    write_text(folder / "compare.html", page)
    write_text(folder / "compare.json", as_json(compare_facts(found)))
