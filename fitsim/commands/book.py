"""`fitsim book`: animals, scans, fits, and what was seen after work."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fitsim.commands.options import Length
from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitsim.book.records import Animal, Fit

_DAY = click.DateTime(formats=["%Y-%m-%d"])


def _book_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Which book; and the result as JSON."""
    for option in (
        click.option("--json", "as_json", is_flag=True, help="Print the result as JSON."),
        click.option(
            "--book", "file", metavar="FILE", help="The book's file [default: your own book]."
        ),
    ):
        command = option(command)
    return command


@click.group()
def book() -> None:
    """Keep a book of animals, scans and fits, and of what was seen after work.

    The book is one file on this machine. Nothing leaves it.

    \b
    Example:
      fitsim book add "Grey mule" --kind mule --withers-height 1.45
      fitsim book fit "Grey mule" fit-out/fit.json
      fitsim book seen "Grey mule" --patch scapula_left=dry --hours 5 --going 7
      fitsim book show "Grey mule"
    """  # noqa: D301


@book.command()
@click.argument("name")
@click.option("--kind", default="", help="mule, horse, donkey, or any word.")
@click.option("--withers-height", type=Length("m"))
@click.option("--owner")
@click.option("--note", default="")
@_book_option
def add(name: str, file: str | None, *, as_json: bool, **told: Any) -> None:  # noqa: ANN401
    """Write down an animal."""
    from fitsim.book.file import book as opened
    from fitsim.book.keeping import add_animal

    with opened(file) as session:
        animal = add_animal(session, name, **told)
        _say({"animal": animal.name, "number": animal.id}, f"{name} is in the book.", as_json)


@book.command()
@click.argument("animal")
@click.argument("path", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--on", type=_DAY, help="Day of the scan [default: today].")
@click.option("--unit", type=click.Choice(["m", "cm", "mm", "inch"]), default=None)
@click.option("--note", default="")
@_book_option
def scan(  # noqa: PLR0917 - click's
    animal: str,
    path: Path,
    on: datetime | None,
    unit: str | None,
    note: str,
    file: str | None,
    *,
    as_json: bool,
) -> None:
    """Write down a scan of an animal; the file stays where it is."""
    from fitsim.book.file import book as opened
    from fitsim.book.keeping import add_scan

    with opened(file) as session:
        found = add_scan(session, animal, path, on=_day(on), unit=unit or "", note=note)
        words = f"Scan {found.id} of {animal} is in the book."
        _say({"scan": found.id, "sha256": found.sha256}, words, as_json)


@book.command()
@click.argument("animal")
@click.argument("path", metavar="FIT.JSON", type=click.Path(path_type=Path))
@click.option("--note", default="")
@_book_option
def fit(animal: str, path: Path, note: str, file: str | None, *, as_json: bool) -> None:
    """Write down a fit from its fit.json."""
    import json

    from fitsim.book.file import book as opened
    from fitsim.book.keeping import add_fit

    try:
        result = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise BadSettings(
            str(path), "cannot be read as JSON", "give the fit.json that a fit wrote"
        ) from error
    with opened(file) as session:
        found = add_fit(session, animal, result, made=_now(), note=note)
        _say(_fit_facts(found), f"Fit {found.id} of {animal} is in the book.", as_json)


@book.command()
@click.argument("animal")
@click.option("--on", type=_DAY, help="Day [default: today].")
@click.option("--patch", "patches", multiple=True, metavar="ZONE=KIND",
              help="What was on the back: scapula_left=dry. Repeat it.")  # fmt: skip
@click.option("--photo", "photos", multiple=True, type=click.Path(path_type=Path))
@click.option("--hours", type=float, help="Hours worked.")
@click.option("--going", type=float, help="Way of going: 0 short and unwilling, 10 free.")
@click.option("--stride", type=Length("m"), help="Measured at a walk.")
@click.option("--terrain", default="")
@click.option("--note", default="")
@click.option("--fit", type=int, help="Number of the fit worked in [default: the latest].")
@_book_option
def seen(animal: str, file: str | None, *, as_json: bool, **told: Any) -> None:  # noqa: ANN401
    """Write down what was seen after work."""
    from fitsim.book.file import book as opened
    from fitsim.book.keeping import add_seen

    patches = [_patch(text) for text in told.pop("patches")]
    with opened(file) as session:
        on = _day(told.pop("on"))
        found = add_seen(session, animal, on=on, patches=patches, **told)
        words = f"What was seen of {animal} on {found.on} is in the book, under fit {found.fit_id}."
        _say({"seen": found.id, "fit": found.fit_id}, words, as_json)


@book.command("list")
@click.argument("words", default="")
@_book_option
def list_(words: str, file: str | None, *, as_json: bool) -> None:
    """List animals, or those whose name, owner or notes hold WORDS."""
    from fitsim.book.file import book as opened
    from fitsim.book.keeping import search

    with opened(file) as session:
        found = search(session, words)
        lines = [_animal_line(animal) for animal in found] or ["Nobody."]
        _say([_animal_facts(animal) for animal in found], "\n".join(lines), as_json)


@book.command()
@click.argument("animal")
@_book_option
def show(animal: str, file: str | None, *, as_json: bool) -> None:
    """Show all that happened to an animal, in order."""
    from fitsim.book.file import book as opened
    from fitsim.book.keeping import animal_called, timeline

    with opened(file) as session:
        own = animal_called(session, animal)
        happened = timeline(session, animal)
        facts = [{"on": str(one.on), "what": one.what, "words": one.words} for one in happened]
        lines = [f"{one.on}  {one.what:5} {one.words}" for one in happened]
        _say(
            {"animal": _animal_facts(own), "timeline": facts},
            "\n".join([_animal_line(own), *lines]),
            as_json,
        )


@book.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@_book_option
def export(folder: Path, file: str | None, *, as_json: bool) -> None:
    """Write the whole book as JSON lines, with its scans and photos."""
    from fitsim.book.carry import write_out
    from fitsim.book.file import book as opened

    with opened(file) as session:
        number = write_out(session, folder)
    _say({"records": number}, f"{number} records are in {folder}.", as_json)


@book.command("import")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@_book_option
def import_(folder: Path, file: str | None, *, as_json: bool) -> None:
    """Read an exported book into a new one."""
    from fitsim.book.carry import read_in
    from fitsim.book.file import book as opened

    with opened(file) as session:
        number = read_in(session, folder)
    _say({"records": number}, f"{number} records were read.", as_json)


@book.command()
@click.argument("path", metavar="CSV", type=click.Path(path_type=Path))
@_book_option
def table(path: Path, file: str | None, *, as_json: bool) -> None:
    """Write every fit and what was seen after it as a table for a spreadsheet."""
    from fitsim.book.carry import spreadsheet
    from fitsim.book.file import book as opened
    from fitsim.files import write_text

    with opened(file) as session:
        text = spreadsheet(session)
    write_text(path, text)
    rows = text.count("\n") - 1
    _say({"rows": rows}, f"{rows} rows are in {path}.", as_json)


@book.command()
@click.argument("path", metavar="FILE", type=click.Path(path_type=Path))
@_book_option
def backup(path: Path, file: str | None, *, as_json: bool) -> None:
    """Copy the book, even while others write to it."""
    from fitsim.book.file import backup as copied

    copy = copied(file, path)
    _say({"backup": str(copy)}, f"The book was copied to {copy}.", as_json)


@book.command()
@_book_option
def right(file: str | None, *, as_json: bool) -> None:
    """Say how right the predictions were, by what was seen after work."""
    from dataclasses import asdict

    from fitsim.book.file import book as opened
    from fitsim.book.right import right_lines, was_it_right

    with opened(file) as session:
        found = was_it_right(session)
    facts = [{key: _plain(value) for key, value in asdict(one).items()} for one in found]
    _say(facts, "\n".join(right_lines(found)), as_json)


@book.command()
@click.argument("animal")
@click.option("--yes", is_flag=True, help="Do not ask.")
@_book_option
def forget(animal: str, file: str | None, *, yes: bool, as_json: bool) -> None:
    """Delete an animal with all that belongs to it."""
    from fitsim.book.file import book as opened
    from fitsim.book.keeping import animal_called
    from fitsim.book.keeping import forget as forgotten

    with opened(file) as session:
        animal_called(session, animal)
        if not yes:
            click.confirm(f"Delete {animal} with all its scans, fits and days?", abort=True)
        forgotten(session, animal)
    _say({"deleted": animal}, f"{animal} is no longer in the book.", as_json)


def _say(facts: object, words: str, as_json: bool) -> None:  # noqa: FBT001 - an option
    import json

    click.echo(json.dumps(facts, indent=2) if as_json else words)


def _plain(value: Any) -> Any:  # noqa: ANN401 - a number, or arrays by name
    if isinstance(value, dict):
        return {key: inner.tolist() for key, inner in value.items()}
    return value


def _patch(text: str) -> tuple[str, str]:
    zone, equals, kind = (part.strip() for part in text.partition("="))
    if not (zone and equals and kind):
        raise BadSettings(text, "is no patch", 'write it like "scapula_left=dry"')
    return zone, kind


def _day(told: datetime | None) -> date:
    return told.date() if told else _now().date()


def _now() -> datetime:
    """The time on the user's clock; the book keeps it without a zone."""
    return datetime.now(UTC).astimezone().replace(tzinfo=None, microsecond=0)


def _animal_line(animal: Animal) -> str:
    said = [animal.name, animal.kind, f"of {animal.owner.name}" if animal.owner else ""]
    if animal.withers_height is not None:
        said.append(f"{animal.withers_height:.2f} m")
    said.append(f"{len(animal.scans)} scans, {len(animal.fits)} fits, {len(animal.seen)} days seen")
    return ", ".join(part for part in said if part)


def _animal_facts(animal: Animal) -> dict[str, Any]:
    return {
        "name": animal.name,
        "kind": animal.kind,
        "owner": animal.owner.name if animal.owner else None,
        "withers_height_m": animal.withers_height,
        "scans": len(animal.scans),
        "fits": len(animal.fits),
        "days_seen": len(animal.seen),
        "note": animal.note,
    }


def _fit_facts(fit: Fit) -> dict[str, Any]:
    peaks = ("peak", "scapula_peak", "fat_pocket_peak", "spine_peak")
    values = {name: getattr(fit, name) for name in peaks}
    return {
        "fit": fit.id,
        "tree": fit.tree.name,
        "case": fit.case,
        **{f"{name}_kpa": None if v is None else v / 1e3 for name, v in values.items()},
    }
