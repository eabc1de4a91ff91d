"""Write into the book and read from it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, or_, select

from fitsim.book.records import Animal, Fit, Owner, Patch, Photo, Scan, Seen, Tree
from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sqlalchemy.orm import Session

_WORKING = ("rider", "pack", "both")
"""Cases of a fit that the animal works under, the first there counts."""
KINDS = ("dry", "wet", "hot", "white hairs", "swelling", "sore", "even")
"""What a patch on the back can be, as seen after work."""
GOING = (0.0, 10.0)
_LONGEST = 200
_KPA = 1e3


@dataclass(frozen=True)
class Happening:
    """One line of an animal's timeline."""

    on: date
    what: str
    words: str


def add_animal(
    book: Session,
    name: str,
    *,
    kind: str = "",
    withers_height: float | None = None,
    owner: str | None = None,
    note: str = "",
) -> Animal:
    """Write down an animal.

    Parameters
    ----------
    book : Session
        From `fitsim.book.file.book`.
    name : str
        Its own in this book.
    kind : "mule", "horse", "donkey" or any word
    withers_height : float, m, optional
    owner : str, optional
        Written down too if new.
    note : str

    Returns
    -------
    Animal

    Raises
    ------
    BadSettings
        The name is empty, too long or taken.
    """
    _named(name)
    if book.scalar(select(Animal).where(Animal.name == name)) is not None:
        raise BadSettings(name, "is in the book already", "choose another name")
    animal = Animal(name=name, kind=kind, withers_height=withers_height, note=note)
    if owner:
        _named(owner)
        animal.owner = book.scalar(select(Owner).where(Owner.name == owner)) or Owner(name=owner)
    book.add(animal)
    book.flush()
    return animal


def animal_called(book: Session, name: str) -> Animal:
    """Return an animal by its name.

    Raises
    ------
    BadSettings
        There is none of that name.
    """
    found = book.scalar(select(Animal).where(Animal.name == name))
    if found is None:
        raise BadSettings(name, "is not in the book", "add it first, or look at `fitsim book list`")
    return found


def add_scan(
    book: Session, animal: str, path: Path, *, on: date, unit: str = "", note: str = ""
) -> Scan:
    """Write down a scan of an animal; the file stays where it is.

    Raises
    ------
    BadSettings
        No such animal or file.
    """
    scan = Scan(
        animal=animal_called(book, animal),
        on=on,
        path=str(path.resolve()),
        sha256=_digest_of(path),
        unit=unit,
        note=note,
    )
    book.add(scan)
    book.flush()
    return scan


def add_fit(
    book: Session,
    animal: str,
    result: Mapping[str, Any],
    *,
    made: datetime,
    settings: Mapping[str, Any] | None = None,
    note: str = "",
) -> Fit:
    """Write down a fit from its `fit.json`.

    Parameters
    ----------
    book, animal : see `add_scan`.
    result : mapping
        As `fit.json` holds it.
    made : datetime
    settings : mapping, optional
        Of the tree, SI; what `fit.json` says of it where not given.
    note : str

    Returns
    -------
    Fit

    Raises
    ------
    BadSettings
        It is no `fit.json`, or there is no such animal.
    """
    try:
        cases, tree = result["cases"], result["tree"]
        sha256 = str(result["scan"]["sha256"])
        name = str(tree["name"])
        case = next((one for one in _WORKING if one in cases), next(iter(cases)))
        working = cases[case]
        numbers = _numbers(working)
    except (KeyError, TypeError, StopIteration, AttributeError) as error:
        raise BadSettings("fit.json", "is not what a fit writes", "fit the tree again") from error
    own = animal_called(book, animal)
    scan = book.scalar(select(Scan).where(Scan.animal_id == own.id, Scan.sha256 == sha256))
    fit = Fit(
        animal=own,
        scan_id=None if scan is None else scan.id,
        tree=_tree(book, name, dict(settings or tree)),
        made=made,
        case=case,
        result=dict(result),
        note=note,
        **numbers,
    )
    book.add(fit)
    book.flush()
    return fit


def add_seen(
    book: Session,
    animal: str,
    *,
    on: date,
    patches: Sequence[tuple[str, str]] = (),
    photos: Sequence[Path] = (),
    hours: float | None = None,
    going: float | None = None,
    stride: float | None = None,
    terrain: str = "",
    note: str = "",
    fit: int | None = None,
) -> Seen:
    """Write down what was seen after a day's work.

    Parameters
    ----------
    book, animal : see `add_scan`.
    on : date
    patches : sequence of (zone, kind)
        Kind is one of `KINDS`.
    photos : sequence of Path
        Files, which stay where they are.
    hours : float, h, optional
    going : float, 0 to 10, optional
        Way of going: 0 short and unwilling, 10 free.
    stride : float, m, optional
        Measured, at a walk.
    terrain, note : str
    fit : int, optional
        Number of the fit that was worked in; the animal's latest before that day where not given.

    Returns
    -------
    Seen

    Raises
    ------
    BadSettings
        A number or kind makes no sense, or there is no such animal or fit.
    """
    own = animal_called(book, animal)
    if going is not None and not GOING[0] <= going <= GOING[1]:
        raise BadSettings("going", f"{going:g} is not between 0 and 10", "score 0 to 10")
    if hours is not None and not 0.0 <= hours <= 24.0:  # noqa: PLR2004 - of a day
        raise BadSettings("hours", f"{hours:g} h is no day's work", "give 0 to 24")
    for _, kind in patches:
        if kind not in KINDS:
            raise BadSettings(kind, "is no kind of patch", f"use one of {', '.join(KINDS)}")
    number = fit if fit is not None else _latest_fit(book, own, on)
    if fit is not None and book.get(Fit, fit) is None:
        raise BadSettings(f"fit {fit}", "is not in the book", "look at `fitsim book show`")
    seen = Seen(
        animal=own, fit_id=number, on=on, hours=hours, going=going, stride=stride,
        terrain=terrain, note=note,
        patches=[Patch(zone=zone, kind=kind) for zone, kind in patches],
        photos=[Photo(path=str(one.resolve())) for one in photos],
    )  # fmt: skip
    book.add(seen)
    book.flush()
    return seen


def search(book: Session, words: str = "", limit: int = 200) -> list[Animal]:
    """Return animals whose name, kind, owner or notes hold the words, by name.

    Parameters
    ----------
    book : Session
    words : str
        All animals where empty. Taken as they stand: no sign in them means anything else.
    limit : int
    """
    query = select(Animal).outerjoin(Owner).order_by(Animal.name).limit(limit)
    if words:
        columns = (Animal.name, Animal.kind, Animal.note, Owner.name)
        query = query.where(or_(*(one.icontains(words, autoescape=True) for one in columns)))
    return list(book.scalars(query))


def fits_of(book: Session, animal: str | None = None, limit: int = 200) -> list[Fit]:
    """Return fits, the latest first, of one animal or of all."""
    query = select(Fit).order_by(Fit.made.desc(), Fit.id.desc()).limit(limit)
    if animal is not None:
        query = query.where(Fit.animal_id == animal_called(book, animal).id)
    return list(book.scalars(query))


def timeline(book: Session, animal: str) -> list[Happening]:
    """Return all that happened to an animal, in order."""
    own = animal_called(book, animal)
    found = [Happening(scan.on, "scan", Path(scan.path).name) for scan in own.scans]
    found += [
        Happening(fit.made.date(), "fit", f"no. {fit.id}, {fit.tree.name}{_peak_words(fit)}")
        for fit in own.fits
    ]
    found += [Happening(seen.on, "seen", _seen_words(seen)) for seen in own.seen]
    return sorted(found, key=lambda one: (one.on, one.what))


def counts(book: Session) -> dict[str, int]:
    """Return how many records of each kind the book holds."""
    kinds = (Owner, Animal, Scan, Tree, Fit, Seen)
    return {
        kind.__tablename__: book.scalar(select(func.count()).select_from(kind)) or 0
        for kind in kinds
    }


def forget(book: Session, animal: str) -> None:
    """Delete an animal with all that belongs to it; files outside the book are left alone."""
    book.delete(animal_called(book, animal))


def _numbers(case: Mapping[str, Any]) -> dict[str, float | None]:
    """Headline numbers of a case of `fit.json`, Pa; None where the tree leaves."""
    if not case["equilibrium"]:
        return dict.fromkeys(("peak", "scapula_peak", "fat_pocket_peak", "spine_peak"))
    zones = case["zones"]

    def peak(*names: str) -> float:
        return _KPA * max(float(zones[name]["peak_kpa"]) for name in names)

    return {
        "peak": _KPA * float(case["peak_kpa"]),
        "scapula_peak": peak("scapula_left", "scapula_right"),
        "fat_pocket_peak": peak("fat_pocket_left", "fat_pocket_right"),
        "spine_peak": peak("spine"),
    }


def _tree(book: Session, name: str, settings: dict[str, Any]) -> Tree:
    """The tree of these settings, written down once."""
    digest = hashlib.sha256(json.dumps([name, settings], sort_keys=True).encode()).hexdigest()
    found = book.scalar(select(Tree).where(Tree.sha256 == digest))
    if found is None:
        found = Tree(name=name[:_LONGEST], sha256=digest, settings=settings)
        book.add(found)
    return found


def _latest_fit(book: Session, animal: Animal, on: date) -> int | None:
    before = datetime.combine(on, datetime.max.time())
    return book.scalar(
        select(Fit.id)
        .where(Fit.animal_id == animal.id, Fit.made <= before)
        .order_by(Fit.made.desc(), Fit.id.desc())
        .limit(1)
    )


def _digest_of(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise BadSettings(str(path), "cannot be read", "check the name and the folder") from error


def _named(name: str) -> None:
    if not name.strip() or len(name) > _LONGEST:
        raise BadSettings(repr(name[:20]), "is no name", f"give 1 to {_LONGEST} letters")


def _peak_words(fit: Fit) -> str:
    return ", leaves" if fit.peak is None else f", {fit.peak / _KPA:.0f} kPa at most ({fit.case})"


def _seen_words(seen: Seen) -> str:
    said = [f"{patch.zone.replace('_', ' ')}: {patch.kind}" for patch in seen.patches]
    said += [f"{seen.hours:g} h"] if seen.hours is not None else []
    said += [f"going {seen.going:g} of 10"] if seen.going is not None else []
    said += [f"stride {seen.stride:.2f} m"] if seen.stride is not None else []
    return ", ".join([*said, *(text for text in (seen.terrain, seen.note) if text)]) or "nothing"
