"""What can be said of how trees on one back, or one tree on several, differ, and what cannot."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING

from fitsim.draw.words import case_title
from fitsim.report.sure import WORDS, measure_next
from fitsim.study.compare import said_of
from fitsim.study.confidence import interval

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from fitsim.study.compare import Comparison

JUDGED = ("scapula_peak", "peak", "fat_pocket_peak", "spine_peak")
"""Less of these is better whatever else; they are put into sentences, in this order."""
_NOTHING = 500.0  # Pa: below this neither tree presses there, and there is nothing to compare


def same_for_all(found: Comparison) -> str:
    """Return what those compared have in common: the scan's name, or the tree's.

    Parameters
    ----------
    found : Comparison
    """
    first = found.fits[0]
    return first.back.provenance.name if found.of == "trees" else first.tree.name


def how_sure(found: Comparison) -> str:
    """Return what the numbers in brackets are, and what was drawn alike.

    Parameters
    ----------
    found : Comparison
    """
    count = len(found.samples.draws)
    if found.of == "trees":
        return (
            f"In brackets: nine in ten of {count} plausible backs lie within. Their tissue, their "
            "marks, the pad, the cinches and the scan are off by what is not known of them; all "
            "trees were tried on the same ones."
        )
    how = (
        "as of different animals: every plausible back of one is held against every one of the "
        "other (--same-animal where they are of one)"
        if found.drawn_apart
        else "as of one animal: what is not known of it is off by the same on each"
    )
    return (
        f"In brackets: nine in ten of {count} plausible backs of each scan lie within. They are "
        f"compared {how}."
    )


def sentences(found: Comparison, case: str) -> list[str]:
    """Return what can be said of how those compared differ under one case, and what cannot.

    Parameters
    ----------
    found : Comparison
    case : name.
    """
    return [_sentence(found, *one) for one in _differences(found, case)]


def in_short(found: Comparison, case: str) -> list[str]:
    """Return one sentence for each pair: what can be told of them under one case, what cannot.

    Parameters
    ----------
    found : Comparison
    case : name.
    """
    pairs: dict[frozenset[str], dict[tuple[str, str, str], list[str]]] = {}
    for pair, headline, share in _differences(found, case):
        told = said_of(share)
        # what cannot be told has no order
        order = ("", "") if told == "cannot be told" else pair
        of_pair = pairs.setdefault(frozenset(pair), {})
        of_pair.setdefault((told, *order), []).append(_where(headline))
    return [f"{case_title(case)}: {_gathered(found, told)}." for told in pairs.values()]


def _gathered(found: Comparison, told: Mapping[tuple[str, str, str], Sequence[str]]) -> str:
    """What is told of one pair, the sure before the unsure."""
    clauses = []
    for how in ("less", "leaning less", "cannot be told"):
        for (_, one, other), places in (item for item in told.items() if item[0][0] == how):
            where = _listed(places)
            if how == "cannot be told":
                which = "on which of them it" if found.of == "scans" else "which of them"
                clauses.append(f"{which} presses less {where} cannot be told")
                continue
            does = "presses less" if how == "less" else "leans to pressing less (not sure)"
            tree, on = ("the tree", f"on {one} than on {other}")
            if found.of == "trees":
                tree, on = one, f"than {other}"
            clauses.append(f"{tree} {does} {where} {on}")
    return "; ".join(clauses)


def _listed(places: Sequence[str]) -> str:
    return places[0] if len(places) == 1 else f"{', '.join(places[:-1])} and {places[-1]}"


def _differences(found: Comparison, case: str) -> Iterator[tuple[tuple[str, str], str, float]]:
    """Of each pair and what is judged: the one with less of it first, the headline, how often."""
    for first, second in combinations(range(len(found.names)), 2):
        for headline in JUDGED:
            within = [interval(found.samples.of(one, case, headline)) for one in (first, second)]
            if all(one is None or one.high < _NOTHING for one in within):
                continue
            share = found.less(first, second, case, headline)
            pair = found.names[first], found.names[second]
            if said_of(share).endswith("more"):
                pair, share = pair[::-1], 1.0 - share
            yield pair, headline, share


def _where(headline: str) -> str:
    return "at its hardest" if headline == "peak" else WORDS[headline][0].removeprefix("hardest ")


def _sentence(found: Comparison, pair: tuple[str, str], headline: str, share: float) -> str:
    (one, other), told, where = pair, said_of(share), _where(headline)
    times = _times(found, share)
    tree, apart, first = one, f"than {other}", "the first"
    if found.of == "scans":
        tree, apart, first = "The tree", f"on {one} than on {other}", f"on {one}"
    if told == "less":
        return f"{tree} presses less {where} {apart} {times}."
    if told == "leaning less":
        return f"{tree} leans to less pressure {where} {apart} ({times}): not sure."
    which = f"Which of {one} and {other}"
    if found.of == "scans":
        which = f"On which of {one} and {other} the tree"
    return f"{which} presses less {where} cannot be told ({times} {first})."


def _times(found: Comparison, share: float) -> str:
    if found.drawn_apart:
        return f"in {round(100.0 * share)} of 100 pairs of plausible backs"
    count = len(found.samples.draws)
    return f"in {round(share * count)} of {count} plausible backs"


def measure_next_on(found: Comparison) -> list[str]:
    """Return what to find out next on the animal, of several scans on each.

    Parameters
    ----------
    found : Comparison
    """
    samples, case = found.samples, found.samples.cases[-1]
    if found.of == "trees":
        line = measure_next(samples, case)
        return [line] if line else []
    lines = []
    for which, name in enumerate(found.names):
        line = measure_next(replace(samples, values=samples.values[:, which : which + 1]), case)
        lines += [f"On {name}: {line[0].lower()}{line[1:]}"] if line else []
    return lines
