"""A day's work in a horseman's words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fitsim.draw.quantity import percents, quantity
from fitsim.draw.words import case_title, zone_words

if TYPE_CHECKING:
    from fitsim.draw.quantity import System
    from fitsim.study.day import Change, Day, Seen

ALIKE = 0.02
"""Of an area: two that differ by less are not told apart."""

WHAT_IT_IS = (
    "Where to look first, never a diagnosis. The curves of pressure and time are of rat muscle and "
    "of human skin under lasting pressure; sound working backs bear more than they say. So read "
    "the order of places, not the hours."
)


def day_sentences(day: Day, system: System = "metric") -> list[str]:
    """Return what a day does, most telling sentence first.

    Parameters
    ----------
    day : Day
    system : units people chose.
    """
    return [_look(day, system), _work(day), *(seen_words(one, system) for one in day.seen)]


def _look(day: Day, system: System) -> str:
    """Return where to look first."""
    if day.worst is None:
        return "Nothing presses as a spot."
    place = zone_words(day.worst.zone, day.worst.side)
    hardest = quantity(day.worst.peak, "pressure", system)
    area = quantity(day.first_area, "area", system)
    if day.first_area <= 0.0:
        return f"No place stands out; the hardest is the {place}, {hardest}."
    return f"Look first at the {place}, pressed with {hardest}; in all {area} to look at first."


def _work(day: Day) -> str:
    """Return what the day consists of."""
    whole = sum(day.mix.values())
    parts = [(pace, part / whole) for pace, part in day.mix.items() if part > 0.0]
    shares = percents([part for _, part in parts])
    paces = ", ".join(f"{share} {pace}" for share, (pace, _) in zip(shares, parts, strict=True))
    rest = f", {day.rest:g} h of it without load" if day.rest > 0.0 else ""
    return f"The day: {day.hours:g} h{rest}; {paces}; {case_title(day.case).lower()}."


def seen_words(seen: Seen, system: System = "metric") -> str:
    """Return how the front third compares with the backs of the study at one pace."""
    mean, largest = (quantity(one, "pressure", system) for one in (seen.mean, seen.largest))
    area = quantity(seen.area, "area", system)
    return (
        f"At {seen.pace} ({seen.hours:.1f} h) the front third carries {mean} on average and "
        f"{largest} at most, {seen.like}; {area} of skin is pressed as where dry spots were seen."
    )


def change_words(change: Change, day: Day, system: System = "metric") -> str:
    """Return what a change would do.

    Parameters
    ----------
    change, day : of one day.
    system : units people chose.
    """
    if not math.isfinite(change.first_area):
        return f"With {change.do} the tree would not stay."
    before, after = (quantity(area, "area", system) for area in (day.first_area, change.first_area))
    if math.isclose(change.first_area, day.first_area, rel_tol=ALIKE, abs_tol=1e-6):
        return f"With {change.do}: no change to speak of, {after} to look at first."
    way = "less" if change.first_area < day.first_area else "more"
    return f"With {change.do}: {way}, {after} instead of {before} to look at first."
