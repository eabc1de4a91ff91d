"""One short paragraph on a tree and its rig, by the stated rules of ``docs/verdict.md``."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from fitsim.draw.quantity import percent, percents, quantity
from fitsim.draw.words import (
    BRIDGED,
    MOSTLY,
    ON_THE_BLADE,
    ON_THE_POCKET,
    TOUCHES,
    UNEVEN,
    case_title,
    end_lift,
    lifted_end,
    working_fit,
    zone_share,
)
from fitsim.measure.spread import USED_TO, inner_edges
from fitsim.report.advice import UNSURE, advice

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitsim.draw.quantity import System
    from fitsim.measure.measures import Measures, Rocking
    from fitsim.study.fit import Fit, FitSet

Word = Literal["can work", "needs a change", "does not stay"]

# The limits are this project's choices, listed in docs/verdict.md; none marks where harm begins.
ROCKS = math.radians(0.10)
"""rad/(N*m): a tree that pitches more than this under a test moment is unsteady, some 5 degrees
between its front and its rear pressed by hand."""
KNOCKS = math.radians(0.5)
"""rad of free play from which it knocks."""
NEAR = 0.03
"""A share this close to a rule's limit may as well lie on its other side."""
TOUCHED = 0.01
"""Share of the load from which a place that should stay free is not called clear."""
POCKET_UNDER = 5e-4
"""m2 of a fat pocket under the bars from which they are said to lie over it."""

FAULTS = {
    "spine": "it touches the spine",
    "shoulder": "it lies on the shoulder blades",
    "pocket": "it lies on the fat pockets",
    "wide": "its bars are set wider than the flat beside the spine",
    "unsteady": "it is not steady",
    "lifts": "one end stands off",
    "one_third": "one third of the bars carries most",
    "bridges": "it bridges",
    "uneven": "one side carries more",
}
"""What may be wrong, most pressing first."""


@dataclass(frozen=True)
class Verdict:
    """What is said of one tree and rig on one back.

    Attributes
    ----------
    word : the short of it.
    sits, moves, next, sure : where it sits, what moves, what to try next, how sure that is.
    faults : names of the rules broken, of `FAULTS`, most pressing first.
    let_off : names of rules broken that a fat pocket under the bars excuses.
    """

    word: Word
    sits: str
    moves: str
    next: str
    sure: str
    faults: tuple[str, ...]
    let_off: tuple[str, ...] = ()

    @property
    def paragraph(self) -> str:
        """The whole of it."""
        return " ".join((self.sits, self.moves, f"Try next: {self.next}", f"How sure: {self.sure}"))


def verdict_of(fitset: FitSet, system: System = "metric") -> Verdict:
    """Judge one tree and rig by the stated rules.

    Parameters
    ----------
    fitset : all cases of one tree on one back.
    system : units people chose.

    Returns
    -------
    Verdict
    """
    fit = working_fit(fitset)
    if fit is None or fit.measures is None:
        return _lost(fitset, system)
    broken = faults(fit.measures, inner_edges(fitset.back.chart, fit.equilibrium))
    over = over_pocket(fitset, fit)
    let_off = _let_off(broken, fit.measures) if over else ()
    counted = tuple(fault for fault in broken if fault not in let_off)
    return Verdict(
        word="needs a change" if counted or not _works_where_it_must(fitset) else "can work",
        sits=_sits(fitset, fit, counted, system),
        moves=_moves(fitset, fit.measures, let_off, system),
        next=_next(fitset, counted, let_off, system),
        sure=_sure(fitset, fit.measures, system),
        faults=counted,
        let_off=let_off,
    )


def faults(m: Measures, edges: Mapping[str, float] | None = None) -> tuple[str, ...]:
    """Return the names of the rules that a case breaks, most pressing first.

    Parameters
    ----------
    m : Measures
    edges : by side, m from the spine to the bar's inner edge, optional.

    Returns
    -------
    tuple of str
        Of `FAULTS`.
    """
    spine = m.zones.get("spine")
    broken = {
        "spine": spine is not None and spine.force >= TOUCHES,
        "shoulder": zone_share(m, "scapula") >= ON_THE_BLADE,
        "pocket": zone_share(m, "fat_pocket") >= ON_THE_POCKET,
        "wide": edges is not None and min(edges.values()) > USED_TO,
        "unsteady": m.rocking is not None and not steady(m.rocking),
        "lifts": lifted_end(m) is not None,
        "one_third": max(m.share[third] for third in ("front", "middle", "rear")) >= MOSTLY,
        "bridges": any(gap.length_share >= BRIDGED for gap in m.bridging.values()),
        "uneven": max(m.share["left"], m.share["right"]) >= 0.5 + UNEVEN,
    }
    return tuple(name for name in FAULTS if broken[name])


def steady(rocking: Rocking) -> bool:
    """Return whether a tree neither rocks nor knocks by the limits."""
    return rocking.rad_per_nm < ROCKS and rocking.free_play < KNOCKS


def over_pocket(fitset: FitSet, fit: Fit) -> bool:
    """Return whether a fat pocket lies under the bars.

    Parameters
    ----------
    fitset : for the back.
    fit : the case.
    """
    back, chart = fitset.back, fitset.back.chart
    pockets = [k for k, zone in enumerate(back.zones) if zone.name.startswith("fat_pocket")]
    inside = np.isin(back.zone_code[chart.valid], pockets) & (fit.equilibrium.bar != 0)
    return bool(chart.area[chart.valid][inside].sum() >= POCKET_UNDER)


def _let_off(broken: tuple[str, ...], m: Measures) -> tuple[str, ...]:
    """Return which rules a fat pocket excuses: gaps and rocking, of a tree that is otherwise good.

    A good tree over a fat pocket still rocks a little and does not touch all the way (common
    practice, no source). That is no fault while it does not knock and spine and shoulder are free.
    """
    if {"spine", "shoulder", "pocket"} & set(broken):
        return ()
    knocks = m.rocking is not None and m.rocking.free_play >= KNOCKS
    excused = {"bridges", "lifts"} if knocks else {"bridges", "lifts", "unsteady"}
    return tuple(name for name in broken if name in excused)


def _works_where_it_must(fitset: FitSet) -> bool:
    """Return whether the tree stays on with both cinches, and under the load it is for."""
    must = [fitset.fits[name] for name in ("both", "rider", "pack") if name in fitset.fits]
    return all(fit.measures is not None for fit in must)


def _lost(fitset: FitSet, system: System) -> Verdict:
    """Return what is said of a tree that stays on under no case."""
    ways = sorted({fit.equilibrium.leaves or "leaves the back" for fit in fitset.fits.values()})
    return Verdict(
        word="does not stay",
        sits="The tree does not stay on this back under any of the rigs tried.",
        moves=f"It {', or '.join(ways)}.",
        next=advice(fitset, system)[0].do,
        sure="which way it goes is sure to the extent that the scan and the place are right.",
        faults=(),
    )


_KEPT_FREE = {
    "spine": ("spine", "the spine"),
    "shoulder": ("scapula", "the shoulder blades"),
    "pocket": ("fat_pocket", "the fat pockets"),
}


def _sits(fitset: FitSet, fit: Fit, counted: tuple[str, ...], system: System) -> str:
    """Return where it sits."""
    m = fit.measures
    if m is None:
        return ""
    thirds = percents([m.share[third] for third in ("front", "middle", "rear")])
    load = f"{thirds[0]} of the load in front, {thirds[1]} in the middle, {thirds[2]} behind"
    on = {name: zone_share(m, zone) for name, (zone, _) in _KEPT_FREE.items()}
    free = [words for name, (_, words) in _KEPT_FREE.items() if on[name] < TOUCHED]
    named = [f"lies clear of {_listed(free)}"] if free and "spine" not in counted else []
    if "spine" in counted:
        named.append("touches the spine")
    for name in ("shoulder", "pocket"):
        share, words = percent(on[name]), _KEPT_FREE[name][1]
        if name in counted:
            named.append(f"has {share} of the load on {words}")
        elif on[name] >= TOUCHED:
            named.append(f"touches {words} ({share} of the load)")
    if "wide" in counted:
        edge = min(inner_edges(fitset.back.chart, fit.equilibrium).values())
        far = quantity(edge, "length", system)
        named.append(f"has its bars {far} out from the spine, wider than the flat beside it")
    return f"Under {case_title(fit.case.name).lower()} it {_listed(named)}, with {load}."


def _listed(parts: list[str]) -> str:
    """Return parts as a list in words.

    Examples
    --------
    >>> _listed(["a", "b", "c"]), _listed(["a", "b"]), _listed(["a"])
    ('a, b, and c', 'a and b', 'a')
    """
    if len(parts) <= 2:  # noqa: PLR2004 - needs no comma
        return " and ".join(parts)
    return f"{', '.join(parts[:-1])}, and {parts[-1]}"


def _moves(fitset: FitSet, m: Measures, let_off: tuple[str, ...], system: System) -> str:
    """Return what moves: rocking, ends that lift, cases that are lost."""
    said = [_rocks(m.rocking, "unsteady" in let_off)] if m.rocking is not None else []
    if (end := lifted_end(m)) is not None:
        said.append(f"the {end} tips stand off {quantity(end_lift(m, end), 'length', system)}")
    if (widest := max(m.bridging.values(), key=lambda gap: gap.length_share, default=None)) and (
        widest.length_share >= BRIDGED
    ):
        deep = quantity(widest.depth, "length", system)
        said.append(f"{percent(widest.length_share)} of a bar hangs, {deep} at the deepest")
    said += _alone(fitset, system)
    sentence = "; ".join(said) or "nothing moves that the rules look at"
    sentence = sentence[0].upper() + sentence[1:] + "."
    if let_off:
        sentence += (
            " Over a fat pocket a good tree may rock a little and not touch all the way: with "
            "the shoulder free that is no fault."
        )
    return sentence


def _rocks(rocking: Rocking, let_off: bool) -> str:  # noqa: FBT001 - private
    """Return how it rocks."""
    turn = f"{math.degrees(rocking.rad_per_nm):.2f} deg per N·m"
    if rocking.free_play >= KNOCKS:
        return f"it knocks, with {math.degrees(rocking.free_play):.1f} deg of free play"
    if rocking.rad_per_nm >= ROCKS:
        return f"it rocks {turn}{' without knocking' if let_off else ''}"
    return f"it is steady ({turn})"


def _alone(fitset: FitSet, system: System) -> list[str]:
    """Return what a cinch drawn alone does, and under which rigs the tree is lost."""
    said = []
    for alone, end in (("front", "rear"), ("rear", "front")):
        fit = fitset.fits.get(alone)
        if fit is not None and fit.measures is not None and lifted_end(fit.measures) == end:
            lift = quantity(end_lift(fit.measures, end), "length", system)
            said.append(f"the {alone} cinch alone lifts the {end} tips {lift}")
    said += [
        f"under {case_title(name).lower()} it {fit.equilibrium.leaves or 'leaves the back'}"
        for name, fit in fitset.fits.items()
        if fit.measures is None
    ]
    return said


def _next(
    fitset: FitSet, counted: tuple[str, ...], let_off: tuple[str, ...], system: System
) -> str:
    """Return the first thing to try that is not about what was let off."""
    if not counted and let_off:
        return (
            "leave the tree as it is, watch the shoulder as the animal moves, and confirm it on "
            "the standing and moving animal."
        )
    do = advice(fitset, system)[0].do
    return do[0].lower() + do[1:]


def _sure(fitset: FitSet, m: Measures, system: System) -> str:
    """Return how sure the paragraph is, and what would make it surer."""
    said = []
    unsure = [
        mark.sd_m
        for name, mark in fitset.back.marks.items()
        if name.startswith(("scapula_edge", "fat_pocket"))
        and mark.source == "estimated"
        and mark.sd_m >= UNSURE
    ]
    if unsure:
        give = quantity(max(unsure), "length", system)
        said.append(
            f"the shoulder blade and fat pocket were estimated, give or take {give}; feel for "
            "them, mark them and fit again"
        )
    close = [words for words, share, limit in _judged(m) if abs(share - limit) < NEAR]
    if close:
        said.append(f"{' and '.join(close)} close to a limit and may fall either way")
    if not said:
        return "fairly, as to where it lies and what lifts; any single pressure is a rough guess."
    return "; ".join(said) + "."


def _judged(m: Measures) -> list[tuple[str, float, float]]:
    """Return the shares that rules judge, in words, with their limits."""
    return [
        ("the share on the shoulder blades is", zone_share(m, "scapula"), ON_THE_BLADE),
        ("the share on the fat pockets is", zone_share(m, "fat_pocket"), ON_THE_POCKET),
        (
            "the heaviest third is",
            max(m.share[third] for third in ("front", "middle", "rear")),
            MOSTLY,
        ),
    ]


def verdict_facts(found: Verdict) -> dict[str, object]:
    """Return a verdict as plain data, for `fit.json`.

    Parameters
    ----------
    found : Verdict
    """
    return {
        "word": found.word,
        "sits": found.sits,
        "moves": found.moves,
        "next": found.next,
        "sure": found.sure,
        "faults": list(found.faults),
        "let_off": list(found.let_off),
    }
