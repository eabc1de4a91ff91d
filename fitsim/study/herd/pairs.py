"""All trees on one scan, as a worker does them: the scan is read once."""

from __future__ import annotations

import platform
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from threadpoolctl import threadpool_limits

from fitsim.errors import FitsimError, WorkersLost
from fitsim.study.herd.kept import Row

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from fitsim.back.back import Back
    from fitsim.back.motion.kinematics import Kinematics
    from fitsim.contact.foundation import Foundation
    from fitsim.study.fit import FitSet
    from fitsim.study.herd.plan import Pair
    from fitsim.study.job import Job


class Judged(Protocol):
    """What a judge says of a fit; see `fitsim.report.verdict.Verdict`."""

    @property
    def word(self) -> str:
        """The short of it."""

    @property
    def faults(self) -> tuple[str, ...]:
        """Names of the rules broken."""


def rows_of(pairs: Sequence[Pair], judge: Callable[[FitSet], Judged]) -> list[Row]:
    """Try trees on one scan.

    Parameters
    ----------
    pairs : of one scan, at least one.
    judge : callable
        A module's function, for it is sent to other processes.

    Returns
    -------
    list of Row
        One for each pair, in order. What cannot be read or built has its `fault`.

    Raises
    ------
    WorkersLost
        When this machine does not see a file: no fault of the animal's, to be kept with it.
    """
    from fitsim.back.motion.gait import read_gait
    from fitsim.back.motion.kinematics import kinematics
    from fitsim.contact.foundation import build_foundation
    from fitsim.study.job import read_back

    for pair in pairs:
        _require_files(pair.job)
    try:
        _, back = read_back(pairs[0].job.scan)
    except FitsimError as fault:
        return [_failed(pair, fault) for pair in pairs]
    foundation = build_foundation(back.chart, back.tissue)
    moving = kinematics(back, read_gait("walk"))
    return [_row(pair, back, foundation, moving, judge) for pair in pairs]


def _require_files(job: Job) -> None:
    for name in (job.scan.path, job.tree, job.rig, job.pad, job.load):
        if name is not None and Path(name).is_absolute() and not Path(name).exists():
            fault = f"the machine that was to read it ({platform.node()}) does not see it"
            raise WorkersLost(str(name), fault, "give it to all machines under the same name")


def _row(
    pair: Pair,
    back: Back,
    foundation: Foundation,
    moving: Kinematics,
    judge: Callable[[FitSet], Judged],
) -> Row:
    try:
        fitset = _fitted(pair.job, back, foundation)
    except FitsimError as fault:
        return _failed(pair, fault)
    judged = judge(fitset)
    row = Row(pair.key, pair.animal, pair.tree, judged.word, ",".join(judged.faults))
    working = list(fitset.fits.values())[-1].measures
    if working is None:
        return row
    return Row(
        row.key, row.animal, row.tree, row.word, row.faults,
        score=_score(fitset, moving), peak_pa=float(working.peak), mean_pa=float(working.mean),
        area_m2=float(working.area),
    )  # fmt: skip


def _fitted(job: Job, back: Back, foundation: Foundation) -> FitSet:
    from fitsim.rig.read import read_load, read_pad, read_rig
    from fitsim.study.fit import fit
    from fitsim.tree.read import read_tree

    tree = read_tree(str(job.tree), job.tree_unit, job.tree_front)
    load = read_load(job.load, job.slope, job.side_slope)
    return fit(
        back, tree, pad=read_pad(job.pad), rig=read_rig(job.rig), load=load, at=job.at,
        foundation=foundation,
    )  # fmt: skip


def _score(fitset: FitSet, moving: Kinematics) -> float | None:
    """As a search scores a tree; None where it leaves as the shoulder glides or is rocked off."""
    from fitsim.contact.problem import prepare
    from fitsim.study.search.goals import goals_of, score

    assert fitset.seat is not None  # noqa: S101 - it was solved
    assert fitset.foundation is not None  # noqa: S101 - as above
    case = list(fitset.fits.values())[-1].case
    at = fitset.seat.T_body_tree
    problem = prepare(fitset.foundation, fitset.tree, fitset.pad, at)
    with threadpool_limits(limits=1, user_api="blas"):
        found = goals_of(fitset.back, problem, case, moving)
    return None if isinstance(found, str) else score(found)


def _failed(pair: Pair, fault: FitsimError) -> Row:
    return Row(pair.key, pair.animal, pair.tree, fault=str(fault))
