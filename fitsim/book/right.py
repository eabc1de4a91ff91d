"""Was it right? What was predicted held against what was seen after work, over the whole book."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit
from scipy.stats import rankdata
from sqlalchemy import select

from fitsim.book.records import Fit, Seen

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sqlalchemy.orm import Session

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

TROUBLE = ("dry", "hot", "white hairs", "swelling", "sore")
"""Kinds of patch that a prediction of too much pressure would foresee."""

RULES: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "shoulder blades": ("scapula_peak", ("scapula",)),
    "fat pockets": ("fat_pocket_peak", ("fat_pocket",)),
    "spine": ("spine_peak", ("spine", "withers")),
}
"""By name: the number of a fit, and the zones in which trouble is then looked for."""

LITERATURE = (26.0e3, 7.0e3)
"""Pa: pressure at which trouble is as likely as not, and the logistic width of its likelihood.
Between the mean maxima at the walk under saddles of sound backs (13.4), of dry spots (30.6) and of
sores (38.9 kPa): von Peinen et al. 2010, doi:10.1111/j.2042-3306.2010.00191.x. The width is read
off the distance between them, no source."""
_SURE = (0.35, 0.5)  # spreads of the logarithms of both, before the book has spoken
ENOUGH = 20
"""Days seen, of which some with and some without trouble, before anything is said."""
_BINS, _RESAMPLED, _LEVEL = 5, 1000, 0.90


@dataclass(frozen=True)
class Reliability:
    """How often trouble was seen where it was given a likelihood.

    Attributes
    ----------
    foreseen : (b,) array, -, mean likelihood of the days in each bin.
    seen : (b,) array, -, share of them with trouble.
    days : (b,) int array.
    """

    foreseen: Array
    seen: Array
    days: NDArray[np.int_]


@dataclass(frozen=True)
class Right:
    """How one rule did.

    Attributes
    ----------
    rule : its name.
    days, troubled : days seen, and those of them with trouble there.
    auc : -, how often a troubled day had the higher number; 0.5 is a coin, None with too few days.
    auc_low, auc_high : -, nine resampled books in ten lie within.
    brier : -, mean squared distance of likelihood and what came; less is better.
    reliability : None with too few days.
    threshold, width : Pa, as `LITERATURE`, re-estimated from the book.
    moved : whether the book carries enough to move them.
    """

    rule: str
    days: int
    troubled: int
    auc: float | None
    auc_low: float | None
    auc_high: float | None
    brier: float | None
    reliability: Reliability | None
    threshold: float
    width: float
    moved: bool


def was_it_right(book: Session, seed: int = 1) -> tuple[Right, ...]:
    """Hold every rule against the book.

    Parameters
    ----------
    book : Session
    seed : int
        Of the resampling.

    Returns
    -------
    tuple of Right
    """
    found = []
    for rule, (number, zones) in RULES.items():
        pressure, trouble = _days(book, number, zones)
        found.append(judged(rule, pressure, trouble, seed))
    return tuple(found)


def _days(book: Session, number: str, zones: tuple[str, ...]) -> tuple[Array, Flags]:
    """Predicted pressure, Pa, and whether trouble was seen, of every day worked in a known fit."""
    pressure, trouble = [], []
    for seen, fit in book.execute(select(Seen, Fit).join(Fit, Seen.fit_id == Fit.id)):
        value = getattr(fit, number)
        if value is None:
            continue
        pressure.append(value)
        trouble.append(any(p.kind in TROUBLE and p.zone.startswith(zones) for p in seen.patches))
    return np.array(pressure, dtype=float), np.array(trouble, dtype=bool)


def judged(rule: str, pressure: Array, trouble: Flags, seed: int = 1) -> Right:
    """Hold one rule against days.

    Parameters
    ----------
    rule : str
    pressure : (n,) array, Pa
        Predicted.
    trouble : (n,) bool array
        Seen.
    seed : int

    Returns
    -------
    Right
    """
    days, troubled = len(pressure), int(trouble.sum())
    if days < ENOUGH or troubled in {0, days}:
        return Right(rule, days, troubled, None, None, None, None, None, *LITERATURE, moved=False)
    rng = np.random.default_rng(seed)
    picks = rng.integers(0, days, (_RESAMPLED, days))
    resampled = [area_under_curve(pressure[p], trouble[p]) for p in picks]
    low, high = np.nanquantile(resampled, [0.5 - _LEVEL / 2, 0.5 + _LEVEL / 2])
    threshold, width = estimated(pressure, trouble)
    likelihood = expit((pressure - threshold) / width)
    return Right(
        rule=rule,
        days=days,
        troubled=troubled,
        auc=area_under_curve(pressure, trouble),
        auc_low=float(low),
        auc_high=float(high),
        brier=float(np.mean((likelihood - trouble) ** 2)),
        reliability=_reliability(likelihood, trouble),
        threshold=threshold,
        width=width,
        moved=True,
    )


def area_under_curve(number: Array, trouble: Flags) -> float:
    """How often a troubled day had the higher number; ties count half, nan where all are alike.

    Notes
    -----
    The Mann-Whitney statistic over the number of pairs (Hanley, McNeil 1982,
    doi:10.1148/radiology.143.1.7063747).

    Examples
    --------
    >>> area_under_curve(np.array([1.0, 2.0, 3.0, 4.0]), np.array([False, True, False, True]))
    0.75
    """
    yes, no = int(trouble.sum()), int((~trouble).sum())
    if not yes or not no:
        return float("nan")
    ranks = rankdata(number)
    return float((ranks[trouble].sum() - yes * (yes + 1) / 2) / (yes * no))


def estimated(pressure: Array, trouble: Flags) -> tuple[float, float]:
    """Threshold and width, Pa, that the days make likeliest, drawn towards the literature.

    Parameters
    ----------
    pressure : (n,) array, Pa
    trouble : (n,) bool array

    Returns
    -------
    threshold, width : float, Pa
        Of a logistic curve. With few days they stay near `LITERATURE`.
    """
    before = np.log(LITERATURE)

    def unlikely(logs: Array) -> float:
        threshold, width = np.exp(logs)
        away = (pressure - threshold) / width
        fit = np.logaddexp(0.0, np.where(trouble, -away, away)).sum()
        return float(fit + 0.5 * (((logs - before) / _SURE) ** 2).sum())

    threshold, width = np.exp(minimize(unlikely, before, method="Nelder-Mead").x)
    return float(threshold), float(width)


def _reliability(likelihood: Array, trouble: Flags) -> Reliability:
    """Days in bins of as many each, by rising likelihood."""
    parts = np.array_split(np.argsort(likelihood, kind="stable"), _BINS)
    return Reliability(
        foreseen=np.array([likelihood[part].mean() for part in parts]),
        seen=np.array([trouble[part].mean() for part in parts]),
        days=np.array([len(part) for part in parts]),
    )


def right_lines(found: tuple[Right, ...]) -> list[str]:
    """Return how every rule did, for the terminal.

    Parameters
    ----------
    found : tuple of Right
    """
    lines = []
    for one in found:
        lines.append(f"{one.rule}: {one.days} days seen, {one.troubled} with trouble there")
        if one.auc is None or one.reliability is None or one.brier is None:
            lines.append(f"  Too few to say: at least {ENOUGH} days, some with and some without.")
            continue
        told = f"{one.auc:.0%} of the time ({one.auc_low:.0%} to {one.auc_high:.0%})"
        now, before = one.threshold / 1e3, LITERATURE[0] / 1e3
        lines += [
            f"  A day with trouble had the higher prediction {told}; 50 % is a coin.",
            f"  Mean squared error of the likelihood (Brier score): {one.brier:.2f}.",
            f"  By this book trouble is as likely as not at {now:.0f} kPa, before it {before:.0f}.",
            "  foreseen   seen   days",
            *(
                f"  {a:8.0%} {b:6.0%} {n:6d}"
                for a, b, n in zip(
                    one.reliability.foreseen,
                    one.reliability.seen,
                    one.reliability.days,
                    strict=True,
                )
            ),
        ]
    return lines
