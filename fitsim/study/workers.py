"""The same work on many things, on all cores, in order."""

from __future__ import annotations

import os
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context
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
    pool = ProcessPoolExecutor(number, get_context("spawn"), _begin, (work, given))
    try:
        yield lambda items: pool.map(_do, items)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _begin(work: Callable[[Any, Any], Any], given: object) -> None:
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent is interrupted and ends the rest
    _own.update(work=work, given=given)


def _do(item: object) -> Any:  # noqa: ANN401 - whatever the work gives
    return _own["work"](_own["given"], item)
