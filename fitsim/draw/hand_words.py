"""What hands find on a tree, in a horseman's words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fitsim.draw.quantity import percent, quantity
from fitsim.draw.words import case_title
from fitsim.study.hand_tests import MOVE, PRESS

if TYPE_CHECKING:
    from fitsim.draw.quantity import System
    from fitsim.measure.hand import HandRoom
    from fitsim.measure.measures import BarGap
    from fitsim.study.hand_tests import HandTests, Press, Pull

ROCKS = math.radians(2.0)
"""rad between front and rear pressed, from which a tree is said to rock: a choice, no source."""


def title(case: str) -> str:
    """Return a case's name in words; "laid" is the tree laid on and not cinched.

    Examples
    --------
    >>> title("laid"), title("both")
    ('Laid on, not cinched', 'Both cinches')
    """
    return "Laid on, not cinched" if case == "laid" else case_title(case)


def rows(tests: HandTests, system: System = "metric") -> list[tuple[str, str]]:
    """Return each test of one case and what it finds, in words.

    Parameters
    ----------
    tests : of one case.
    system : units people chose.
    """
    if tests.leaves is not None or tests.press is None or tests.lift is None:
        return [("Untouched", f"the tree does not stay: it {tests.leaves}")]
    by = quantity(MOVE, "length", system)
    return [
        *(
            (f"Flat hand under the {side} front", under_words(room, system))
            for side, room in tests.under.items()
        ),
        ("Front and rear pressed in turn", press_words(tests.press, system)),
        *(
            (f"Daylight under the middle, {side}", gap_words(gap, system))
            for side, gap in tests.bridging.items()
        ),
        (f"Rear lifted {by}", pull_words(tests.lift, system, upright=True)),
        *(
            (f"Fork pulled {by} to the {side}", pull_words(pull, system, upright=False))
            for side, pull in tests.pulls.items()
        ),
    ]


def under_words(room: HandRoom, system: System) -> str:
    """Return what a hand finds under one front."""
    if not math.isfinite(room.push):
        return "the tree does not stay on with a hand under it"
    push = quantity(room.push, "force", system)
    free = quantity(room.room, "length", system) if math.isfinite(room.room) else "unknown"
    goes = f"goes in with a push of {push}" if room.passes else f"does not go in easily ({push})"
    return f"{goes}; least daylight there {free}"


def press_words(press: Press, system: System) -> str:
    """Return how the tree rocks."""
    push = quantity(PRESS, "force", system)
    if not math.isfinite(press.turn):
        return f"does not stay on when an end is pressed with {push}"
    turn = f"{math.degrees(press.turn):.1f} deg under {push}"
    if press.knocks:
        idle = f"{math.degrees(press.free_play):.1f} deg of it idle"
        return f"knocks: {turn}, {idle}, about {pivot_words(press)}"
    return f"{'rocks' if press.turn >= ROCKS else 'steady'}: {turn}, about {pivot_words(press)}"


def pivot_words(press: Press) -> str:
    """Return the place that a tree rocks about."""
    if not math.isfinite(press.pivot_along):
        return "no place in particular"
    if press.pivot_along < 0.0 or press.pivot_along > 1.0:
        return "a place beyond the bars: it sinks in more than it turns"
    return f"a place {percent(press.pivot_along)} of the way back along the bars"


def gap_words(gap: BarGap, system: System) -> str:
    """Return the daylight between two stretches that touch."""
    if gap.length_share == 0.0:
        return "none"
    deep = quantity(gap.depth, "length", system)
    return f"{percent(gap.length_share)} of the bar's length, {deep} deep"


def pull_words(pull: Pull, system: System, *, upright: bool) -> str:
    """Return what moving an end takes, and how the tree goes."""
    if not math.isfinite(pull.force):
        return f"the tree {pull.leaves} before it has gone that far"
    force = f"takes {quantity(pull.force, 'force', system)}"
    if upright:
        return force
    slide = quantity(abs(pull.slide), "length", system)
    return f"{force}; the bars slide {slide} and roll {math.degrees(abs(pull.roll)):.1f} deg"
