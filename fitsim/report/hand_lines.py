"""The hand tests in words and as plain data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fitsim.draw.hand_words import rows, title
from fitsim.measure.hand import EASY
from fitsim.report.contract import CAUTIONS, MM
from fitsim.study.hand_tests import MOVE, PRESS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitsim.draw.quantity import System
    from fitsim.study.hand_tests import HandTests, Pull

SCHEMA = 1

HOW_SURE = (
    "How sure: what differs between two trees, places or cinches on this back is surer than any "
    "one force. Where cinches hold the tree their tension decides; where only tissue does, a "
    "force may be out by a factor of 1.6."
)


def hand_lines(tests: Sequence[HandTests], system: System = "metric") -> list[str]:
    """Return what hands find, case by case.

    Parameters
    ----------
    tests : one for each case.
    system : units people chose.
    """
    lines: list[str] = []
    for one in tests:
        lines.append(title(one.case))
        lines += [f"  {words}: {found}" for words, found in rows(one, system)] + [""]
    return [*lines, HOW_SURE, *CAUTIONS]


def hand_facts(tests: Sequence[HandTests]) -> dict[str, object]:
    """Return the hand tests as plain data; every key names its unit.

    Parameters
    ----------
    tests : one for each case.
    """
    return {
        "schema": SCHEMA,
        "rules": {
            "easy_push_n": EASY,
            "press_n": PRESS,
            "move_mm": MM * MOVE,
        },
        "cases": {one.case: _case(one) for one in tests},
        "cautions": list(CAUTIONS),
    }


def _case(one: HandTests) -> dict[str, object]:
    if one.press is None or one.lift is None:
        return {"equilibrium": False, "leaves": one.leaves}
    return {
        "equilibrium": True,
        "hand_under": {
            side: {
                "room_mm": _number(MM * room.room),
                "push_n": _number(room.push),
                "squeeze_n": _number(room.squeeze),
                "passes": room.passes,
            }
            for side, room in one.under.items()
        },
        "rocking": {
            "turn_deg": _number(math.degrees(one.press.turn)),
            "pivot_along": _number(one.press.pivot_along),
            "free_play_deg": _number(math.degrees(one.press.free_play)),
            "knocks": one.press.knocks,
        },
        "daylight": {
            side: {"length_share": _number(gap.length_share), "depth_mm": _number(MM * gap.depth)}
            for side, gap in one.bridging.items()
        },
        "lift_rear": _pull(one.lift),
        "pull_fork": {side: _pull(pull) for side, pull in one.pulls.items()},
    }


def _pull(pull: Pull) -> dict[str, object]:
    return {
        "force_n": _number(pull.force),
        "slide_mm": _number(MM * pull.slide),
        "roll_deg": _number(math.degrees(pull.roll)),
        "leaves": pull.leaves,
    }


def _number(value: float) -> float | None:
    """A number to seven digits; None where there is none."""
    return float(f"{value:.7g}") if math.isfinite(value) else None
