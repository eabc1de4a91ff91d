"""A day's work in words and as plain data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fitsim.draw.day_words import WHAT_IT_IS, change_words, day_sentences
from fitsim.measure.dose import CURVES, FIRST, NEXT, SPREAD, critical, day_of
from fitsim.report.contract import CAUTIONS, CM2, KPA, MM

if TYPE_CHECKING:
    from fitsim.draw.quantity import System
    from fitsim.measure.measures import Hotspot
    from fitsim.study.day import Day

SCHEMA = 1

HOW_SURE = (
    "How sure: which place comes first is fairly sure; how many hours it bears is not, to a "
    "factor of several. Rest only stops the clock here: recovery is not known for equines."
)


def day_lines(day: Day, system: System = "metric") -> list[str]:
    """Return where to look, what would lower it, and how sure that is.

    Parameters
    ----------
    day : Day
    system : units people chose.
    """
    return [
        *day_sentences(day, system),
        "",
        "What would lower it:",
        *(f"  {change_words(change, day, system)}" for change in day.changes),
        "",
        WHAT_IT_IS,
        HOW_SURE,
        *CAUTIONS,
    ]


def day_facts(day: Day) -> dict[str, object]:
    """Return a day's work as plain data; every key names its unit.

    Parameters
    ----------
    day : Day
    """
    spells = day_of(day.hours, day.mix, day.rest)
    return {
        "schema": SCHEMA,
        "case": day.case,
        "hours": day.hours,
        "rest_hours": day.rest,
        "paces": {str(pace): part for pace, part in day.mix.items() if part > 0.0},
        "first_area_cm2": _number(CM2 * day.first_area),
        "next_area_cm2": _number(CM2 * day.next_area),
        "worst": None if day.worst is None else _spot(day.worst),
        "hours_until_first": _number(day.hours_until),
        "critical_kpa": {curve: _number(KPA * critical(spells, curve)) for curve in CURVES},
        "seen": [
            {
                "pace": one.pace,
                "hours": _number(one.hours),
                "mean_kpa": _number(KPA * one.mean),
                "largest_kpa": _number(KPA * one.largest),
                "like": one.like,
                "area_cm2": _number(CM2 * one.area),
            }
            for one in day.seen
        ],
        "changes": [
            {
                "do": change.do,
                "first_area_cm2": _number(CM2 * change.first_area),
                "hours_until_first": _number(change.hours),
            }
            for change in day.changes
        ],
        "rules": {
            "first_from_share": FIRST,
            "next_from_share": NEXT,
            "spread_factor": _number(math.exp(SPREAD)),
        },
        "what_it_is": WHAT_IT_IS,
        "cautions": list(CAUTIONS),
    }


def _spot(spot: Hotspot) -> dict[str, object]:
    return {
        "zone": spot.zone,
        "side": spot.side,
        "x_mm": _number(MM * spot.x),
        "y_mm": _number(MM * spot.y),
        "peak_kpa": _number(KPA * spot.peak),
    }


def _number(value: float) -> float | None:
    """A number to seven digits; None where there is none or no end."""
    return float(f"{value:.7g}") if math.isfinite(value) else None
