"""What a search found: `search.json`, the tree as a file, a chart, and lines for the terminal."""

from __future__ import annotations

import math
from copy import deepcopy
from dataclasses import asdict, replace
from itertools import product
from typing import TYPE_CHECKING, Any

from fitsim import __version__
from fitsim.draw.quantity import percent, plain, quantity
from fitsim.files import whole_file, write_text
from fitsim.report.contract import CAUTIONS, as_json
from fitsim.study.search.trial import changed, score_of
from fitsim.tree.write import write_tree
from fitsim.units import show_length

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from fitsim.draw.quantity import System
    from fitsim.study.search.search import Found, Plan
    from fitsim.study.search.space import Space
    from fitsim.study.search.trial import Setup, Trial
    from fitsim.tree.tree import Tree

_KEY = {"length": ("mm", 1e3), "angle": ("deg", math.degrees(1.0)), "force": ("n", 1.0)}
GOAL_WORDS = {
    "pressure": "highest pressure anywhere",
    "even": "mean over all that carries",
    "shoulder": "highest on the shoulder blades",
    "spared": "highest on fat pockets, spine and loin",
    "steady": "rocks under 10 N·m",
}


def search_facts(setup: Setup, plan: Plan, found: Found) -> dict[str, Any]:
    """Return the search as the dict that `search.json` holds.

    Parameters
    ----------
    setup, plan, found : see `fitsim.study.search.search.search`.

    Returns
    -------
    dict
        Keys that hold a quantity name its unit; a score is a number without one.
    """
    space, care = setup.space, plan.care

    def one(trial: Trial) -> dict[str, Any]:
        return {"settings": settings_in_units(space, trial.values), **_goals(trial, care)}

    return {
        "schema": 1,
        "scan": {"name": setup.back.provenance.name, "sha256": setup.back.provenance.sha256},
        "tree": setup.tree.name,
        "seed": plan.seed,
        "care": dict(care),
        "trials": found.count,
        "limits": {
            f"{knob.word}_{_KEY[knob.kind][0]}": [
                knob.low * _KEY[knob.kind][1],
                knob.high * _KEY[knob.kind][1],
            ]
            for knob in space.knobs
        },
        "start": {**one(found.start), "worst_score": _finite(found.worst_start)},
        "answer": {**one(found.answer), "worst_score": _finite(found.worst_answer)},
        "best": one(found.best),
        "steps": None if found.stepped is None else one(found.stepped),
        "front": [one(trial) for trial in found.front],
        "matters": [
            {"setting": nudge.word, **_by(space, nudge.word, nudge.by), "cost": _finite(nudge.cost)}
            for nudge in found.nudges
        ],
        "plausible_backs": plan.backs,
        "cautions": list(CAUTIONS),
        "version": __version__,
    }


def write_search(setup: Setup, plan: Plan, found: Found, trials: list[Trial], folder: Path) -> None:
    """Write `search.json`, `tree.toml` and `trade-off.png`.

    Parameters
    ----------
    setup, plan, found : see `search_facts`.
    trials : all on the back as found.
    folder : made by the journal.
    """
    from fitsim.draw.trade_off import trade_off

    tree, _, _ = changed(setup, found.answer.values)
    scan = setup.back.provenance.name
    # Steps that the arches go in are lost where a tree is adjusted, and belong to the tree
    write_tree(_with_steps(setup, tree), folder / "tree.toml", f"Found for {scan} by a search.")
    write_text(folder / "search.json", as_json(search_facts(setup, plan, found)))
    with whole_file(folder / "trade-off.png") as draft:
        draft.write_bytes(trade_off(found, trials))


def search_lines(
    setup: Setup, plan: Plan, found: Found, folder: Path, file: str, *, system: System = "metric"
) -> list[str]:
    """Return what was found, what it gains, and what it hangs on, for the terminal.

    Parameters
    ----------
    setup, plan, found : see `search_facts`.
    folder, file : named in the last line.
    system : {"metric", "inch"}
    """
    space, start, answer = setup.space, found.start, found.answer
    lines = [f"{setup.tree.name} on {setup.back.provenance.name}: {found.count} trials", ""]
    lines += [f"  {'':24}{'start':>12}{'answer':>12}"]
    for knob in space.knobs:
        was, now = (
            setting_shown(space, knob.word, trial.values[knob.word], system)
            for trial in (start, answer)
        )
        lines.append(f"  {_words(knob.word):24}{was:>12}{now:>12}")
    lines += ["", *_goal_lines(start, answer, system), "", *_sure_lines(plan, found), ""]
    lines += [f"  {line}" for line in _matter_lines(space, found, system)]
    if found.stepped is not None:
        lines += ["", "The answer is the best of the arches' own steps."]
    at = answer.values.get("at", setup.at)
    lines += [
        "",
        f"See it: fitsim fit {file} --tree {folder / 'tree.toml'} --at {1e3 * at:.0f}",
        f"The trade-off is drawn in {folder / 'trade-off.png'}.",
        "",
        *CAUTIONS,
    ]
    return plain(lines)


def _goal_lines(start: Trial, answer: Trial, system: System) -> list[str]:
    """Every goal at the start and in the answer."""

    def said(trial: Trial, name: str) -> str:
        if trial.goals is None:
            return trial.why
        value = getattr(trial.goals, name)
        if name == "steady":
            return f"{math.degrees(10.0 * value):.2f} deg"
        return quantity(value, "pressure", system)

    if start.goals is None:
        return [f"  At the start the tree {start.why}."] + [
            f"  {words:38}{said(answer, name):>10}" for name, words in GOAL_WORDS.items()
        ]
    return [
        f"  {words:38}{said(start, name):>10}  ->{said(answer, name):>10}"
        for name, words in GOAL_WORDS.items()
    ]


def _sure_lines(plan: Plan, found: Found) -> list[str]:
    """How the answer holds where the back is not quite as found."""
    if found.start.goals is None:
        return ["The tree does not stay on at the start, and does with the answer."]
    own, first = (score_of(trial, plan.care) for trial in (found.answer, found.start))
    gain = percent(1.0 - own / first)
    lines = [f"By the score of docs/search.md it is {gain} better than the start."]
    if math.isinf(found.worst_answer):
        return [*lines, "On some plausible backs it does not stay on: do not rely on it."]
    if math.isfinite(found.worst_start):
        held = found.worst_answer < found.worst_start
        lines.append(
            f"On the worst of the plausible backs it is still "
            f"{percent(1.0 - found.worst_answer / found.worst_start)} better."
            if held
            else "On the worst of the plausible backs it is no better than the start: the gain "
            "cannot be told from what is not known of this back."
        )
    return lines


def _matter_lines(space: Space, found: Found, system: System) -> list[str]:
    lines = ["What it hangs on: moved alone, the wrong way,"]
    for nudge in found.nudges:
        by = setting_shown(space, nudge.word, nudge.by, system)
        cost = "the tree leaves" if math.isinf(nudge.cost) else f"costs {percent(nudge.cost)}"
        if nudge.cost < 0.02:  # noqa: PLR2004 - less than the search resolves
            cost = "makes no difference"
        lines.append(f"  {_words(nudge.word):20} by {by:>9}  {cost}")
    return lines


def _with_steps(setup: Setup, tree: Tree) -> Tree:
    """The tree with the steps that its arches go in."""
    settings, told = deepcopy(tree.settings), setup.tree.settings
    arches, own = settings["arches"], told["arches"]
    assert isinstance(arches, dict)  # noqa: S101 - TreeSettings says so
    assert isinstance(own, dict)  # noqa: S101 - TreeSettings says so
    for arch, key in product(("front", "rear"), ("spread_steps", "angle_steps")):
        if own[arch].get(key):
            arches[arch][key] = own[arch][key]
    return replace(tree, settings=settings)


def settings_in_units(space: Space, values: Mapping[str, float]) -> dict[str, float]:
    """Settings by word with their unit behind it."""
    return {
        f"{knob.word}_{_KEY[knob.kind][0]}": values[knob.word] * _KEY[knob.kind][1]
        for knob in space.knobs
    }


def _by(space: Space, word: str, by: float) -> dict[str, float]:
    kind = next(knob.kind for knob in space.knobs if knob.word == word)
    return {f"by_{_KEY[kind][0]}": by * _KEY[kind][1]}


def _goals(trial: Trial, care: Mapping[str, float]) -> dict[str, Any]:
    if trial.goals is None:
        return {"stays": False, "why": trial.why}
    goals = asdict(trial.goals)
    steady = math.degrees(10.0 * goals.pop("steady"))
    return {
        "stays": True,
        **{f"{name}_kpa": value * 1e-3 for name, value in goals.items()},
        "steady_deg_per_10_nm": steady,
        "score": score_of(trial, care),
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _words(word: str) -> str:
    return "place" if word == "at" else word.replace("-", " ")


def setting_shown(space: Space, word: str, value: float, system: System) -> str:
    """One setting as people read it."""
    kind = next(knob.kind for knob in space.knobs if knob.word == word)
    if kind == "angle":
        return f"{math.degrees(value):.1f} deg"
    return show_length(value, system) if kind == "length" else quantity(value, kind, system)
