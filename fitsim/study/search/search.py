"""The settings of a tree that fit one back best, what they gain, and what they hang on."""

from __future__ import annotations

from dataclasses import astuple, dataclass, field, replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.back.plausible import plausible_back, standard_draws
from fitsim.contact.foundation import build_foundation
from fitsim.errors import NoEquilibrium
from fitsim.study.search.goals import GOALS
from fitsim.study.search.optimum import descend
from fitsim.study.search.trial import Setup, Trial, score_of, tried
from fitsim.study.workers import workers

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from fitsim.back.back import Back
    from fitsim.study.search.journal import Journal

Array = NDArray[np.float64]
Task = tuple[int, dict[str, float]]
_Hashed = tuple[int, tuple[tuple[str, float], ...]]

_REACH, _NEAR_REACH = 0.25, 0.12  # of the range, of a first and of a later descent
_CARE_MORE = 16.0  # a goal's weight while the trade-off towards it is looked for
_FINALISTS, _APART = 4, 0.08  # of the range, in the setting that differs most
_NUDGE = 0.1  # of the range, to see what hangs on a setting


@dataclass(frozen=True)
class Plan:
    """How to search.

    Attributes
    ----------
    trials : of the main descent, at most; what follows it takes about two thirds as many again.
    seed : the same seed gives the same answer.
    backs : plausible backs on which the finalists are tried.
    care : weight of each goal by name; 1 where not given.
    """

    trials: int = 216
    seed: int = 1
    backs: int = 8
    care: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Nudge:
    """What moving one setting alone does.

    Attributes
    ----------
    word : of the setting.
    by : SI, how far it was moved either way.
    cost : -, share by which the score grew, the worse way; inf where the tree then leaves.
    """

    word: str
    by: float
    cost: float


@dataclass(frozen=True)
class Found:
    """What a search found.

    Attributes
    ----------
    start, best, answer : the first on the back as found, the one of least score there, and the
        finalist that does best where the back is off.
    worst_start, worst_answer : -, their highest score on the plausible backs; inf where they leave.
    stepped : the best that the arches' own steps allow, None where they do not go in steps.
    front : trials of which none is better in every goal, by rising pressure.
    nudges : by falling cost.
    count : trials made in all.
    """

    start: Trial
    best: Trial
    answer: Trial
    worst_start: float
    worst_answer: float
    stepped: Trial | None
    front: tuple[Trial, ...]
    nudges: tuple[Nudge, ...]
    count: int


def search(
    setup: Setup,
    plan: Plan,
    journal: Journal,
    say: Callable[[str, int], None] = lambda _words, _count: None,
    processes: int | None = None,
) -> Found:
    """Search the settings of a tree on one back.

    Parameters
    ----------
    setup : Setup
    plan : Plan
    journal : Journal
        Trials that it knows are not made again: a search that was stopped ends as it would have.
    say : callable, optional
        Told what is being done and how many trials there are so far.
    processes : int, optional
        One for each core where not given; the answer does not hang on it.

    Returns
    -------
    Found

    Raises
    ------
    NoEquilibrium
        The tree stays on with no setting that was tried.
    """
    setups = (setup, *_plausible(setup, plan))
    with workers(_work, setups, processes) as run:
        trials = _Trials(setup, plan, journal, run, say)
        return _searched(trials, len(setups) - 1)


def _plausible(setup: Setup, plan: Plan) -> Iterator[Setup]:
    for draw in standard_draws(plan.backs, plan.seed):
        back: Back = plausible_back(setup.back, draw)
        yield replace(setup, back=back, foundation=build_foundation(back.chart, back.tissue))


def _work(setups: Sequence[Setup], task: Task) -> Trial:
    return tried(setups[task[0]], task[1])


@dataclass
class _Trials:
    """Trials asked for by their values, made where the journal does not know them.

    What the journal knows beyond what was asked for in this run counts for nothing: a search that
    goes on must go the way it would have gone.
    """

    setup: Setup
    plan: Plan
    journal: Journal
    run: Callable[[Sequence[Task]], Iterator[Trial]]
    say: Callable[[str, int], None]
    doing: str = ""
    asked: dict[_Hashed, Trial] = field(default_factory=dict)

    def of(self, tasks: Sequence[Task]) -> list[Trial]:
        new = [task for task in dict.fromkeys(map(_hashed, tasks)) if not self._known(task)]
        for (on, _), trial in zip(new, self.run([(on, dict(v)) for on, v in new]), strict=True):
            self.journal.keep(on, trial)
            self.say(self.doing, len(self.journal))
        for on, values in tasks:
            known = self.journal.find(on, values)
            assert known is not None  # noqa: S101 - kept above
            self.asked[_hashed((on, values))] = known
        return [self.asked[_hashed(task)] for task in tasks]

    def here(self) -> list[Trial]:
        """All trials asked for on the back as found, in their order."""
        return [trial for (on, _), trial in self.asked.items() if on == 0]

    def score(self, trial: Trial, care: Mapping[str, float] | None = None) -> float:
        return score_of(trial, self.plan.care if care is None else care)

    def descend(self, start: Trial, budget: int, reach: float, care: Mapping[str, float]) -> None:
        space = self.setup.space

        def scores(points: Array) -> Array:
            trials = self.of([(0, space.values(point)) for point in points])
            return np.array([self.score(trial, care) for trial in trials])

        descend(scores, space.unit(start.values), budget, self.plan.seed, reach)

    def best(self) -> Trial:
        return min(self.here(), key=self.score)

    def _known(self, task: _Hashed) -> bool:
        return self.journal.find(task[0], dict(task[1])) is not None


def _hashed(task: Task) -> _Hashed:
    return task[0], tuple(task[1].items())


def _searched(trials: _Trials, backs: int) -> Found:
    care, space = trials.plan.care, trials.setup.space
    trials.doing = "looking for the best setting"
    (start,) = trials.of([(0, dict(space.start))])
    trials.descend(start, trials.plan.trials, _REACH, care)
    trials.doing = "looking at what each goal costs the others"
    for goal in GOALS:
        more = {name: care.get(name, 1.0) * (_CARE_MORE if name == goal else 1.0) for name in GOALS}
        trials.descend(trials.best(), trials.plan.trials // 9, _NEAR_REACH, more)
    best = trials.best()
    if best.goals is None:
        raise NoEquilibrium(
            trials.setup.tree.name,
            f"stays on the back with none of {len(trials.asked)} settings ({best.why})",
            "widen the limits, or choose another tree or other cinches",
        )
    trials.doing = "trying the steps of the arches"
    stepped = _stepped(trials, best)
    trials.doing = "trying the best where the back is off"
    finalists = _finalists(trials, stepped)
    worst = [_worst(trials, trial, backs) for trial in (start, *finalists)]
    answer = finalists[int(np.argmin(worst[1:]))] if stepped is None else stepped
    trials.doing = "looking at what hangs on each setting"
    nudges = _nudges(trials, answer)
    return Found(
        start=start,
        best=trials.best(),  # what was tried since may be better
        answer=answer,
        worst_start=worst[0],
        worst_answer=worst[1:][finalists.index(answer)],
        stepped=stepped,
        front=_front(trials.here()),
        nudges=nudges,
        count=len(trials.asked),
    )


def _stepped(trials: _Trials, best: Trial) -> Trial | None:
    """The best setting of the arches' own steps next to the best of all."""
    steps = trials.setup.space.steps
    if not steps:
        return None
    choices = []
    for word, value in best.values.items():
        nearest = sorted(steps.get(word, (value,)), key=lambda step: abs(step - value))
        choices.append([(word, step) for step in nearest[:2]])
    found = trials.of([(0, dict(choice)) for choice in product(*choices)])
    return min(found, key=trials.score)


def _finalists(trials: _Trials, stepped: Trial | None) -> list[Trial]:
    """The best few that differ from each other, with the one that can be set."""
    space = trials.setup.space
    chosen = [] if stepped is None else [stepped]
    for trial in sorted(trials.here(), key=trials.score):
        if len(chosen) >= _FINALISTS or trial.goals is None:
            break
        here = space.unit(trial.values)
        if all(np.abs(here - space.unit(other.values)).max() > _APART for other in chosen):
            chosen.append(trial)
    return chosen


def _worst(trials: _Trials, trial: Trial, backs: int) -> float:
    tasks = [(back, dict(trial.values)) for back in range(1, backs + 1)]
    return max([trials.score(one) for one in (trial, *trials.of(tasks))])


def _nudges(trials: _Trials, answer: Trial) -> tuple[Nudge, ...]:
    """Move each setting alone, both ways, and see what it costs."""
    space, base = trials.setup.space, trials.score(answer)
    found = []
    for knob in space.knobs:
        by = _NUDGE * (knob.high - knob.low)
        tasks = []
        for way in (-by, by):
            value = float(np.clip(answer.values[knob.word] + way, knob.low, knob.high))
            tasks.append((0, {**answer.values, knob.word: round(value, 6)}))
        worse = max(trials.score(trial) for trial in trials.of(tasks))
        found.append(Nudge(knob.word, by, worse / base - 1.0))
    return tuple(sorted(found, key=lambda nudge: -nudge.cost))


def _front(trials: Sequence[Trial]) -> tuple[Trial, ...]:
    """Trials of which no other is at least as good in every goal and better in one."""
    done = [(trial, np.array(astuple(trial.goals))) for trial in trials if trial.goals is not None]
    goals = np.array([one for _, one in done])
    front = [
        trial
        for trial, own in done
        if not ((goals <= own).all(axis=1) & (goals < own).any(axis=1)).any()
    ]
    return tuple(sorted(front, key=lambda t: t.goals.pressure if t.goals else 0.0))
