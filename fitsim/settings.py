"""Settings files: TOML whose quantities carry their units, and one clear sentence for each fault.

One rule for tree, rig, pad and load files: a quantity stands in quotation marks with its unit, and
a bare number, 0 too, is refused. Settings that a program hands over are SI numbers instead.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from difflib import get_close_matches
from numbers import Real
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError, ValidationInfo
from pydantic_core import PydanticCustomError

from fitsim.errors import BadSettings
from fitsim.units import UNITS, quantity

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pydantic.fields import FieldInfo
    from pydantic_core import ErrorDetails

    from fitsim.units import Kind

#: Validation context under which bare numbers are read as SI.
_SI = {"si": True}

_EXAMPLE: Mapping[Kind, str] = {
    "length": '"110 mm"',
    "force": '"180 N"',
    "mass": '"35 kg"',
    "pressure": '"20 kPa"',
    "angle": '"9 deg"',
}

_WRITTEN: Mapping[Kind, str] = {
    "length": "mm", "force": "N", "mass": "kg", "pressure": "kPa", "angle": "deg",
}  # fmt: skip

#: Fault and mend by pydantic's name of it; "{}" is filled with what it says besides.
_SENTENCES: Mapping[str, tuple[str, str]] = {
    "missing": ("is missing", "add it"),
    "string_type": ("is not text", "put it in quotation marks"),
    "string_too_short": ("is empty", "write a word or two"),
    "float_type": ("is not a number", "give a plain number"),
    "float_parsing": ("is not a number", "give a plain number"),
    "finite_number": ("is not a finite number", "give a plain number"),
    "tuple_type": ("is not a list", "put its values in square brackets"),
    "greater_than_equal": ("is too small", "give {ge:g} or more"),
    "less_than_equal": ("is too large", "give {le:g} or less"),
    "literal_error": ("is no choice", "write {expected}"),
}


class Settings(BaseModel):
    """One table of a settings file: no key but those listed, nothing changed once read."""

    model_config = ConfigDict(extra="forbid", frozen=True)


M = TypeVar("M", bound=Settings)


def fault(message: str, mend: str) -> PydanticCustomError:
    """An error for a validator to raise: what is wrong and what to do, both without a full stop.

    Parameters
    ----------
    message, mend : str
        They become the fault and the mend of a `BadSettings`.

    Returns
    -------
    PydanticCustomError
    """
    return PydanticCustomError("settings", "{fault}", {"fault": message, "mend": mend})


def in_si(
    kind: Kind,
    lowest: float = -math.inf,
    highest: float = math.inf,
    bound: str = "",
    *,
    above: float = -math.inf,
    per: Mapping[str, float] | None = None,
) -> BeforeValidator:
    """Reader of one kind of quantity, for a field of a `Settings` table.

    Parameters
    ----------
    kind : {"length", "mass", "force", "pressure", "angle"}
    lowest, highest : float, SI
        What it may be.
    bound : str
        The same in words, after "give".
    above : float, SI
        What it must be larger than.
    per : mapping, optional
        Divisor by the ending of a compound unit, for example ``{"*m/rad": 1.0}``.

    Returns
    -------
    BeforeValidator
        Words with a unit become SI; a bare number is refused, except under `checked` with `si`.
    """
    return BeforeValidator(_Reader(kind, lowest, highest, bound, above, per or {"": 1.0}))


@dataclass(frozen=True, eq=False)  # eq=False: hashed as itself, as typing asks of metadata
class _Reader:
    """What `in_si` says of a field: how its quantity is read, and how it is written again."""

    kind: Kind
    lowest: float
    highest: float
    bound: str
    above: float
    per: Mapping[str, float]

    def __call__(self, value: object, info: ValidationInfo) -> float:
        number, said = _number(value, self.kind, self.per, si=bool(info.context))
        if self.lowest <= number <= self.highest and number > self.above:
            return number
        if self.above == 0.0 and number <= 0.0:
            raise fault(f"{said} is zero or negative", f"give {self.bound or 'a positive value'}")
        wrong = "is negative" if number < 0.0 <= self.lowest else "is out of reach"
        raise fault(f"{said} {wrong}", f"give {self.bound or '0 or more'}")

    def in_words(self, number: float) -> str:
        """The quantity as a settings file holds it."""
        unit = _WRITTEN[self.kind]
        value = number / UNITS[self.kind][unit] * next(iter(self.per.values()))
        return f"{value:.9g} {unit}{next(iter(self.per))}"


def read_settings(path: str | Path, model: type[M], example: str) -> M:
    """Read and check one settings file.

    Parameters
    ----------
    path : str or Path
        A TOML file.
    model : type
        What it may hold.
    example : str
        A line that would be right, for the mend where the file is no TOML at all.

    Returns
    -------
    Settings
        An object of `model`, SI inside.

    Raises
    ------
    BadSettings
        The file is missing or unreadable, or a setting is unknown, missing or makes no sense.
    """
    try:
        text = Path(path).read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise BadSettings(str(path), "is not a text file", "give a TOML file") from error
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise BadSettings(
            str(path), f"cannot be read ({reason})", "check the name and the folder"
        ) from error
    return parsed(text, str(path), model, example)


def parsed(text: str, where: str, model: type[M], example: str) -> M:
    """Settings from the text of a file.

    Parameters
    ----------
    text : str
        TOML.
    where : str
        File or name, for the sentence.
    model, example
        As in `read_settings`.

    Returns
    -------
    Settings
        An object of `model`, SI inside.

    Raises
    ------
    BadSettings
        As `read_settings`.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadSettings(
            where, f"is not a settings file ({error})", f"write lines like {example}"
        ) from error
    return checked(data, where, model)


def checked(data: Mapping[str, object], where: str, model: type[M], *, si: bool = False) -> M:
    """Settings from nested tables.

    Parameters
    ----------
    data : mapping
        As TOML gives it or, with `si`, as ``model_dump`` gives it back.
    where : str
        File or name, for the sentence.
    model : type
        What it may hold.
    si : bool
        Whether bare numbers are quantities in SI.

    Returns
    -------
    Settings
        An object of `model`, SI inside.

    Raises
    ------
    BadSettings
        The first fault found, an unknown key before all others and a missing one after them.
    """
    try:
        return model.model_validate(data, context=_SI if si else None)
    except ValidationError as error:
        # A misspelt key that must be there is missing too: the misspelling is the fault to name.
        order = {"extra_forbidden": 0, "missing": 2}
        first = min(error.errors(), key=lambda one: order.get(one["type"], 1))
        raise _as_sentence(where, first, model) from error


def in_words(settings: Settings) -> dict[str, Any]:
    """The same settings as a file holds them, every quantity with its unit.

    Parameters
    ----------
    settings : Settings

    Returns
    -------
    dict
        Nested tables that `checked` reads again; what is None is left out.
    """
    words: dict[str, Any] = {}
    for name, field in type(settings).model_fields.items():
        value = getattr(settings, name)
        if value is not None and value != ():
            words[name] = _in_words(value, _reader_of(field))
    return words


def _reader_of(field: FieldInfo) -> _Reader | None:
    """How a field's quantities are read, wherever in its annotation that is said."""
    found = [field.annotation, *field.metadata]
    while found:
        one = found.pop()
        if isinstance(one, BeforeValidator) and isinstance(one.func, _Reader):
            return one.func
        found += [*getattr(one, "__args__", ()), *getattr(one, "__metadata__", ())]
    return None


def _in_words(value: object, reader: _Reader | None) -> object:
    if isinstance(value, Settings):
        return in_words(value)
    if isinstance(value, tuple):
        return [_in_words(one, reader) for one in value]
    return reader.in_words(value) if reader is not None and isinstance(value, float) else value


def _number(value: object, kind: Kind, per: Mapping[str, float], *, si: bool) -> tuple[float, str]:
    """A quantity in SI, and how to call it in a sentence."""
    if isinstance(value, str):
        return _from_words(value, kind, per), value
    if isinstance(value, bool) or not isinstance(value, Real):
        raise fault(f"{value!r} is no {kind}", f"write it like {_example(kind, per)}")
    if not si:
        raise fault(f"{value!r} has no unit", f"write it with one, like {_example(kind, per)}")
    number = float(value)
    if not math.isfinite(number):
        raise fault(f"{number!r} is not a finite number", "give one")
    return number, f"{number:g} {next(iter(UNITS[kind]))}{next(iter(per))}"


def _from_words(text: str, kind: Kind, per: Mapping[str, float]) -> float:
    for ending, divisor in per.items():
        if text.endswith(ending):
            try:
                return quantity(text.removesuffix(ending), kind) / divisor
            except BadSettings as error:
                raise fault(error.fault, error.mend) from error
    raise fault(f'"{text}" has another unit', f"write it like {_example(kind, per)}")


def _example(kind: Kind, per: Mapping[str, float]) -> str:
    return f'{_EXAMPLE[kind][:-1]}{next(iter(per))}"'


def _as_sentence(where: str, error: ErrorDetails, model: type[Settings]) -> BadSettings:
    """A fault that pydantic found, in our words."""
    place = [str(part) for part in error["loc"]]
    where = f"{where}, {'.'.join(place)}" if place else where
    details = error.get("ctx", {})
    kind = error["type"]
    if kind == "settings":
        return BadSettings(where, details["fault"], details["mend"])
    if kind == "extra_forbidden":
        known = _keys(model, place[:-1])
        near = get_close_matches(place[-1], known, n=1, cutoff=0.5)
        mend = f"did you mean {near[0]!r}" if near else f"use one of {', '.join(known)}"
        return BadSettings(where, "there is no such setting", mend)
    if kind in {"model_type", "model_attributes_type"}:
        return BadSettings(where, "is not a table", f"start it with a line [{'.'.join(place)}]")
    said, mend = _SENTENCES.get(kind, (error["msg"].lower(), "give a value it allows"))
    if kind in {"greater_than_equal", "less_than_equal", "literal_error"}:
        said = f"{error['input']!r} {said}"
    return BadSettings(where, said, mend.format(**details))


def _keys(model: type[Settings], tables: Sequence[str]) -> list[str]:
    """Setting names allowed in a (nested) table."""
    for table in tables:
        inner: Any = model.model_fields[table].annotation
        options = getattr(inner, "__args__", (inner,))
        model = next(o for o in options if isinstance(o, type) and issubclass(o, Settings))
    return list(model.model_fields)
