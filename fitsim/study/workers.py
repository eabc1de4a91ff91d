"""The same work on many things, on all cores, in order."""

from __future__ import annotations

import os
import pickle
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

Given = TypeVar("Given")
Item = TypeVar("Item")
Result = TypeVar("Result")

# Of a worker process, not of the program: what it was given when it began.
_own: dict[str, Any] = {}


@contextmanager
def workers(
    work: Callable[[Given, Item], Result], given: Given, count: int | None = None
) -> Iterator[Callable[[Sequence[Item]], Iterator[Result]]]:
    """Processes that keep what every piece of work needs.

    Parameters
    ----------
    work : callable
        A module's function of `given` and one item; its result must not hang on earlier items.
    given : object
        Sent to every process once.
    count : int, optional
        Processes; one for each core where not given. With 1 the work is done in this process.

    Yields
    ------
    callable
        From items to an iterator of their results, in the items' order.
    """
    number = count or cores()
    if number == 1:
        yield lambda items: (work(given, item) for item in items)
        return
    with _pool(work, given, number) as pool:
        yield lambda items: pool.map(_do, items)


def side_by_side(
    work: Callable[[Given, Item], Result], given: Given, items: Sequence[Item]
) -> list[Result]:
    """A few long pieces of work, each in a process of its own.

    The first is done in this one, which need not be begun.

    Parameters
    ----------
    work, given : see `workers`.
    items : as many as there are cores to use, at least one.

    Returns
    -------
    list
        Results in the items' order.
    """
    if len(items) == 1:
        return [work(given, items[0])]
    with _pool(work, given, len(items) - 1) as pool:
        others = pool.map(_do, items[1:])
        return [work(given, items[0]), *others]


@contextmanager
def _pool(
    work: Callable[[Any, Any], Any], given: object, number: int
) -> Iterator[ProcessPoolExecutor]:
    with TemporaryDirectory(prefix="fitsim-") as folder:
        # By a file: a process is not begun before the last one has taken what it was handed.
        file = Path(folder) / "given"
        file.write_bytes(pickle.dumps(given, pickle.HIGHEST_PROTOCOL))
        pool = ProcessPoolExecutor(number, get_context("spawn"), _begin, (work, file))
        try:
            yield pool
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _begin(work: Callable[[Any, Any], Any], file: Path) -> None:
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent is interrupted and ends the rest
    _own.update(work=work, given=pickle.loads(file.read_bytes()))  # noqa: S301 - our own


def _do(item: object) -> Any:  # noqa: ANN401 - whatever the work gives
    return _own["work"](_own["given"], item)
