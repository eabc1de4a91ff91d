"""Stages of a long job: timed always, told to the user when they last over a second."""

from __future__ import annotations

import sys
import threading
import time
from contextlib import contextmanager, nullcontext
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager

PATIENCE = 1.0
"""Seconds after which a stage is announced."""


class Stages(Protocol):
    """What a job calls around each of its stages: a short key and words for people."""

    def __call__(self, key: str, words: str) -> AbstractContextManager[None]:
        """Enter the stage."""


def silent(key: str, words: str) -> AbstractContextManager[None]:  # noqa: ARG001 - as Stages
    """Stages that nobody watches."""
    return nullcontext()


def watched(timing_s: dict[str, float], *, quiet: bool = False) -> Stages:
    """Return stages that add their seconds to `timing_s` and speak on standard error.

    Parameters
    ----------
    timing_s : dict
        Filled with seconds by key.
    quiet : bool
        Never speak.

    Examples
    --------
    >>> seconds: dict[str, float] = {}
    >>> stages = watched(seconds)
    >>> with stages("read", "reading the scan"):
    ...     pass
    >>> list(seconds)
    ['read']
    """

    @contextmanager
    def stage(key: str, words: str) -> Iterator[None]:
        announce = threading.Timer(PATIENCE, _say, (f"{words} ...",))
        announce.daemon = True
        if not quiet:
            announce.start()
        began = time.perf_counter()
        try:
            yield
        finally:
            announce.cancel()
        timing_s[key] = timing_s.get(key, 0.0) + time.perf_counter() - began
        if not quiet and timing_s[key] > PATIENCE:
            _say(f"{words}: {timing_s[key]:.1f} s")

    return stage


def said(*, quiet: bool = False) -> Callable[[str], None]:
    """Return what speaks on standard error, for work whose every step takes seconds.

    Parameters
    ----------
    quiet : bool
        Never speak.
    """
    return (lambda _words: None) if quiet else _say


def counted(*, quiet: bool = False, every: int = 60) -> Callable[[str, int], None]:
    """Return a teller of how many of many things are done, on standard error.

    Parameters
    ----------
    quiet : bool
        Never speak.
    every : int
        Things between two lines.

    Returns
    -------
    callable
        Of what is being done, told when it changes, and how many there are.
    """
    doing = ""

    def say(words: str, count: int) -> None:
        nonlocal doing
        if quiet:
            return
        if words != doing:
            doing = words
            _say(f"{words} ...")
        elif count % every == 0:
            _say(f"  {count} done")

    return say


def _say(words: str) -> None:
    sys.stderr.write(words + "\n")
    sys.stderr.flush()
