"""Trees for a herd: `herd.json`, `herd.parquet`, `herd.html`, and lines for the terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from fitsim.draw.quantity import percent, plain
from fitsim.files import write_text
from fitsim.report.contract import CAUTIONS, as_json, versions
from fitsim.report.verdict import FAULTS
from fitsim.study.herd.kept import write_rows

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fitsim.study.herd.choose import Choice
    from fitsim.study.herd.kept import Row

RULE = (
    "A tree can work on an animal if it breaks none of the rules in docs/verdict.md with the load "
    "on. Of those that can work, the one of least score (docs/search.md) is named first."
)
SHOWN = {"terminal": 40, "page": 2000}
"""Animals named one by one; the rest stand in herd.json."""


def herd_facts(found: Choice, share: float) -> dict[str, Any]:
    """Return everything that was chosen, for programs.

    Parameters
    ----------
    found : Choice
    share : -, of the animals that were to be served.
    """
    return {
        "schema": 1,
        "share_asked_for": share,
        "trees": list(found.trees),
        "animals": [
            {
                "name": name,
                "best": _name(found, found.best(k)),
                "can_work": [t for t, ok in zip(found.trees, found.works[k], strict=True) if ok],
                "least_bad": _name(found, found.least_bad(k)),
                "scores": [s if math.isfinite(s) else None for s in found.scores[k].tolist()],
            }
            for k, name in enumerate(found.animals)
        ],
        "stock": [found.trees[k] for k in found.stock],
        "left_out": list(_left_out(found)),
        "fits_nothing": list(found.fits_nothing),
        "skipped": dict(found.skipped),
        "cautions": list(CAUTIONS),
        "versions": versions(),
    }


def herd_lines(found: Choice, share: float) -> list[str]:
    """Return the same for the terminal.

    Parameters
    ----------
    found, share : see `herd_facts`.
    """
    lines = [headline(found), ""]
    if found.animals:
        wide = max(len(tree) for tree in found.trees)
        lines += [f"  {'':{wide}}  can work on   best on"]
        lines += [f"  {tree:{wide}}  {able:>11}   {best:>7}" for tree, able, best in tallies(found)]
        lines += ["", *stock_lines(found, share), ""]
        lines += [f"  {name}: {words}" for name, words in each(found)[: SHOWN["terminal"]]]
        more = len(found.animals) - SHOWN["terminal"]
        lines += [f"  and {more} more, in herd.json"] if more > 0 else []
    lines += [f"Skipped: {why}" for why in dict.fromkeys(found.skipped.values())]
    return plain([*lines, "", RULE, "", *CAUTIONS])


def headline(found: Choice) -> str:
    """How many animals and trees, and on how many nothing can work."""
    none = len(found.fits_nothing)
    animals, trees = len(found.animals), len(found.trees)
    words = f"{_many(animals, 'animal')}, {_many(trees, 'tree')}"
    if not animals:
        return f"{words}: no scan could be used."
    return f"{words}: " + (
        f"on {none} of the animals none of the trees can work."
        if none
        else "each animal has a tree that can work."
    )


def tallies(found: Choice) -> list[tuple[str, int, int]]:
    """Each tree with the number of animals it can work on, and is the best for."""
    best = [found.best(k) for k in range(len(found.animals))]
    return [
        (tree, int(found.works[:, k].sum()), best.count(k)) for k, tree in enumerate(found.trees)
    ]


def stock_lines(found: Choice, share: float) -> list[str]:
    """The fewest trees to stock, and who is left out with them."""
    if not found.stock:
        return ["No tree can work on any of these animals: there is nothing to stock."]
    names = ", ".join(found.trees[k] for k in found.stock)
    left = _left_out(found)
    served = f"The fewest trees that serve {percent(share)} of the animals that any tree serves"
    return [
        f"{served}: {len(found.stock)} ({names}).",
        f"Left out with these: {', '.join(left)}." if left else "Nobody is left out with these.",
    ]


def each(found: Choice) -> list[tuple[str, str]]:
    """Each animal by name with its tree, or what is wrong with the least bad."""
    return [(name, _for_one(found, k)) for k, name in enumerate(found.animals)]


def write_herd(found: Choice, rows: Sequence[Row], share: float, folder: Path) -> None:
    """Write `herd.json`, `herd.parquet` and `herd.html`.

    Parameters
    ----------
    found, share : see `herd_facts`.
    rows : of every pair, in the herd's order.
    folder : exists.
    """
    from fitsim.report.house import rendered

    page = rendered(
        "herd.html.j2",
        headline=headline(found),
        tallies=tallies(found),
        stock=stock_lines(found, share) if found.animals else [],
        each=each(found)[: SHOWN["page"]],
        more=max(0, len(found.animals) - SHOWN["page"]),
        skipped=list(dict.fromkeys(found.skipped.values())),
        rule=RULE,
        cautions=CAUTIONS,
    )
    write_rows(folder / "herd.parquet", rows)
    write_text(folder / "herd.json", as_json(herd_facts(found, share)))
    write_text(folder / "herd.html", page)


def _for_one(found: Choice, animal: int) -> str:
    best = found.best(animal)
    if best is not None:
        others = int(found.works[animal].sum()) - 1
        also = f", and {_many(others, 'other tree')} can work" if others else ""
        return f"{found.trees[best]}{also}"
    least = found.least_bad(animal)
    if least is None:
        return "none of these trees stays on"
    broken = found.faults[found.animals[animal], found.trees[least]]
    why = "; ".join(FAULTS.get(fault, fault) for fault in broken)
    why = why or "it does not hold in every case it must"
    return f"none of these trees; least bad is {found.trees[least]}: {why}"


def _left_out(found: Choice) -> tuple[str, ...]:
    """Animals that some tree serves but the stock does not."""
    served = np.asarray(found.works[:, list(found.stock)].any(axis=1))
    some = np.asarray(found.works.any(axis=1))
    return tuple(n for n, a, b in zip(found.animals, served, some, strict=True) if b and not a)


def _name(found: Choice, tree: int | None) -> str | None:
    return None if tree is None else found.trees[tree]


def _many(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
