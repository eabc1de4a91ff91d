"""A herd on several processes or machines, each pair once, whatever dies on the way."""

from __future__ import annotations

import logging
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from fitsim.errors import BadSettings
from fitsim.study.herd.kept import keep, kept
from fitsim.study.herd.plan import missing
from fitsim.study.workers import cores

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from pathlib import Path

    from distributed import Client

    from fitsim.study.herd.kept import Row
    from fitsim.study.herd.plan import Pair

    Work = Callable[[Sequence[Pair]], list[Row]]

AHEAD = 2
"""Scans handed out for each worker: one in hand, one waiting. What is in flight stays bounded."""

_PATIENCE = 30.0  # s until a scheduler or the first worker must have answered


@dataclass(frozen=True)
class Crew:
    """Who does the work.

    Attributes
    ----------
    scheduler : address of a Dask scheduler; processes of this machine where None.
    processes : of this machine; one for each core where None.
    memory : bytes, a process of this machine that takes more is ended and begun anew.
    """

    scheduler: str | None = None
    processes: int | None = None
    memory: float = 2e9


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
    """
    before = kept(folder)
    left = missing(groups, before.keys())
    failed: dict[str, str] = {}
    if left:
        with _client(crew or Crew(), len(left)) as client:
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
    """Rows of each scan, or in words why there are none; handed out a few ahead of the workers."""
    from distributed import as_completed

    waiting = iter(groups)
    out: dict[str, tuple[Pair, ...]] = {}

    def hand_out() -> Any:  # noqa: ANN401 - a future, or None when all are out
        pairs = next(waiting, None)
        if pairs is None:
            return None
        key = f"scan-{pairs[0].key}"
        out[key] = pairs
        return client.submit(work, pairs, key=key, pure=False)

    number = AHEAD * max(1, len(client.scheduler_info()["workers"]))
    first = [future for _ in range(number) if (future := hand_out()) is not None]
    coming = as_completed(first)
    for future in coming:
        pairs = out.pop(future.key)
        fault = future.exception()
        yield pairs, future.result() if fault is None else _broken(pairs[0], fault)
        future.release()
        if (after := hand_out()) is not None:
            coming.add(after)


@contextmanager
def _client(crew: Crew, most: int) -> Iterator[Client]:
    """A scheduler's client; the processes of this machine begin and end with it."""
    from distributed import Client, LocalCluster

    if crew.scheduler is not None:
        try:
            client = Client(crew.scheduler, timeout=_PATIENCE)
        except (OSError, ValueError) as error:
            fault = "no Dask scheduler answers at this address"
            raise BadSettings(
                crew.scheduler, fault, "start one, or leave --scheduler out"
            ) from error
        with client:
            yield client
        return
    number = min(crew.processes or cores(), most)
    # Dask's pages cannot be left out; on port 8787, their own, a second herd would fail to begin.
    with (
        LocalCluster(
            n_workers=number,
            threads_per_worker=1,
            memory_limit=int(crew.memory),
            dashboard_address="127.0.0.1:0",
            worker_dashboard_address="127.0.0.1:0",
            host="127.0.0.1",
            silence_logs=logging.ERROR,  # that a process ends slowly is no news to a person
        ) as cluster,
        Client(cluster) as client,
    ):
        yield client


def _broken(pair: Pair, fault: BaseException) -> str:
    """One sentence on a worker that died of a scan, or on a fault of this program."""
    from distributed import KilledWorker

    if isinstance(fault, KilledWorker):
        why = "the process that read it died or ran out of memory, each time it was tried"
    else:
        why = f"the program failed on it ({type(fault).__name__}: {fault})"
    return f"{pair.job.scan.path}: {why}; run the same command again, or leave it out."
