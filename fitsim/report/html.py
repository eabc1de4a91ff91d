"""`report.html`: one file that opens anywhere, without a network, and prints."""

from __future__ import annotations

import json
import math
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

from fitsim.draw.palette import pressure_map
from fitsim.draw.quantity import DASH, number, percent, percents, quantity, shown
from fitsim.draw.sheet import top_of_scale
from fitsim.draw.words import (
    RULES,
    UNSURE_PEAK,
    case_title,
    peak_unsure,
    spot_words,
    verdict,
    working_fit,
    zone_share,
)
from fitsim.files import write_text
from fitsim.report.advice import advice, headline
from fitsim.report.coat_words import coat_words
from fitsim.report.contract import CAUTIONS
from fitsim.report.house import asset, picture_of, rendered
from fitsim.report.moved import moved_places, place_words
from fitsim.report.scene import scene
from fitsim.report.sure import measure_next, sure_note, sure_rows
from fitsim.report.verdict import verdict_of

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from fitsim.draw.paint import Canvas
    from fitsim.draw.quantity import System
    from fitsim.measure.measures import Measures
    from fitsim.study.fit import Fit, FitSet


def write_report(
    fitset: FitSet,
    path: str | Path,
    *,
    pictures: Mapping[str, str | Path] | None = None,
    system: System = "metric",
    skin: Canvas | None = None,
) -> None:
    """Write `report.html`.

    Parameters
    ----------
    fitset : FitSet
        All cases of one tree on one back.
    path : str or Path
        The file to write.
    pictures : mapping of case name to PNG file, optional
        Sheets drawn by `fitsim.draw.sheet.draw_cases`, shown and printed in the report.
    system : {"metric", "inch"}
        Units people chose.
    skin : Canvas, optional
        The unpainted back, made if not given.

    Raises
    ------
    BadSettings
        When the file cannot be written.
    """
    write_text(path, page(fitset, pictures=pictures or {}, system=system, skin=skin))


def page(
    fitset: FitSet,
    *,
    pictures: Mapping[str, str | Path],
    system: System = "metric",
    skin: Canvas | None = None,
) -> str:
    """Return the report as one HTML page; see `write_report`."""
    top, working = top_of_scale(fitset), working_fit(fitset)
    return rendered(
        "report.html.j2",
        fitset=fitset,
        headline=headline(fitset),
        working=working,
        verdict=verdict_of(fitset, system),
        advice=advice(fitset, system),
        cases=[_case(fit, system) for fit in fitset.fits.values()],
        comparison=comparison(fitset, system),
        moved=_moved(fitset, system),
        sure=_how_sure(fitset, system),
        marks=mark_rows(fitset, system),
        filled=quantity(_filled_area(fitset), "area", system),
        coat=fitset.back.coat and coat_words(fitset.back.coat, system),
        ticks=_ticks(top, system),
        units={kind: shown(kind, system).unit for kind in ("pressure", "length", "area", "force")},
        pad_thickness=quantity(fitset.pad.thickness, "length", system),
        sheets=_sheets(pictures),
        titles={name: case_title(name) for name in fitset.fits},
        gradient=_gradient(),
        cautions=CAUTIONS,
        rules=RULES,
        scene=_embedded(scene(fitset, top=top, system=system, skin=skin)),
        three=asset("three.min.js"),
        viewer=asset("back_view.js") + asset("viewer.js"),
        shader=asset("skin.glsl"),
    )


def _embedded(document: dict[str, object]) -> str:
    """Return JSON that cannot end the script element that holds it."""
    text = json.dumps(document, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c")


def _sheets(pictures: Mapping[str, str | Path]) -> dict[str, str]:
    """Return each sheet as a data address; two are packed at a time."""
    with ThreadPoolExecutor(max_workers=2) as pool:
        return dict(zip(pictures, pool.map(picture_of, pictures.values()), strict=True))


def _gradient() -> str:
    """Return the pressure map as CSS colour stops."""
    stops = pressure_map()[::15]
    return ", ".join(f"rgb({red} {green} {blue})" for red, green, blue in stops.tolist())


def _ticks(top: float, system: System) -> list[str]:
    how = shown("pressure", system)
    marks = [top * part / 5 * how.per_si for part in range(6)]
    return [f"{mark:.1f}" if system == "inch" else f"{mark:g}" for mark in marks]


def _case(fit: Fit, system: System) -> dict[str, object]:
    """Return what the panel beside the view says about one case."""
    said = verdict(fit, system)
    panel: dict[str, object] = {
        "name": fit.case.name,
        "title": case_title(fit.case.name),
        "held": fit.measures is not None,
        "said": said,
    }
    if fit.measures is not None:
        m = fit.measures
        shares = [m.share[name] for name in _THIRDS]
        panel |= {
            "shares": list(
                zip(_THIRDS, shares, percents(shares), strict=True),
            ),
            "lift": {tip: quantity(clear, "length", system) for tip, clear in m.lift.items()},
            "peak": quantity(m.peak, "pressure", system) + UNSURE_PEAK * peak_unsure(m),
            "spots": [
                {
                    "number": spot.number,
                    "where": spot_words(spot),
                    "peak": number(spot.peak, "pressure", system),
                    "area": number(spot.area, "area", system),
                }
                for spot in m.hotspots
            ],
            "cautions": m.cautions,
        }
    return panel


_THIRDS = ("front", "middle", "rear")


def _moved(fitset: FitSet, system: System) -> list[tuple[str, list[str]]]:
    """Return what the tree does a little further back and forward: place, then a cell a column."""
    rows = []
    for one in moved_places(fitset):
        m = one.measures
        cells = (
            [one.why_not, DASH, DASH, DASH]
            if m is None
            else [quantity(m.peak, "pressure", system), *percents([m.share[k] for k in _THIRDS])]
        )
        rows.append((place_words(one.by, system).capitalize(), cells))
    return rows


def _how_sure(fitset: FitSet, system: System) -> dict[str, object] | None:
    """Return the table of intervals with its note and what to measure next."""
    if fitset.sure is None:
        return None
    return {
        "cases": [case_title(case) for case in fitset.sure.cases],
        "rows": sure_rows(fitset.sure, system),
        "note": sure_note(fitset.sure),
        "next": measure_next(fitset.sure, fitset.sure.cases[-1]),
    }


def comparison(fitset: FitSet, system: System) -> list[tuple[str, str, list[str]]]:
    """Return rows of the table that compares cases: name, unit, one cell per case."""
    unit = {kind: shown(kind, system).unit for kind in ("pressure", "length", "area", "force")}

    def thirds(m: Measures) -> list[str]:
        return percents([m.share[name] for name in _THIRDS])  # rounded to 100 % in all

    def ends(m: Measures, end: str) -> str:
        sides = (m.lift.get(f"{end}_{side}", math.nan) for side in ("left", "right"))
        return " / ".join(number(clear, "length", system) for clear in sides)

    def bridges(m: Measures) -> str:
        sides = (m.bridging.get(side) for side in ("left", "right"))
        return " / ".join(percent(gap.length_share if gap else 0.0) for gap in sides)

    rows: list[tuple[str, str, Callable[[Measures], str]]] = [
        ("Load on the front third", "", lambda m: thirds(m)[0]),
        ("Load on the middle third", "", lambda m: thirds(m)[1]),
        ("Load on the rear third", "", lambda m: thirds(m)[2]),
        ("Left / right", "", lambda m: f"{percent(m.share['left'])} / {percent(m.share['right'])}"),
        (
            "Hardest pressure",
            unit["pressure"],
            lambda m: number(m.peak, "pressure", system) + UNSURE_PEAK * peak_unsure(m),
        ),
        ("Mean pressure", unit["pressure"], lambda m: number(m.mean, "pressure", system)),
        ("Area that carries", unit["area"], lambda m: number(m.area, "area", system)),
        ("Force on the back", unit["force"], lambda m: number(m.normal_force, "force", system)),
        ("On the shoulder blades", "", lambda m: percent(zone_share(m, "scapula"))),
        ("On the fat pockets", "", lambda m: percent(zone_share(m, "fat_pocket"))),
        ("On the spine", "", lambda m: percent(zone_share(m, "spine"))),
        ("Clearance at front tips, left / right", unit["length"], lambda m: ends(m, "front")),
        ("Clearance at rear tips, left / right", unit["length"], lambda m: ends(m, "rear")),
        ("Length that bridges, left / right", "", bridges),
    ]
    measured = [fit.measures for fit in fitset.fits.values()]
    return [
        (name, unit_, [DASH if m is None else cell(m) for m in measured])
        for name, unit_, cell in rows
    ]


def mark_rows(fitset: FitSet, system: System) -> list[dict[str, str]]:
    """Return each mark in words, with how it was found and how sure that is."""
    rows = []
    for name, mark in fitset.back.marks.items():
        words = name.replace("scapula_edge", "shoulder blade, rear edge").replace("_", " ")
        for side in (" left", " right"):
            if words.endswith(side):
                words = words.removesuffix(side) + "," + side
        rows.append(
            {
                "name": words.capitalize(),
                "source": mark.source,
                "sd": "±" + quantity(mark.sd_m, "length", system),
                "basis": mark.basis,
            }
        )
    return rows


def _filled_area(fitset: FitSet) -> float:
    """Return the area of the back where a hole in the scan was filled, m2."""
    chart = fitset.back.chart
    return float(chart.area[chart.filled & chart.valid].sum())
