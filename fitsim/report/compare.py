"""What a comparison says: facts for programs, sentences, tables and lines for the terminal."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Any

from fitsim import __version__
from fitsim.draw.quantity import number, percent, plain, shown
from fitsim.draw.words import case_title
from fitsim.report.compare_words import how_sure, measure_next_on, same_for_all, sentences
from fitsim.report.contract import CAUTIONS
from fitsim.report.sure import WORDS
from fitsim.study.confidence import HEADLINES, interval

if TYPE_CHECKING:
    from fitsim.draw.quantity import System
    from fitsim.study.compare import Comparison


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
    samples, names = found.samples, found.names
    pairs = list(combinations(range(len(names)), 2))
    cases: dict[str, Any] = {}
    for case in samples.cases:
        cases[case] = {
            found.of: [_of_one(found, which, case) for which in range(len(names))],
            "less": [
                {
                    "first": names[first],
                    "second": names[second],
                    **{name: found.less(first, second, case, name) for name in HEADLINES},
                }
                for first, second in pairs
            ],
        }
    return {
        "schema": 1,
        **_compared(found),
        "plausible_backs": len(samples.draws),
        "cases": cases,
        "cautions": list(CAUTIONS),
        "version": __version__,
    }


def _compared(found: Comparison) -> dict[str, Any]:
    """What is compared, and what is the same for all."""
    scans = [
        {"name": one.back.provenance.name, "sha256": one.back.provenance.sha256}
        for one in found.fits
    ]
    if found.of == "trees":
        return {"scan": scans[0], "trees": list(found.names)}
    named = [{"of": name, **scan} for name, scan in zip(found.names, scans, strict=True)]
    return {"tree": found.fits[0].tree.name, "scans": named, "same_animal": not found.drawn_apart}


def _of_one(found: Comparison, which: int, case: str) -> dict[str, Any]:
    fit = found.fits[which].fits[case]
    facts: dict[str, Any] = {
        found.of.removesuffix("s"): found.names[which],
        "stays": fit.measures is not None,
        "stays_on_share_of_backs": found.stays(which, case),
    }
    for name, (_, _, key, factor) in WORDS.items():
        within = interval(found.samples.of(which, case, name))
        own = None if fit.measures is None else HEADLINES[name](fit.measures) * factor
        facts[key] = {
            "value": own,
            "low": None if within is None else within.low * factor,
            "high": None if within is None else within.high * factor,
        }
    return facts


def rows(found: Comparison, case: str, system: System) -> list[tuple[str, list[str]]]:
    """Return the table of one case: words with their unit, and a cell for each of those compared.

    Parameters
    ----------
    found : Comparison
    case : name.
    system : {"metric", "inch"}
    """
    table = []
    for name, (words, kind, _, _) in WORDS.items():
        unit = "" if kind == "share" else f", {shown(kind, system).unit}"
        cells = [_cell(found, which, case, name, system) for which in range(len(found.fits))]
        table.append((f"{words}{unit}", cells))
    return table


def _cell(found: Comparison, which: int, case: str, headline: str, system: System) -> str:
    """The number on the back as found, and where nine plausible backs in ten lie."""
    kind = WORDS[headline][1]

    def said(value: float) -> str:
        return percent(value) if kind == "share" else number(value, kind, system)

    measures = found.fits[which].fits[case].measures
    within = interval(found.samples.of(which, case, headline))
    own = "leaves" if measures is None else said(HEADLINES[headline](measures))
    return own if within is None else f"{own} ({said(within.low)} to {said(within.high)})"


def compare_lines(found: Comparison, system: System = "metric") -> list[str]:
    """Return the comparison for the terminal.

    Parameters
    ----------
    found : Comparison
    system : {"metric", "inch"}
    """
    names = found.names
    lines = [f"{', '.join(names)} on {same_for_all(found)}"]
    if found.of == "scans":
        lines = [f"{same_for_all(found)} on {', '.join(names)}"]
    lines += [how_sure(found), ""]
    wide = max(24, *(len(name) + 2 for name in names))
    for case in found.samples.cases:
        lines += [case_title(case), f"  {'':36}" + "".join(f"{name:>{wide}}" for name in names)]
        lines += [
            f"  {words:36}" + "".join(f"{cell:>{wide}}" for cell in cells)
            for words, cells in rows(found, case, system)
        ]
        lines += ["", *(f"  {said}" for said in sentences(found, case)), ""]
    next_steps = measure_next_on(found)
    lines += [*next_steps, *([""] if next_steps else []), *CAUTIONS]
    return plain(lines)
