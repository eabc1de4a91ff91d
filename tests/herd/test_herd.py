"""A herd: each pair once, whatever is killed, and the choice against counting by hand."""

from __future__ import annotations

import os
import signal
import threading
import time
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.errors import BadSettings
from fitsim.report.herd import herd_facts, herd_lines, write_herd
from fitsim.report.verdict import verdict_of
from fitsim.study.fit import fit
from fitsim.study.herd.choose import chosen
from fitsim.study.herd.crew import Crew
from fitsim.study.herd.kept import Row, keep, kept
from fitsim.study.herd.pairs import rows_of
from fitsim.study.herd.plan import missing, pairs_of
from fitsim.study.herd.run import run
from fitsim.study.job import Job, ScanFile
from fitsim.tree.read import read_tree
from tests.fits import COARSE, ROOT, back_of
from tests.herd.jobs import failing, herd_in, quick, slow

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fitsim.study.herd.plan import Pair

TREES = ("riding-middle", "riding-wide")


def never(_pairs: Sequence[Pair]) -> list[Row]:
    raise AssertionError("asked to do again what is kept")


def test_a_part_comes_back_as_it_was_and_one_not_finished_is_not_seen(tmp_path: Path) -> None:
    rows = quick(herd_in(tmp_path / "scans", 1, TREES)[0])
    keep(tmp_path, rows)
    place = tmp_path / "parts" / rows[0].key[:2]
    (place / ".half.parquet").write_bytes(b"PAR1 half")  # as a kill leaves it
    assert list(kept(tmp_path).values()) == rows


def test_a_spoiled_part_is_named(tmp_path: Path) -> None:
    rows = quick(herd_in(tmp_path / "scans", 1, TREES)[0])
    keep(tmp_path, rows)
    part = next((tmp_path / "parts").glob("*/*.parquet"))
    part.write_bytes(part.read_bytes()[:40])
    with pytest.raises(BadSettings, match=f"{part.name}.*spoiled"):
        kept(tmp_path)


def test_what_is_kept_is_done_again_only_when_scan_tree_or_setting_changes(tmp_path: Path) -> None:
    groups = herd_in(tmp_path / "scans", 3, TREES)
    done = {pair.key for group in groups for pair in group}
    assert len(done) == 6
    assert missing(herd_in(tmp_path / "scans", 3, TREES), done) == []
    more = missing(herd_in(tmp_path / "scans", 3, (*TREES, "riding-flat")), done)
    assert [[pair.job.tree for pair in group] for group in more] == 3 * [["riding-flat"]]
    (tmp_path / "scans" / "animal-1.ply").write_text("scanned again")
    (again,) = missing(herd_in(tmp_path / "scans", 3, TREES), done)
    assert [pair.animal for pair in again] == 2 * ["animal-1"]
    scans = [ScanFile(tmp_path / "scans" / "animal-0.ply")]
    moved = missing(pairs_of(scans, TREES, Job(scans[0], at=0.01)), done)
    assert len(moved[0]) == 2


def test_a_run_on_processes_keeps_each_pair_and_tells_a_fault(tmp_path: Path) -> None:
    groups = herd_in(tmp_path / "scans", 4, TREES)
    crew = Crew(processes=1)
    ran = run(groups, tmp_path / "out", failing, crew)
    assert [row.animal for row in ran.rows] == [f"animal-{k}" for k in (0, 0, 2, 2, 3, 3)]
    assert list(ran.failed) == ["animal-1"]
    assert "a made-up slip" in ran.failed["animal-1"]
    # the one that failed is tried again, and it alone
    again = run(groups, tmp_path / "out", quick, crew)
    assert list(again.rows) == [row for group in groups for row in quick(group)]
    assert run(groups, tmp_path / "out", never, crew) == again


def test_a_scheduler_that_is_not_there_is_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fitsim.study.herd.crew._PATIENCE", 0.5)
    groups = herd_in(tmp_path / "scans", 1, TREES)
    with pytest.raises(BadSettings, match="no Dask scheduler answers"):
        run(groups, tmp_path / "out", quick, Crew(scheduler="tcp://127.0.0.1:1"))


@pytest.mark.slow
def test_two_workers_killed_on_the_way_change_nothing(tmp_path: Path) -> None:
    groups = herd_in(tmp_path / "scans", 20, TREES)
    killed: list[int] = []

    def kill() -> None:
        """End a process that has just begun a scan, twice."""
        until = time.monotonic() + 60.0
        while len(killed) < 2 and time.monotonic() < until:
            newest = max(
                (tmp_path / "scans").glob("*.began"), key=lambda f: f.stat().st_mtime, default=None
            )
            if newest is not None and (pid := int(newest.suffixes[-2][1:])) not in killed:
                killed.append(pid)
                os.kill(pid, signal.SIGKILL)
                time.sleep(1.0)
            time.sleep(0.02)

    killer = threading.Thread(target=kill)
    killer.start()
    ran = run(groups, tmp_path / "out", slow, Crew(processes=2))
    killer.join()
    assert len(killed) == 2
    began = [file.name.split(".")[0] for file in (tmp_path / "scans").glob("*.began")]
    assert len(began) > 20  # some were begun twice: the kill hit work
    assert list(ran.rows) == [row for group in groups for row in quick(group)]
    assert ran.failed == {}


def table() -> list[Row]:
    """Three trees on four animals, one scan spoiled, by hand."""
    words = {
        ("a", "x"): ("can work", "", 0.5), ("a", "y"): ("can work", "", 0.4),
        ("a", "z"): ("needs a change", "bridges", 0.3),
        ("b", "x"): ("can work", "", 0.6), ("b", "y"): ("needs a change", "wide", 0.2),
        ("b", "z"): ("can work", "", 0.7),
        ("c", "x"): ("needs a change", "lifts", 0.9), ("c", "y"): ("can work", "", 0.8),
        ("c", "z"): ("does not stay", "", None),
        ("d", "x"): ("needs a change", "spine,wide", 1.5), ("d", "y"): ("does not stay", "", None),
        ("d", "z"): ("needs a change", "spine", 1.2),
    }  # fmt: skip
    rows = [
        Row(a + t, a, t, word, faults, score) for (a, t), (word, faults, score) in words.items()
    ]
    return [
        *rows,
        *(Row("e" + t, "e", t, fault="e.ply: the file is empty; scan it.") for t in "xyz"),
    ]


def test_the_choice_is_as_by_hand() -> None:
    found = chosen(table(), 1.0)
    assert found.animals == ("a", "b", "c", "d")
    assert [found.best(k) for k in range(4)] == [1, 0, 1, None]  # least score that can work
    assert found.fits_nothing == ("d",)
    assert found.least_bad(3) == 2
    assert [found.trees[k] for k in found.stock] == ["x", "y"]  # neither alone serves a, b and c
    assert found.skipped == {"e": "e.ply: the file is empty; scan it."}
    # two of the three served animals are enough: one tree
    assert len(chosen(table(), 0.6).stock) == 1


def test_a_hundred_thousand_animals_are_chosen_for_in_a_moment() -> None:
    """As one unknown an animal the integer programme would take 80 GB."""
    from fitsim.study.sizes import fewest

    scores = np.random.default_rng(1).random((100_000, 6))
    served = scores < 0.5
    stock = fewest(scores, served, 0.9)
    some = served.any(axis=1).sum()
    assert served[:, list(stock)].any(axis=1).sum() >= 0.9 * some
    assert len(stock) == 4  # 1 - 2^-4 = 94 % of all, 1 - 2^-3 = 87 %, of which some serve 98 %


def test_lines_facts_and_page_say_it(tmp_path: Path) -> None:
    found = chosen(table(), 1.0)
    lines = "\n".join(herd_lines(found, 1.0))
    assert "on 1 of the animals none of the trees can work" in lines
    assert "d: none of these trees; least bad is z: it touches the spine" in lines
    assert "2 (x, y)" in lines
    assert lines.count("e.ply: the file is empty") == 1
    write_herd(found, table(), 1.0, tmp_path)
    assert herd_facts(found, 1.0)["fits_nothing"] == ["d"]
    page = (tmp_path / "herd.html").read_text(encoding="utf-8")
    assert "licensed veterinarian" in page
    assert "it touches the spine" in page


def test_no_scan_that_can_be_used_says_so() -> None:
    rows = [Row("k", "e", "x", fault="e.ply: the file is empty; scan it again.")]
    lines = herd_lines(chosen(rows, 0.95), 0.95)
    assert lines[0].endswith("no scan could be used.")


def test_a_real_pair_is_what_fitting_it_alone_gives() -> None:
    """The scan is read once; a tree's numbers hang on no other tree."""
    scan = ScanFile(ROOT / "meshes" / "mule.ply", spacing=COARSE)
    (pairs,) = pairs_of([scan], TREES, Job(scan))
    one, two = rows_of(pairs, verdict_of)
    alone = fit(back_of("mule", COARSE), read_tree(TREES[1]))
    measures = alone.fits["rider"].measures
    assert measures is not None
    assert (two.word, two.peak_pa) == (verdict_of(alone).word, measures.peak)
    assert one.score is not None
    assert one.score != two.score


def test_a_scan_that_cannot_be_read_has_its_sentence(tmp_path: Path) -> None:
    rows = rows_of(herd_in(tmp_path, 1, TREES)[0], verdict_of)
    assert [row.fault is not None and "animal-0.ply" in row.fault for row in rows] == [True, True]
