"""How sure a fit's numbers are: the same fit on many plausible backs, pads, rigs and scans."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from threadpoolctl import threadpool_limits

from fitsim.back.plausible import plausible_back, standard_draws, unknowns
from fitsim.contact.foundation import build_foundation
from fitsim.contact.problem import prepare
from fitsim.contact.solve import solve
from fitsim.measure.measured import measured
from fitsim.rig.cases import cases_for
from fitsim.study.workers import workers

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from fitsim.back.back import Back
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.problem import Problem
    from fitsim.measure.measures import Measures
    from fitsim.rig.case import Case, Pad
    from fitsim.rig.load import Load
    from fitsim.rig.rig import Cinch, Rig
    from fitsim.study.fit import FitSet
    from fitsim.tree.tree import Tree

Array = NDArray[np.float64]

TENSION_SPREAD = 0.20
"""Of the logarithm of a cinch's tension: nobody pulls it alike twice (chosen; in single girths what
was meant and what was pulled differed little, doi:10.1017/S1755254011000055)."""
PAD_SPREAD = 0.47
"""Of the logarithm of a pad's stiffness: a factor of 1.6."""
FRICTION_SPREAD = 0.22
"""Of the logarithm of friction: 0.25 to 0.6 about 0.4 is two standard deviations either way."""
NOISE, NOISE_WAVE = 0.0015, 0.03
"""m, height and length of the waves that a scan's noise leaves on its surface (from memory)."""

OTHER_UNKNOWNS = ("front cinch", "rear cinch", "pad stiffness", "friction")
COAT = "coat"
"""Drawn besides where a coat was told, apart from the rest, which stay the same with or without."""
_ENOUGH = 3  # plausible backs for each unknown, to say what a spread hangs on
LEVEL = 0.90
"""Of the intervals: nine plausible backs in ten lie within."""


_ZONES = frozenset(
    ("spine", "scapula_left", "scapula_right", "fat_pocket_left", "fat_pocket_right")
)
"""Those that a headline is about."""


def _zone_peak(kind: str) -> Callable[[Measures], float]:
    return lambda m: max(m.zones[f"{kind}_left"].peak, m.zones[f"{kind}_right"].peak)


def _zone_share(kind: str) -> Callable[[Measures], float]:
    def share(m: Measures) -> float:
        on = m.zones[f"{kind}_left"].force + m.zones[f"{kind}_right"].force
        return on / m.normal_force if m.normal_force > 0.0 else 0.0

    return share


def _tips(end: str) -> Callable[[Measures], float]:
    return lambda m: max(m.lift[f"{end}_left"], m.lift[f"{end}_right"])


HEADLINES: Mapping[str, Callable[[Measures], float]] = {
    "peak": lambda m: m.peak,
    "mean": lambda m: m.mean,
    "scapula_peak": _zone_peak("scapula"),
    "fat_pocket_peak": _zone_peak("fat_pocket"),
    "spine_peak": lambda m: m.zones["spine"].peak,
    "area": lambda m: m.area,
    "front_share": lambda m: m.share["front"],
    "middle_share": lambda m: m.share["middle"],
    "rear_share": lambda m: m.share["rear"],
    "scapula_share": _zone_share("scapula"),
    "fat_pocket_share": _zone_share("fat_pocket"),
    "front_lift": _tips("front"),
    "rear_lift": _tips("rear"),
}
"""SI, by name: pressures Pa, area m2, shares -, lifts m (the higher tip of either side)."""


@dataclass(frozen=True)
class Trial:
    """What stays the same on every plausible back.

    Attributes
    ----------
    back, pad, rig, load : as found and told.
    trees : in the order of the results.
    poses : (4, 4) arrays, where each tree was laid on the back as found.
    rests : for each tree, where it rests on the back as found by case name: neighbours from which
        plausible backs are solved in fewer steps. Without them the answers take longer.
    """

    back: Back
    pad: Pad
    rig: Rig
    load: Load
    trees: tuple[Tree, ...]
    poses: tuple[Array, ...]
    rests: tuple[Mapping[str, Equilibrium], ...] = ()

    @cached_property
    def problems(self) -> tuple[Problem, ...]:
        """Each tree laid on the back as found."""
        ground = build_foundation(self.back.chart, self.back.tissue)
        return tuple(
            prepare(ground, tree, self.pad, pose)
            for tree, pose in zip(self.trees, self.poses, strict=True)
        )


@dataclass(frozen=True)
class Samples:
    """Headline numbers on every plausible back.

    Attributes
    ----------
    draws : (n, d) array, -, in standard deviations, a row for each plausible back.
    unknowns : d names.
    cases : c names.
    values : (n, t, c, h) array, SI: back, tree, case, headline (in the order of `HEADLINES`); nan
        where that tree does not stay on.
    """

    draws: Array
    unknowns: tuple[str, ...]
    cases: tuple[str, ...]
    values: Array

    def of(self, tree: int, case: str, headline: str) -> Array:
        """(n,) array, one number on every plausible back."""
        place = list(HEADLINES).index(headline)
        return np.asarray(self.values[:, tree, self.cases.index(case), place])

    def stays(self, tree: int, case: str) -> float:
        """Share of the plausible backs on which a tree stays on."""
        return float(np.isfinite(self.of(tree, case, next(iter(HEADLINES)))).mean())


@dataclass(frozen=True)
class Interval:
    """Where a number lies on nine plausible backs in ten: low, middle (median) and high, SI."""

    low: float
    middle: float
    high: float


def sampled(
    trial: Trial,
    count: int = 200,
    seed: int = 1,
    say: Callable[[str, int], None] = lambda _words, _count: None,
    processes: int | None = None,
) -> Samples:
    """Solve every case of every tree on plausible backs.

    Parameters
    ----------
    trial : Trial
    count : int
        Plausible backs.
    seed : int
        The same seed draws the same backs, and every tree is tried on the same ones, so that what
        they have in common does not blur how they differ.
    say : callable, optional
        Told what is being done and how many backs are done.
    processes : int, optional
        One for each core where not given; the numbers do not hang on it.

    Returns
    -------
    Samples
    """
    names = (*unknowns(), *OTHER_UNKNOWNS)
    draws = standard_draws(count, seed, more=len(OTHER_UNKNOWNS))
    if trial.back.coat is not None and trial.back.coat.sd:
        names, draws = (*names, COAT), np.column_stack([draws, _coats(count, seed)])
    tasks = [(number, draw, seed) for number, draw in enumerate(draws)]
    rows = []
    with workers(_on_one, trial, processes) as run:
        for row in run(tasks):
            rows.append(row)
            say("trying plausible backs", len(rows))
    cases = tuple(case.name for case in _cases(trial, 0, trial.rig))
    return Samples(draws, names, cases, np.array(rows))


def _on_one(trial: Trial, task: tuple[int, Array, int]) -> Array:
    """(t, c, h) headline numbers on one plausible back."""
    number, draw, seed = task
    own = len(unknowns())
    other = dict(zip((*OTHER_UNKNOWNS, COAT), draw[own:], strict=False))
    rng = np.random.default_rng([seed, number])
    back = _rescanned(plausible_back(trial.back, draw[:own]), rng, other.get(COAT, 0.0))
    foundation = build_foundation(back.chart, back.tissue)
    pad = replace(
        trial.pad,
        p25=trial.pad.p25 * np.exp(PAD_SPREAD * other["pad stiffness"]),
        friction=trial.pad.friction * np.exp(FRICTION_SPREAD * other["friction"]),
    )
    rig = replace(
        trial.rig,
        front=_pulled(trial.rig.front, other["front cinch"]),
        rear=_pulled(trial.rig.rear, other["rear cinch"]),
    )
    found = []
    with threadpool_limits(limits=1, user_api="blas"):
        for which, tree in enumerate(trial.trees):
            problem = trial.problems[which].over(foundation, pad)
            near = trial.rests[which] if trial.rests else {}
            found.append(
                [
                    _headlines(
                        back, tree, case, solve(problem, case, near.get(case.name), sample=True)
                    )
                    for case in _cases(trial, which, rig)
                ]
            )
    return np.array(found)


def rests_of(fitset: FitSet) -> Mapping[str, Equilibrium]:
    """Where a fit's tree rests, by case name, for `Trial`; none by another model than the fast."""
    if fitset.model != "fast":
        return {}
    return {name: fit.equilibrium for name, fit in fitset.fits.items() if fit.equilibrium.found}


def _cases(trial: Trial, which: int, rig: Rig) -> tuple[Case, ...]:
    return cases_for(trial.back, trial.trees[which], trial.poses[which], rig, trial.load)


def _headlines(back: Back, tree: Tree, case: Case, rest: Equilibrium) -> list[float]:
    if not rest.found:
        return [float("nan")] * len(HEADLINES)
    found = measured(back, tree, case, rest, only=_ZONES)
    return [float(of(found)) for of in HEADLINES.values()]


def _pulled(cinch: Cinch, deviations: float) -> Cinch:
    """The cinch as tight as it might have been pulled."""
    factor = float(np.exp(TENSION_SPREAD * deviations))
    return replace(
        cinch,
        tension_left=cinch.tension_left * factor,
        tension_right=cinch.tension_right * factor,
    )


def _coats(count: int, seed: int) -> Array:
    """Standard normal draws of how far off the allowance for a coat is, spread evenly, (count,)."""
    from scipy.stats import norm

    rng = np.random.default_rng([seed, len(COAT)])
    return np.asarray(norm.ppf((rng.permutation(count) + rng.random(count)) / count))


def _rescanned(back: Back, rng: np.random.Generator, hair: float = 0.0) -> Back:
    """The back as another scan of it might have come out, its coat off by so many deviations."""
    chart, coat = back.chart, back.coat
    noise, off = (NOISE, 0.0) if coat is None else (np.hypot(NOISE, coat.waves), hair * coat.sd)
    wave = gaussian_filter(
        rng.standard_normal(chart.valid.shape), NOISE_WAVE / chart.spacing, mode="wrap"
    )
    height = noise * wave / wave.std() + off
    points = chart.points + height[..., None] * chart.normals
    return replace(back, chart=replace(chart, points=points))


def interval(values: Array) -> Interval | None:
    """Where nine in ten lie, of those on which the tree stays; None where it stays on on none.

    Parameters
    ----------
    values : (n,) array, SI; nan where it does not stay.

    Returns
    -------
    Interval or None

    Examples
    --------
    >>> found = interval(np.linspace(0.0, 100.0, 101))
    >>> round(found.low, 6), found.middle, found.high
    (5.0, 50.0, 95.0)
    """
    known = values[np.isfinite(values)]
    if len(known) == 0:
        return None
    tail = 0.5 * (1.0 - LEVEL)
    low, middle, high = np.quantile(known, [tail, 0.5, 1.0 - tail])
    return Interval(float(low), float(middle), float(high))


def less_often(first: Array, second: Array) -> float:
    """Share of the plausible backs on which one tree has less of something than another.

    Parameters
    ----------
    first, second : (n,) arrays
        The same number of both trees on the same backs; nan where one does not stay on, which
        counts as more. Ties count half.

    Returns
    -------
    float, -

    Examples
    --------
    >>> less_often(np.array([1.0, 2.0, 3.0]), np.array([2.0, 2.0, np.nan]))
    0.833...
    """
    one, other = (np.where(np.isfinite(v), v, np.inf) for v in (first, second))
    return float(np.mean((one < other) + 0.5 * (one == other)))


def hangs_on(samples: Samples, values: Array) -> dict[str, float]:
    """How much of a number's spread each unknown makes.

    Parameters
    ----------
    samples : Samples
    values : (n,) array
        One number on every plausible back.

    Returns
    -------
    dict of float, -
        Shares by unknown, largest first; what they leave of 1 is made by none alone.

    Notes
    -----
    Squared rank correlations: the draws are independent, so that they nearly add up to the share
    of the spread that single unknowns make, each in one direction. Nothing is said from few backs.
    """
    from scipy.stats import rankdata

    known = np.isfinite(values)
    if known.sum() < _ENOUGH * len(samples.unknowns) or np.ptp(values[known]) == 0.0:
        return {}
    target = rankdata(values[known])
    shares = {
        name: float(np.corrcoef(rankdata(column), target)[0, 1] ** 2)
        for name, column in zip(samples.unknowns, samples.draws[known].T, strict=True)
    }
    return dict(sorted(shares.items(), key=lambda item: -item[1]))
