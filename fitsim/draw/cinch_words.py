"""A cinch map in a horseman's words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitsim.draw.quantity import percent, quantity
from fitsim.measure.hand import EASY
from fitsim.study.cinch_rules import GRIP, LIFTED, MOSTLY, ON_THE_BLADE, SNUG, middle, span

if TYPE_CHECKING:
    from fitsim.draw.quantity import System
    from fitsim.study.cinch_map import CinchMap
    from fitsim.study.cinch_rules import Serving

TROUBLE = {
    "shoulder": "on the shoulder blades",
    "front_lifts": "front tips lift",
    "rear_lifts": "rear tips lift",
    "one_third": "most on one third",
    "grip": "slides too easily",
    "snug": "front cinch too loose",
    "hand": "no hand under the front",
}
"""What is wrong beyond each rule's line."""


def rule_words(rule: str, system: System = "metric") -> str:
    """Return a rule in words.

    Examples
    --------
    >>> rule_words("one_third").replace("\N{NO-BREAK SPACE}", " ")
    'no third of the bars carries 50 % or more'
    """
    return {
        "shoulder": f"the shoulder blades carry less than {percent(ON_THE_BLADE)} of the load",
        "front_lifts": (
            f"the front tips clear the back by no more than {quantity(LIFTED, 'length', system)} "
            "over the rear ones"
        ),
        "rear_lifts": (
            f"the rear tips clear the back by no more than {quantity(LIFTED, 'length', system)} "
            "over the front ones"
        ),
        "one_third": f"no third of the bars carries {percent(MOSTLY)} or more",
        "grip": f"it bears a push of {quantity(GRIP, 'force', system)} before it slides",
        "snug": f"the front cinch pulls with more than {quantity(SNUG, 'force', system)}",
        "hand": (
            f"a flat hand goes in under both fronts with {quantity(EASY, 'force', system)} or less"
        ),
    }[rule]


def region_sentences(found: CinchMap, serves: Serving, system: System = "metric") -> list[str]:
    """Return where to draw the cinches, and what cannot be had there.

    Parameters
    ----------
    found : the map.
    serves : its region.
    system : units people chose.
    """
    if not serves.inside.any():
        return ["No pair of tensions keeps even one rule: try another tree or place."]
    front, rear = (
        _range(*span(axis, serves.inside, k), system)
        for k, axis in enumerate((found.front, found.rear))
    )
    best = [quantity(tension, "force", system) for tension in middle(found, serves)]
    what = "All rules are kept" if not serves.broken else "Most rules are kept"
    where = f"the front cinch at {front} and the rear at {rear} a strap end"
    said = [f"{what} with {where}, as the chart shows; its middle is {best[0]} and {best[1]}."]
    said.append("The looser end of it presses less everywhere.")
    said += [f"Nowhere there: {rule_words(rule, system)}." for rule in serves.broken]
    return [*said, *_leaving(found)]


def rig_sentence(found: CinchMap, serves: Serving, front: float, rear: float) -> str:
    """Return what is wrong with a pair of tensions, by the rules.

    Parameters
    ----------
    found : the map.
    serves : its region.
    front, rear : N, each strap end.
    """
    row = int(abs(found.front - front).argmin())
    column = int(abs(found.rear - rear).argmin())
    if found.leaves[row][column] is not None:
        return f"As the rig is now the tree {found.leaves[row][column]}."
    wrong = [TROUBLE[rule] for rule, room in serves.room.items() if room[row, column] <= 0.0]
    if not wrong:
        return "As the rig is now every rule is kept."
    return f"As the rig is now: {', '.join(wrong)}."


def _range(low: float, high: float, system: System) -> str:
    """Return a range of tensions with one unit."""
    if low == high:
        return quantity(low, "force", system)
    first = quantity(low, "force", system).split("\N{NO-BREAK SPACE}")[0]
    return f"{first} to {quantity(high, 'force', system)}"


def _leaving(found: CinchMap) -> list[str]:
    """Return a sentence where the tree does not stay under some tensions."""
    ways = sorted({way for row in found.leaves for way in row if way is not None})
    if not ways:
        return []
    share = percent(float(1.0 - found.stays.mean()))
    return [f"Under {share} of the pairs the tree does not stay: it {', or '.join(ways)}."]
