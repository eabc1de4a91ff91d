"""The processes or machines that work on a herd, and whether they are still heard of."""

from __future__ import annotations

import logging
import time
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from fitsim.errors import BadSettings, WorkersLost
from fitsim.study.workers import cores

if TYPE_CHECKING:
    from collections.abc import Iterator

    from distributed import Client, LocalCluster

Closed = TypeVar("Closed", "Client", "LocalCluster")

_PATIENCE = 30.0  # s until a scheduler and its first worker must have answered
_ASKED = 5.0  # s between two looks at the workers, who tell of themselves more often than that
_SILENT = 36  # looks without a sign of life from any worker until they are given up: 3 minutes
_GO_ON = "what is done is kept: run the same command again, and it goes on"


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


@contextmanager
def hired(crew: Crew, most: int) -> Iterator[Client]:
    """A scheduler's client; the processes of this machine begin and end with it.

    Parameters
    ----------
    crew : Crew
    most : int
        Processes of this machine that there is work for.

    Raises
    ------
    BadSettings
        When no scheduler answers at the address.
    WorkersLost
        When it has no workers, or the processes of this machine cannot begin.
    """
    from distributed.utils import silence_logging_cmgr

    if crew.scheduler is not None:
        # what a person has to know is told in a sentence
        with silence_logging_cmgr(logging.CRITICAL), _closing(_client_of(crew.scheduler)) as client:
            yield client
        return
    with (
        _closing(_processes(crew, most)) as cluster,
        _closing(_of_this_machine(cluster)) as client,
    ):
        yield client


class Watch:
    """How many scans can be in hand at once, and whether anybody is at work.

    Looks are counted instead of seconds, so that a machine that was asleep finds its workers alive.

    Parameters
    ----------
    client : Client
    """

    def __init__(self, client: Client) -> None:
        self._client = client
        self._heard: dict[str, float] = {}
        self._silent = 0
        self._last: float | None = None
        self._hands = 1

    def hands(self) -> int:
        """Threads of all workers, at least one.

        Raises
        ------
        WorkersLost
            When none has given a sign of life for long, or the scheduler is gone.
        """
        now = time.monotonic()
        if self._last is None or now - self._last >= _ASKED:
            self._look()
            self._last = time.monotonic()
        return self._hands

    def _look(self) -> None:
        if self._client.status == "closed":
            raise gone("the scheduler has gone away")
        workers = self._workers()
        heard = {name: float(one["last_seen"]) for name, one in workers.items()}
        self._silent = self._silent + 1 if heard in ({}, self._heard) else 0
        self._heard = heard
        self._hands = max(1, sum(int(one["nthreads"]) for one in workers.values()))
        if self._silent > _SILENT:
            raise gone(f"no process has given a sign of life for {_SILENT * _ASKED / 60:.0f} min")

    def _workers(self) -> dict[str, Any]:
        """As the scheduler knows them; none where it does not answer."""
        asked = self._client.scheduler
        if asked is None:
            return {}
        try:
            told = self._client.sync(asked.identity, callback_timeout=_ASKED)
        except (OSError, TimeoutError):
            return {}
        return dict(told["workers"])


def gone(fault: str) -> WorkersLost:
    """What is told when a herd cannot be gone on with."""
    return WorkersLost("fitsim herd", fault, _GO_ON)


@contextmanager
def _closing(one: Closed) -> Iterator[Closed]:
    """Close it at the end; who is gone or hangs cannot say goodbye, and must not hide why."""
    try:
        yield one
    finally:
        with suppress(OSError, TimeoutError):
            one.close()


def _processes(crew: Crew, most: int) -> LocalCluster:
    from distributed import LocalCluster

    number = min(crew.processes or cores(), most)
    # Dask's pages cannot be left out; on port 8787, their own, a second herd would fail to begin.
    try:
        return LocalCluster(
            n_workers=number,
            threads_per_worker=1,
            memory_limit=int(crew.memory),
            dashboard_address="127.0.0.1:0",
            worker_dashboard_address="127.0.0.1:0",
            host="127.0.0.1",
            silence_logs=logging.CRITICAL,  # as above
        )
    except (OSError, RuntimeError, TimeoutError) as error:
        raise _not_begun(error) from error


def _of_this_machine(cluster: LocalCluster) -> Client:
    from distributed import Client

    try:
        return Client(cluster, timeout=_PATIENCE)
    except (OSError, TimeoutError) as error:
        raise _not_begun(error) from error


def _not_begun(error: BaseException) -> WorkersLost:
    fault = f"the processes that do the work could not begin ({str(error) or type(error).__name__})"
    mend = "close other programs, or say --processes 1, and run the same command again"
    return WorkersLost("fitsim herd", fault, mend)


def _client_of(address: str) -> Client:
    from distributed import Client

    try:
        client = Client(address, timeout=_PATIENCE)
    except (OSError, ValueError) as error:
        fault = "no Dask scheduler answers at this address"
        raise BadSettings(address, fault, "start one, or leave --scheduler out") from error
    try:
        client.wait_for_workers(1, timeout=_PATIENCE)
    except (OSError, TimeoutError) as error:
        client.close()
        fault, mend = "this scheduler has no workers", f"start one: dask worker {address}"
        raise WorkersLost(address, fault, mend) from error
    return client
