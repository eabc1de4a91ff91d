"""One tree for many animals: which settings serve most of them, and how many sizes are needed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array, eye_array, hstack
from scipy.stats import qmc

from fitsim.study.search.trial import score_of, tried
from fitsim.study.workers import workers

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from fitsim.back.back import Back
    from fitsim.study.search.trial import Setup, Trial

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

SLACK = 0.15
"""-: a size serves an animal if its score is within this share of the best size there is for it."""

_BESIDE = (0.045, 0.110)  # m from the spine: the strip that a bar lies on
_ARCHES = (-0.09, -0.43)  # m behind the blade: where arches usually stand
_FREE = 1e-3  # of a size: what a better score is worth where as few sizes do


@dataclass(frozen=True)
class Shape:
    """A back in four numbers that a builder thinks in.

    Attributes
    ----------
    front_angle, rear_angle : rad, slope of the back under the front and rear of a bar, mean of
        both sides.
    hollow : m, how far the back dips below the straight line between them, under a bar.
    withers_height : m.
    """

    front_angle: float
    rear_angle: float
    hollow: float
    withers_height: float


@dataclass(frozen=True)
class Sizes:
    """How sizes serve animals.

    Attributes
    ----------
    names : of the animals.
    shapes : of their backs.
    tried : c sizes, SI value by word.
    scores : (a, c) array, -, score of each size on each animal; inf where it does not stay on.
    served : (a, c) bool array, whether the size serves the animal.
    one : index of the size that serves most.
    chosen : indices of the fewest sizes that serve the share asked for.
    """

    names: tuple[str, ...]
    shapes: tuple[Shape, ...]
    tried: tuple[Mapping[str, float], ...]
    scores: Array
    served: Flags
    one: int
    chosen: tuple[int, ...]

    def left_out(self, sizes: Sequence[int]) -> tuple[str, ...]:
        """Names of the animals that none of these sizes serves."""
        served = np.atleast_1d(self.served[:, list(sizes)].any(axis=1))
        return tuple(name for name, has in zip(self.names, served, strict=True) if not has)


def sizes_for(
    setups: Mapping[str, Setup],
    *,
    count: int = 64,
    share: float = 0.95,
    seed: int = 1,
    say: Callable[[str, int], None] = lambda _words, _count: None,
    processes: int | None = None,
) -> Sizes:
    """Try sizes of one tree on many animals, and choose.

    Parameters
    ----------
    setups : mapping
        One for each animal by name, all with the same tree and space.
    count : int
        Sizes tried, spread evenly over the space, the tree as it stands among them.
    share : float, -
        Of the animals that are to be served.
    seed : int
    say : callable, optional
        Told what is being done and how many trials there are.
    processes : int, optional
        One for each core where not given.

    Returns
    -------
    Sizes
    """
    all_setups = tuple(setups.values())
    space = all_setups[0].space
    spread = qmc.Sobol(len(space.knobs), rng=np.random.default_rng(seed)).random_base2(
        int(np.ceil(np.log2(count)))
    )
    settings = (dict(space.start), *(space.values(one) for one in spread[: count - 1]))
    tasks = [(animal, values) for animal in range(len(all_setups)) for values in settings]
    scores = np.empty(len(tasks))
    with workers(_work, all_setups, processes) as run:
        for k, trial in enumerate(run(tasks)):
            scores[k] = score_of(trial)
            say("trying sizes", k + 1)
    table = scores.reshape(len(all_setups), len(settings))
    served = serves(table)
    return Sizes(
        names=tuple(setups),
        shapes=tuple(shape_of(setup.back) for setup in all_setups),
        tried=settings,
        scores=table,
        served=served,
        one=_serving_most(table, served),
        chosen=fewest(table, served, share),
    )


def _work(setups: Sequence[Setup], task: tuple[int, Mapping[str, float]]) -> Trial:
    return tried(setups[task[0]], task[1])


def serves(scores: Array) -> Flags:
    """Which size serves which animal.

    Parameters
    ----------
    scores : (a, c) array, -

    Returns
    -------
    (a, c) bool array
        Within `SLACK` of the best there is for the animal, and staying on.
    """
    best = scores.min(axis=1, keepdims=True)
    return np.asarray(np.isfinite(scores) & (scores <= (1.0 + SLACK) * best))


def fewest(scores: Array, served: Flags, share: float) -> tuple[int, ...]:
    """The fewest sizes that serve a share of the animals; of as few, those of better score.

    Parameters
    ----------
    scores, served : (a, c) arrays
    share : float, -
        Of the animals that some size serves at all.

    Returns
    -------
    tuple of int
        Ascending.

    Notes
    -----
    A maximum cover as an integer programme: one unknown for each size, bought or not, and one for
    each kind of animal, served or not; animals that the same sizes serve are one kind, so that a
    hundred thousand take no more than a few hundred. Exact, unlike buying the size that adds most,
    again and again.

    Examples
    --------
    >>> table = np.array([[1.0, 9.0, 1.1], [9.0, 1.0, 1.1], [1.0, 9.0, 9.0]])
    >>> fewest(table, serves(table), 1.0)
    (0, 1)
    """
    kinds, of_kind = np.unique(served, axis=0, return_counts=True)
    animals, sizes = kinds.shape
    wanted = int(np.ceil(share * served.any(axis=1).sum() - 1e-9))
    worth = np.where(served, scores, 0.0).sum(axis=0) / np.maximum(served.sum(axis=0), 1)
    worth = _FREE * worth / max(float(worth.max()) * sizes, 1.0)
    cost = np.concatenate([1.0 + worth, np.zeros(animals)])
    # an animal counts as served only if a size that serves it is bought
    covered = hstack([csr_array(kinds.astype(float)), -eye_array(animals)])
    enough = np.concatenate([np.zeros(sizes), of_kind.astype(float)])[None]
    answer = milp(
        cost,
        integrality=np.ones(sizes + animals),
        bounds=Bounds(0.0, 1.0),
        constraints=[LinearConstraint(covered, lb=0.0), LinearConstraint(enough, lb=wanted)],
    )
    assert answer.x is not None  # noqa: S101 - buying every size serves all that can be served
    return tuple(int(k) for k in np.flatnonzero(answer.x[:sizes] > 0.5))  # noqa: PLR2004 - 0 or 1


def _serving_most(scores: Array, served: Flags) -> int:
    """The size that serves most; of as many, the one of better mean score there."""
    count = served.sum(axis=0)
    mean = np.where(served, scores, 0.0).sum(axis=0) / np.maximum(count, 1)
    return int(np.lexsort((mean, -count))[0])


def shape_of(back: Back) -> Shape:
    """The four numbers of a back.

    Parameters
    ----------
    back : Back

    Returns
    -------
    Shape
    """
    chart, scale = back.chart, back.withers_height / 1.5
    beside = [(s * chart.t > _BESIDE[0]) & (s * chart.t < _BESIDE[1]) for s in (1.0, -1.0)]

    def angle(x: float) -> float:
        row = int(np.abs(chart.x - x * scale).argmin())
        normal = [chart.normals[row, side][chart.valid[row, side]].mean(axis=0) for side in beside]
        return float(np.mean([np.arctan2(abs(one[1]), one[2]) for one in normal]))

    under = chart.valid & (beside[0] | beside[1])[None, :]
    rows = (chart.x >= _ARCHES[1] * scale) & (chart.x <= _ARCHES[0] * scale) & under.any(axis=1)
    z = np.array([chart.points[row, under[row], 2].mean() for row in np.flatnonzero(rows)])
    line = np.linspace(z[0], z[-1], len(z))
    return Shape(angle(_ARCHES[0]), angle(_ARCHES[1]), float((line - z).max()), back.withers_height)


def setups_of(first: Setup, backs: Mapping[str, Back]) -> dict[str, Setup]:
    """The same tree and rig on every back.

    Parameters
    ----------
    first : Setup
        On any of them.
    backs : mapping of name to Back

    Returns
    -------
    dict of name to Setup
    """
    from fitsim.contact.foundation import build_foundation

    return {
        name: replace(first, back=back, foundation=build_foundation(back.chart, back.tissue))
        for name, back in backs.items()
    }
