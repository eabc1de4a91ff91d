"""What a message is answered with: every view solved, and what was asked for beside it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from fitsim.app.bench import tree_key
from fitsim.app.by_hand import by_hand
from fitsim.app.words import cut_words, difference_words, numbers
from fitsim.draw.cut import cut_across, cut_along
from fitsim.report.scene import case_scene, packed, tree_scene

if TYPE_CHECKING:
    from fitsim.app.asked import Asked, CutAt
    from fitsim.app.bench import Shown
    from fitsim.app.sessions import Place
    from fitsim.back.back import Back
    from fitsim.draw.cut import Cut
    from fitsim.draw.quantity import System


def answer(place: Place, asked: Asked, sent: list[object], system: System) -> dict[str, Any]:
    """Solve each view and write down what the page shows.

    Parameters
    ----------
    place : the viewer's back.
    asked : what was set.
    sent : of each view, the tree whose body went along last; changed here.
    system : units people chose.

    Returns
    -------
    dict
        "views", and "difference" where it was asked for.

    Raises
    ------
    BadSettings
        A tree cannot be built or laid so.
    """
    views, shown = [], []
    for which, scenario in enumerate(asked.scenarios):
        one, hand = place.bench.shown(scenario), None
        if asked.grip is not None and which == asked.facing:
            one, hand = by_hand(place.bench, one, asked.grip, system)
        view = _view(place, one, system)
        if hand is not None:
            view["hand"] = hand
        if asked.cut is not None:
            view["cut"] = _cut(place, one, asked.cut, system)
        key = (id(place), tree_key(scenario))
        if sent[which] != key:
            view["tree"], sent[which] = tree_scene(one.tree), key
        views.append(view)
        shown.append(one)
    told: dict[str, Any] = {"views": views}
    if asked.difference:
        told["difference"] = difference_words(place.bench.back.chart, shown, system)
    return told


def _view(place: Place, one: Shown, system: System) -> dict[str, Any]:
    view: dict[str, Any] = {
        "case": case_scene(place.bench.back, one.tree, one.fit, top=place.top, system=system),
        "numbers": numbers(one, system),
    }
    if one.points is not None:
        view["points"] = packed(one.points.reshape(-1, 3), "<f4")
    return view


def _cut(place: Place, one: Shown, at: CutAt, system: System) -> dict[str, Any]:
    """A cut as lines and words; words alone where there is nothing to measure."""
    if not one.fit.equilibrium.found:
        return {"said": "The tree does not stay on: there is nothing to measure."}
    bench = place.bench
    chart, problem = bench.back.chart, bench.laid(one.scenario).problem
    if one.points is not None:
        chart = replace(chart, points=one.points)
    if at.way == "across":
        withers = withers_at(bench.back)
        x = min(max(withers - at.behind, float(chart.x[0])), float(chart.x[-1]))
        at = replace(at, behind=withers - x)
        cut = cut_across(chart, problem, one.fit.equilibrium, x)
    else:
        side = ("left", "right").index(at.way)
        cut = cut_along(chart, problem, one.fit.equilibrium, side)
    return {**_lines(cut), **cut_words(cut, at, system), "top": place.top}


def withers_at(back: Back) -> float:
    """Station of the withers, m: cuts across are told from there."""
    return float(back.marks["withers"].points[0, 0])


def _lines(cut: Cut) -> dict[str, Any]:
    """The lines of a cut as plain lists, to a tenth of a millimetre."""
    return {
        "rest": cut.rest.round(4).tolist(),
        "skin": cut.skin.round(4).tolist(),
        "pressure": cut.pressure.round().tolist(),
        "pads": [pad.round(4).tolist() for pad in cut.pads],
        "pad_at": list(cut.pad_at),
        "bars": [bar.round(4).tolist() for bar in cut.bars],
        "line": cut.line.round(4).tolist(),
    }
