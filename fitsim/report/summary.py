"""A result and a scan in a few plain lines for the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitsim.back.marks import chart_places
from fitsim.back.noted import noted_kind
from fitsim.draw.quantity import plain
from fitsim.draw.words import case_title, peak_unsure, verdict, zone_words
from fitsim.measure.measured import FILLED
from fitsim.report.coat_words import coat_words
from fitsim.report.contract import CAUTIONS
from fitsim.report.sure import sure_lines
from fitsim.report.verdict import verdict_of
from fitsim.units import show_length, show_pressure

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from fitsim.back.back import Back
    from fitsim.scan.scan import Scan
    from fitsim.study.fit import Fit, FitSet
    from fitsim.units import System


def fit_lines(fitset: FitSet, system: System = "metric") -> list[str]:
    """Return what each case shows, what was assumed, and the cautions.

    Parameters
    ----------
    fitset : FitSet
    system : {"metric", "inch"}

    Returns
    -------
    list of str
    """
    tree, pad, scan = fitset.tree.name, fitset.pad.name, fitset.back.provenance.name
    found = verdict_of(fitset, system)
    lines = [f"{tree} on {scan}, pad: {pad}", f"{found.word.capitalize()}. {found.paragraph}", ""]
    if fitset.model == "reference":
        lines += ["Tissue: the reference model (finite-strain elements).", ""]
    for name, fit in fitset.fits.items():
        lines += [case_title(name), *(f"  {line}" for line in _case_lines(fit, system)), ""]
    if fitset.sure is not None:
        lines += [*plain(sure_lines(fitset.sure, system)), ""]
    if fitset.defaults:
        lines.append(f"Not given, so a default was used: {', '.join(fitset.defaults)}.")
    lines += [f"Note: {note}." for note in fitset.tree.notes]
    lines += [f"Note: {note}." for note in (fitset.seat.notes if fitset.seat else ())]
    return [*lines, *found_lines(fitset.back, system), *fitset.back.cautions, *CAUTIONS]


def scan_lines(scan: Scan, back: Back, system: System = "metric") -> list[str]:
    """Return what a scan is, what was wrong with it, and what was found on it.

    Parameters
    ----------
    scan : Scan
        Cleaned.
    back : Back
        Found on it.
    system : {"metric", "inch"}

    Returns
    -------
    list of str
    """
    source = back.provenance
    count = f"{source.triangles:,} triangles" if source.triangles else f"{source.points:,} points"
    kept = "points" if scan.is_points else "corners"
    x = back.chart.x[back.chart.valid.any(axis=1)]
    reach = (
        f"Back: from {show_length(float(-x[0]), system)} behind the shoulder blade's rear edge "
        f"to {show_length(float(x[-1]), system)} in front of it, "
        f"withers {show_length(back.withers_height, system)} high"
    )
    return [
        f"{source.name}: {count} as read, {len(scan.vertices):,} {kept} kept",
        f"Unit: {source.unit or 'scaled'}. {source.unit_evidence}",
        *(f"Note: {note}" for note in source.notes),
        reach,
        *found_lines(back, system),
        f"Zones: {', '.join(zone_words(zone.name) for zone in back.zones)}",
        *(f"Caution: {caution}" for caution in back.cautions),
    ]


def file_lines(folder: Path) -> list[str]:
    """Return where to look: the report first."""
    return [f"Open {folder / 'report.html'} in a browser. All files are in {folder}."]


def _case_lines(fit: Fit, system: System) -> list[str]:
    lines = verdict(fit, system)
    if fit.measures is None:
        return lines
    peak = show_pressure(fit.measures.peak, system)
    lines.append(f"Presses hardest at {peak} (mean over 20 x 20 mm of skin).")
    if peak_unsure(fit.measures):
        lines.append("That is unsure: a hole in the scan was filled there.")
    return [*lines, *(said for said in fit.measures.cautions if said.endswith(FILLED))]


def found_lines(back: Back, system: System = "metric") -> list[str]:
    """Return a line each for what was marked, found by stickers, estimated, noted, and the coat.

    Parameters
    ----------
    back : Back
    system : {"metric", "inch"}

    Returns
    -------
    list of str
    """
    lines = []
    sources = {"marked": "Marked", "sticker": "Marked by stickers or chalk"}
    for source, words in (sources | {"estimated": "Estimated, not marked"}).items():
        names = [name for name, mark in back.marks.items()
                 if mark.source == source and not noted_kind(name)]  # fmt: skip
        if names:
            lines.append(f"{words}: {_places(back, names, system)}.")
    noted = [name for name in back.marks if noted_kind(name)]
    if back.coat is not None:
        lines.append(f"{coat_words(back.coat, system)}.")
    return [*lines, *(_noted(back, name, system) for name in noted)]


def _noted(back: Back, name: str, system: System) -> str:
    """Where something that was seen or felt lies, by its middle."""
    mark, (words, side) = back.marks[name], _mark_words(name)
    middle = mark.points.mean(axis=0)
    way = "behind" if middle[0] < 0.0 else "in front of"
    where = f"{show_length(abs(float(middle[0])), system)} {way} the shoulder blade's rear edge"
    _, across = chart_places(back.chart, middle[None])[0]
    if back.chart.x[0] <= middle[0] <= back.chart.x[-1]:
        where += f", {show_length(abs(float(across)), system)} from the spine along the skin"
    give = show_length(mark.sd_m, system)
    return f"Noted: {words}, {side}, {where} (give or take {give})."


def _places(back: Back, names: Iterable[str], system: System) -> str:
    """Places with their standard deviations, the two sides together where they agree."""
    said: dict[str, list[str]] = {}
    for name in names:
        place, side = _mark_words(name)
        how = f"{place} (give or take {show_length(back.marks[name].sd_m, system)})"
        said.setdefault(how, []).append(side)
    return ", ".join(
        how if len(sides) != 1 else f"{sides[0]} {how}".strip() for how, sides in said.items()
    )


def _mark_words(name: str) -> tuple[str, str]:
    """Words of a mark's place, and its side or nothing."""
    place, _, side = name.rpartition("_")
    if side not in {"left", "right"}:
        place, side = name, ""
    return place.replace("scapula_edge", "shoulder blade's rear edge").replace("_", " "), side
