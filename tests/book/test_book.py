"""The book: what is written stays, whoever kills, shares, ages or attacks it."""

from __future__ import annotations

import csv
import io
import json
import signal
import sqlite3
import subprocess
import sys
import time
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import create_engine, inspect, select

from fitsim.book import keeping
from fitsim.book.carry import read_in, spreadsheet, write_out
from fitsim.book.file import backup, book, bring_up_to
from fitsim.book.records import Animal, Fit, Patch, Photo, Record, Scan, Seen
from fitsim.cli import main
from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from pathlib import Path

    from sqlalchemy.orm import Session

DAY = date(2026, 5, 4)
NOON = datetime(2026, 5, 4, 12)  # noqa: DTZ001 - the book keeps the user's own clock


def result(peak_kpa: float = 20.0, *, tree: str = "Riding tree, middle") -> dict[str, Any]:
    """What matters of a fit.json."""
    zone = {"force_n": 1.0, "peak_kpa": 0.5 * peak_kpa, "area_cm2": 1.0}
    names = ("scapula_left", "scapula_right", "fat_pocket_left", "fat_pocket_right", "spine")
    case = {"equilibrium": True, "peak_kpa": peak_kpa, "zones": dict.fromkeys(names, zone)}
    return {"scan": {"sha256": "0" * 64}, "tree": {"name": tree}, "cases": {"both": case}}


def filled(session: Session, fits: int = 3) -> None:
    keeping.add_animal(session, "Grey mule", kind="mule", withers_height=1.45, owner="The yard")
    for number in range(fits):
        made = NOON + timedelta(days=number)
        keeping.add_fit(session, "Grey mule", result(20.0 + number), made=made)
    keeping.add_seen(
        session, "Grey mule", on=DAY + timedelta(days=1), hours=5.0, going=7.0, stride=1.6,
        patches=[("scapula_left", "dry"), ("withers", "white hairs")], terrain="hills",
    )  # fmt: skip


def test_what_was_seen_is_kept_under_the_fit_worked_in(tmp_path: Path) -> None:
    with book(tmp_path / "b.sqlite") as session:
        filled(session)
    with book(tmp_path / "b.sqlite") as session:
        seen = session.scalars(select(Seen)).one()
        assert seen.fit_id == 2  # the latest before that day's end
        fit = session.get(Fit, 2)
        assert fit is not None
        assert (fit.peak, fit.scapula_peak) == pytest.approx((21e3, 10.5e3))
        words = [one.words for one in keeping.timeline(session, "Grey mule")]
        assert words[2].startswith("scapula left: dry, withers: white hairs, 5 h, going 7 of 10")


def test_an_animal_is_deleted_with_all_that_belongs_to_it(tmp_path: Path) -> None:
    photo = tmp_path / "back.jpg"
    photo.write_bytes(b"x")
    with book(tmp_path / "b.sqlite") as session:
        filled(session)
        keeping.add_scan(session, "Grey mule", photo, on=DAY)
        keeping.add_seen(session, "Grey mule", on=DAY, photos=[photo])
        keeping.add_animal(session, "Other")
        keeping.forget(session, "Grey mule")
    with book(tmp_path / "b.sqlite") as session:
        for kind in (Scan, Fit, Seen, Patch, Photo):
            assert session.scalars(select(kind)).all() == []
        assert [animal.name for animal in keeping.search(session)] == ["Other"]
    assert photo.exists()


def test_nothing_of_a_piece_of_work_that_fails_is_kept(tmp_path: Path) -> None:
    with pytest.raises(BadSettings, match="is no kind of patch"), book(tmp_path / "b") as session:
        keeping.add_animal(session, "Grey mule")
        keeping.add_seen(session, "Grey mule", on=DAY, patches=[("spine", "purple")])
    with book(tmp_path / "b") as session:
        assert keeping.search(session) == []


@pytest.mark.parametrize(
    "hostile", ["'; DROP TABLE animal; --", "%", "_", "../../etc/passwd", "=cmd()", "\u202egrey"]
)
def test_hostile_words_are_words(hostile: str, tmp_path: Path) -> None:
    with book(tmp_path / "b.sqlite") as session:
        filled(session)
        keeping.add_animal(session, hostile, note="x", owner=hostile)
        keeping.add_fit(session, hostile, result(), made=NOON, note=hostile)
        keeping.add_seen(session, hostile, on=DAY, note=hostile)
        assert [one.name for one in keeping.search(session, hostile)] == [hostile]
        rows = list(csv.reader(io.StringIO(spreadsheet(session))))
        assert len(rows) == 5
        assert not any(cell.startswith("=") for row in rows for cell in row)
        write_out(session, tmp_path / "out")
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["book.jsonl", "files"]


def test_a_book_carried_elsewhere_is_the_same_book(tmp_path: Path) -> None:
    scan = tmp_path / "a scan.ply"
    scan.write_bytes(b"ply")
    with book(tmp_path / "one.sqlite") as session:
        filled(session)
        keeping.add_scan(session, "Grey mule", scan, on=DAY)
        number = write_out(session, tmp_path / "out")
        before = [keeping.timeline(session, "Grey mule"), spreadsheet(session)]
    scan.unlink()
    with book(tmp_path / "two.sqlite") as session:
        assert read_in(session, tmp_path / "out") == number
        happened, table = keeping.timeline(session, "Grey mule"), spreadsheet(session)
        assert table == before[1]
        assert [one.on for one in happened] == [one.on for one in before[0]]
        path = session.scalars(select(Scan.path)).one()
    assert (tmp_path / "out" / "files" / "scan-1.ply").samefile(path)
    with pytest.raises(BadSettings, match="is not empty"), book(tmp_path / "two.sqlite") as again:
        read_in(again, tmp_path / "out")


def test_a_line_that_is_no_record_leaves_the_book_empty(tmp_path: Path) -> None:
    with book(tmp_path / "one.sqlite") as session:
        filled(session)
        write_out(session, tmp_path / "out")
    with (tmp_path / "out" / "book.jsonl").open("a") as file:
        file.write('{"record": "animal", "wings": 2}\n')
    with (
        pytest.raises(BadSettings, match=r"line \d+: is no record of a book"),
        book(tmp_path / "two.sqlite") as session,
    ):
        read_in(session, tmp_path / "out")
    with book(tmp_path / "two.sqlite") as session:
        assert keeping.counts(session)["animal"] == 0


def test_an_old_book_is_brought_to_todays_form(tmp_path: Path) -> None:
    old = create_engine(f"sqlite:///{tmp_path / 'old.sqlite'}")
    bring_up_to(old, "0001")
    with old.begin() as connection:
        assert not inspect(connection).has_table("photo")
        connection.exec_driver_sql(
            "INSERT INTO animal (name, kind, note) VALUES ('Old mule', 'mule', '')"
        )
    old.dispose()
    with book(tmp_path / "old.sqlite") as session:
        keeping.add_seen(session, "Old mule", on=DAY, photos=[tmp_path / "x.jpg"])
        assert len(session.scalars(select(Photo)).all()) == 1


def test_the_migrations_end_in_the_form_the_records_describe(tmp_path: Path) -> None:
    engine = create_engine(f"sqlite:///{tmp_path / 'b.sqlite'}")
    bring_up_to(engine)
    with engine.connect() as connection:
        found = inspect(connection)
        for table in Record.metadata.sorted_tables:
            columns = {one["name"]: one["nullable"] for one in found.get_columns(table.name)}
            assert columns == {column.name: column.nullable for column in table.columns}
            made = {index["name"] for index in found.get_indexes(table.name)}
            assert {index.name for index in table.indexes} <= made
    engine.dispose()


def test_a_book_of_a_newer_release_is_left_alone(tmp_path: Path) -> None:
    with book(tmp_path / "b.sqlite"):
        pass
    with sqlite3.connect(tmp_path / "b.sqlite") as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.close()
    with (
        pytest.raises(BadSettings, match="was written by a newer release"),
        book(tmp_path / "b.sqlite"),
    ):
        pass


def test_a_file_that_is_no_book_is_said(tmp_path: Path) -> None:
    (tmp_path / "b.sqlite").write_text("a poem, long enough to be taken for something else\n" * 50)
    with pytest.raises(BadSettings, match="is no book"), book(tmp_path / "b.sqlite"):
        pass


WRITER = """
import sys
from datetime import date, timedelta
from fitsim.book.file import book
from fitsim.book import keeping
path, name, number = sys.argv[1], sys.argv[2], int(sys.argv[3])
with book(path) as session:
    keeping.add_animal(session, name)
for k in range(number):
    with book(path) as session:
        keeping.add_seen(session, name, on=date(2026, 1, 1) + timedelta(days=k))
    print(k, flush=True)
"""


def writer(path: Path, name: str, number: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), name, str(number)],
        stdout=subprocess.PIPE,
        text=True,
    )


def test_two_programs_write_at_once(tmp_path: Path) -> None:
    file = tmp_path / "b.sqlite"
    both = [writer(file, name, 15) for name in ("One", "Two")]
    assert [one.wait(120) for one in both] == [0, 0]
    for one in both:
        assert one.stdout is not None
        one.stdout.close()
    with book(file) as session:
        assert keeping.counts(session)["seen"] == 30


@pytest.mark.slow
def test_a_kill_loses_no_record_that_was_said_to_be_kept(tmp_path: Path) -> None:
    """200 writes, killed without warning again and again."""
    file, said = tmp_path / "b.sqlite", 0
    for life in range(12):
        one = writer(file, f"Mule {life}", 200)
        assert one.stdout is not None
        said += sum(1 for _ in zip(range(17), one.stdout, strict=False))
        time.sleep(0.003 * life)  # somewhere within a write
        one.send_signal(signal.SIGKILL)
        said += len(one.stdout.read().splitlines())
        one.stdout.close()
        one.wait()
    with book(file) as session:
        kept = keeping.counts(session)["seen"]
        assert said <= kept <= said + 12  # one each may have been kept and not yet said
        assert session.connection().exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
    assert said >= 200


def test_a_backup_is_the_book(tmp_path: Path) -> None:
    with book(tmp_path / "b.sqlite") as session:
        filled(session)
    copy = backup(tmp_path / "b.sqlite", tmp_path / "copy.sqlite")
    with book(copy) as session:
        assert keeping.counts(session)["fit"] == 3
    with pytest.raises(BadSettings, match="is there already"):
        backup(tmp_path / "b.sqlite", copy)


def code_of(*arguments: object) -> object:
    with pytest.raises(SystemExit) as stopped:
        main([str(one) for one in arguments])
    return stopped.value.code


def test_the_book_from_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = ("--book", tmp_path / "b.sqlite")
    (tmp_path / "fit.json").write_text(json.dumps(result()))
    assert code_of("book", "add", "Grey mule", "--withers-height", "57 in", *file) == 0
    assert code_of("book", "fit", "Grey mule", tmp_path / "fit.json", *file) == 0
    assert code_of("book", "seen", "Grey mule", "--patch", "spine=sore", "--hours", 3, *file) == 0
    assert code_of("book", "list", *file) == 0
    assert "Grey mule, 1.45 m, 0 scans, 1 fits, 1 days seen" in capsys.readouterr().out
    assert code_of("book", "show", "Grey mule", "--json", *file) == 0
    told = json.loads(capsys.readouterr().out)
    assert [one["what"] for one in told["timeline"]] == ["fit", "seen"]
    assert code_of("book", "add", "Grey mule", *file) == 3
    assert "is in the book already" in capsys.readouterr().err
    assert code_of("book", "seen", "Nobody", *file) == 3
    assert code_of("book", "fit", "Grey mule", tmp_path / "no.json", *file) == 3
    assert code_of("book", "forget", "Grey mule", "--yes", *file) == 0
    capsys.readouterr()
    assert code_of("book", "list", *file) == 0
    assert capsys.readouterr().out == "Nobody.\n"


@pytest.mark.slow
def test_ten_thousand_fits_are_listed_at_once(tmp_path: Path) -> None:
    """That only some of the many are read: times are for the benchmark."""
    with book(tmp_path / "b.sqlite") as session:
        for number in range(100):
            keeping.add_animal(session, f"Mule {number}", note="grey" if number % 7 == 0 else "")
            for k in range(100):
                made = NOON + timedelta(days=k)
                keeping.add_fit(session, f"Mule {number}", result(), made=made)
    with book(tmp_path / "b.sqlite") as session:
        assert keeping.counts(session)["fit"] == 10_000
        assert len(keeping.fits_of(session)) == 200
        assert len(keeping.fits_of(session, "Mule 3")) == 100
        assert len(keeping.search(session, "grey")) == 15
        assert session.scalar(select(Animal).where(Animal.name == "Mule 99")) is not None
