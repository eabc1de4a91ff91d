"""A herd whose workers, scheduler or files go away: one sentence, and what is done is kept."""

from __future__ import annotations

import errno
import pickle
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from fitsim.errors import BadScan, BadSettings, FitsimError, WorkersLost
from fitsim.files import whole_file
from fitsim.report.verdict import verdict_of
from fitsim.study.herd import crew as crews
from fitsim.study.herd.crew import Crew, Watch
from fitsim.study.herd.pairs import rows_of
from fitsim.study.herd.plan import pairs_of
from fitsim.study.herd.run import run
from fitsim.study.job import Job, ScanFile
from tests.herd.jobs import deadly, herd_in, quick

if TYPE_CHECKING:
    from collections.abc import Iterator

TREES = ("riding-middle", "riding-wide")


class Scheduler:
    """What `Watch` asks of a client, told from a list of looks."""

    status = "running"
    scheduler = property(lambda self: self)
    identity = None

    def __init__(self, looks: Iterator[dict[str, float]]) -> None:
        self._looks = looks

    def sync(self, _what: object, callback_timeout: float) -> dict[str, Any]:
        assert callback_timeout > 0.0
        told = next(self._looks)
        return {"workers": {k: {"last_seen": v, "nthreads": 2} for k, v in told.items()}}


@pytest.fixture
def _no_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(crews, "_ASKED", 1e-9)


@pytest.mark.usefixtures("_no_waiting")
def test_workers_of_whom_one_is_heard_are_waited_for() -> None:
    looks = ({"stopped": 1.0, "alive": float(k)} for k in range(200))
    watch = Watch(Scheduler(looks))  # type: ignore[arg-type]
    assert {watch.hands() for _ in range(200)} == {4}


@pytest.mark.usefixtures("_no_waiting")
@pytest.mark.parametrize("told", [{"stopped": 1.0}, {}], ids=["stopped", "none"])
def test_workers_of_whom_none_is_heard_are_given_up_in_the_end(told: dict[str, float]) -> None:
    watch = Watch(Scheduler(told for _ in range(200)))  # type: ignore[arg-type]
    for _ in range(36):
        watch.hands()
    with pytest.raises(WorkersLost, match=r"no process.*what is done is kept"):
        [watch.hands() for _ in range(2)]


def test_processes_that_cannot_begin_are_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(**_how: object) -> None:
        raise RuntimeError("no room for a process")

    monkeypatch.setattr("distributed.LocalCluster", full)
    with pytest.raises(WorkersLost, match=r"could not begin \(no room.*run the same"):
        run(herd_in(tmp_path / "scans", 1, TREES), tmp_path / "out", quick, Crew(processes=1))


def test_a_sentence_comes_back_from_another_process() -> None:
    told = pickle.loads(pickle.dumps(BadScan("back.ply", "it is empty", "scan it again")))  # noqa: S301 - our own
    assert isinstance(told, BadScan)
    assert (str(told), told.mend) == ("back.ply: it is empty; scan it again.", "scan it again")


def test_a_worker_in_another_folder_finds_scan_and_tree(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("a.ply").write_text("no scan")
    Path("own.toml").write_text("no tree")
    scan = ScanFile(Path("a.ply"))
    ((pair, usual),) = pairs_of([scan], ("own.toml", "riding-wide"), Job(scan))
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    assert pair.job.scan.path.is_file()
    assert Path(str(pair.job.tree)).is_file()
    assert (pair.tree, usual.tree, usual.job.tree) == ("own.toml", "riding-wide", "riding-wide")


def test_a_file_a_worker_does_not_see_is_no_result_of_the_animal(tmp_path: Path) -> None:
    (pairs,) = herd_in(tmp_path, 1, TREES)
    pairs[0].job.scan.path.unlink()
    with pytest.raises(WorkersLost, match=r"animal-0.ply: the machine.*does not see it"):
        rows_of(pairs, verdict_of)


def test_a_full_disk_is_said_in_the_systems_words(tmp_path: Path) -> None:
    mend = "no space left on device.*make room there, or choose another folder"
    with pytest.raises(BadSettings, match=mend), whole_file(tmp_path / "a.parquet"):
        raise OSError(errno.ENOSPC, "Error writing bytes to file. Detail: [errno 28]")


@pytest.mark.slow
def test_a_scan_that_ends_its_process_each_time_is_skipped_and_no_other(tmp_path: Path) -> None:
    groups = herd_in(tmp_path / "scans", 8, TREES)
    ran = run(groups, tmp_path / "out", deadly, Crew(processes=2))
    assert list(ran.failed) == ["animal-1"]
    assert "died or ran out of memory, each time" in ran.failed["animal-1"]
    assert list(ran.rows) == [row for group in groups[:1] + groups[2:] for row in quick(group)]


@pytest.mark.slow
def test_a_scheduler_that_goes_away_is_one_sentence_and_the_rest_goes_on(tmp_path: Path) -> None:
    from distributed import LocalCluster

    groups = herd_in(tmp_path / "scans", 8, TREES)
    cluster = LocalCluster(
        n_workers=1, threads_per_worker=1, dashboard_address="127.0.0.1:0",
        worker_dashboard_address="127.0.0.1:0", host="127.0.0.1", silence_logs=50,
    )  # fmt: skip

    def leave(_words: str, count: int) -> None:
        if count == 3:
            cluster.close()

    with pytest.raises(WorkersLost, match="the scheduler has gone away; what is done is kept"):
        run(groups, tmp_path / "out", quick, Crew(cluster.scheduler_address), leave)
    assert 3 <= len(list((tmp_path / "out").glob("parts/*/*.parquet"))) < 8
    again = run(groups, tmp_path / "out", quick, Crew(processes=1))
    assert list(again.rows) == [row for group in groups for row in quick(group)]
    assert issubclass(WorkersLost, FitsimError)
    assert WorkersLost.exit_code == 3
