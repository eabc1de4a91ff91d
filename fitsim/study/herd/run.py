"""A herd on several processes or machines, each pair once, whatever dies on the way."""

from __future__ import annotations

from concurrent.futures import CancelledError
from dataclasses import dataclass, field
from itertools import islice
from typing import TYPE_CHECKING, Any

from fitsim.errors import FitsimError
from fitsim.study.herd.crew import Crew, Watch, gone, hired
from fitsim.study.herd.kept import keep, kept
from fitsim.study.herd.plan import missing

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from distributed import Client, Future

    from fitsim.study.herd.kept import Row
    from fitsim.study.herd.plan import Pair

    Work = Callable[[Sequence[Pair]], list[Row]]

_LOOK = 5.0  # s that one waits for news before the workers are looked at


@dataclass(frozen=True)
class Ran:
    """What came of a herd.

    Attributes
    ----------
    rows : of every pair that has one, in the herd's order.
    failed : why, by animal, where a worker broke down; tried again the next time.
    """

    rows: tuple[Row, ...]
    failed: Mapping[str, str] = field(default_factory=dict)


def run(
    groups: Sequence[tuple[Pair, ...]],
    folder: Path,
    work: Work,
    crew: Crew | None = None,
    say: Callable[[str, int], None] = lambda _words, _count: None,
) -> Ran:
    """Do every pair that is not kept in the folder yet, and keep it.

    Parameters
    ----------
    groups : see `fitsim.study.herd.plan.pairs_of`.
    folder : Path
        Where results are kept as they come.
    work : callable
        From the pairs of one scan to their rows; the same for the same pairs. Sent to workers.
    crew : Crew, optional
    say : callable, optional
        Told what is being done and how many scans are.

    Returns
    -------
    Ran

    Raises
    ------
    BadSettings
        When the scheduler does not answer, or the folder cannot be written or is spoiled.
    WorkersLost
        When those who work cannot begin or are gone; what they have done is kept.
    """
    before = kept(folder)
    left = missing(groups, before.keys())
    failed: dict[str, str] = {}
    if left:
        with hired(crew or Crew(), len(left)) as client:
            for count, (pairs, rows) in enumerate(_as_they_come(client, left, work)):
                if isinstance(rows, str):
                    failed[pairs[0].animal] = rows
                else:
                    keep(folder, rows)
                say("scans done", count + 1)
        before = kept(folder)
    wanted = (before.get(pair.key) for group in groups for pair in group)
    return Ran(tuple(row for row in wanted if row is not None), failed)


def _as_they_come(
    client: Client, groups: Sequence[tuple[Pair, ...]], work: Work
) -> Iterator[tuple[tuple[Pair, ...], list[Row] | str]]:
    """Rows of each scan, or in words why there are none.

    A thread of a worker has one scan in hand and none waiting: what is in flight stays bounded,
    workers that join later get their share, and a scan that ends its process ends no other. Next
    to reading a scan, handing out the next takes no time.
    """
    from distributed.client import ClosedClientError

    watch, waiting = Watch(client), iter(groups)
    out: dict[Future[Any], tuple[Pair, ...]] = {}
    try:
        while True:
            for pairs in islice(waiting, max(0, watch.hands() - len(out))):
                out[client.submit(work, pairs, key=f"scan-{pairs[0].key}", pure=False)] = pairs
            if not out:
                return
            for future in _done(out):
                if (found := _result(future, out[future][0])) is not None:
                    yield out.pop(future), found
    except (OSError, CancelledError, ClosedClientError) as error:
        raise gone("the scheduler has gone away") from error


def _done(out: Iterable[Future[Any]]) -> list[Future[Any]]:
    """Those that have ended; after a while without any, none."""
    from distributed import wait

    try:
        return list(wait(list(out), timeout=_LOOK, return_when="FIRST_COMPLETED").done)
    except TimeoutError:
        return []


def _result(future: Future[Any], pair: Pair) -> list[Row] | str | None:
    """Rows, or in words why there are none; None while nobody hands them over."""
    try:
        fault = future.exception(timeout=_LOOK)
        rows: list[Row] = future.result(timeout=_LOOK) if fault is None else []
    except TimeoutError:
        return None
    if isinstance(fault, CancelledError):
        raise fault
    return rows if fault is None else _broken(pair, fault)


def _broken(pair: Pair, fault: BaseException) -> str:
    """One sentence on a worker that died of a scan, or on a fault of this program."""
    from distributed import KilledWorker

    if isinstance(fault, FitsimError):
        return str(fault)
    if isinstance(fault, KilledWorker):
        why = "the process that read it died or ran out of memory, each time it was tried"
    else:
        why = f"the program failed on it ({type(fault).__name__}: {fault})"
    return f"{pair.job.scan.path}: {why}; run the same command again, or leave it out."
