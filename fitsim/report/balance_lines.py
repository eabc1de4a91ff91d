"""How much heavier one side may be, in words, as a table and as data."""

from __future__ import annotations

from math import degrees
from typing import TYPE_CHECKING

from fitsim.draw.balance import bar_words, going_words, row_words
from fitsim.draw.quantity import quantity

if TYPE_CHECKING:
    from fitsim.draw.quantity import System
    from fitsim.study.balance import Balance, Bears


def balance_lines(found: Balance, system: System = "metric") -> list[str]:
    """The table and what it comes to.

    Parameters
    ----------
    found : Balance
    system : "metric" or "inch"

    Returns
    -------
    list of str
    """
    slopes = [going_words(one.side_slope) for one in found.rows[0]]
    heads = ["Front and rear cinch, each strap end", *slopes]
    body = [
        [row_words(row[0], system) + ("  (as it is)" if number == found.own else ""),
         *(bar_words(one, system) for one in row)]
        for number, row in enumerate(found.rows)
    ]  # fmt: skip
    wide = [max(len(line[k]) for line in [heads, *body]) for k in range(len(heads))]
    lines = [
        "  ".join(words.ljust(width) for words, width in zip(line, wide, strict=True)).rstrip()
        for line in [heads, *body]
    ]
    return [*lines, "", *balance_sentences(found, system)]


def balance_sentences(found: Balance, system: System = "metric") -> list[str]:
    """What to do, and how sure it is.

    Parameters
    ----------
    found : Balance
    system : "metric" or "inch"

    Returns
    -------
    list of str
    """
    own, low, high = found.rows[found.own][0], found.slippery[0], found.grippy[0]
    if not own.stays:
        return [f"As the rig is the tree {own.leaves} with even loads: draw the cinches tighter."]
    bears, least, most = (quantity(one.difference, "mass", system) for one in (own, low, high))
    return [
        (
            f"As the rig is, one side may be {bears} heavier on the flat before the tree "
            f"{own.leaves or 'leaves'}. Stay well below: half of it at most."
        ),
        (
            f"How sure: {least} to {most} from a slippery coat and pad (friction "
            f"{low.friction:g}) to ones that grip ({high.friction:g}); the animal's movement is "
            "not counted."
        ),
        "Snugger cinches and a pad that grips hold more; so does weighing both packs.",
    ]


def balance_facts(found: Balance) -> dict[str, object]:
    """The table as data, SI but for kilograms and degrees, as its keys say."""

    def facts(one: Bears) -> dict[str, object]:
        return {
            "front_n": round(one.front, 1),
            "rear_n": round(one.rear, 1),
            "side_slope_deg": round(degrees(one.side_slope), 3),
            "friction": one.friction,
            "stays": one.stays,
            "difference_kg": round(one.difference, 2),
            "heavier": one.heavier,
            "leaves": one.leaves,
        }

    return {
        "load": found.load.name,
        "as_it_is": found.own,
        "rows": [[facts(one) for one in row] for row in found.rows],
        "slippery": [facts(one) for one in found.slippery],
        "grippy": [facts(one) for one in found.grippy],
    }
