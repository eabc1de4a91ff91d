"""Settings files of pad, rig and load: TOML with units, and one clear sentence for each fault."""

from __future__ import annotations

import tomllib
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError
from pydantic_core import PydanticCustomError

from fitsim.errors import BadSettings, FitsimError
from fitsim.units import quantity

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from pydantic_core import ErrorDetails

    from fitsim.units import Kind

_EXAMPLE: Mapping[Kind, str] = {
    "length": '"110 mm"',
    "force": '"180 N"',
    "mass": '"35 kg"',
    "pressure": '"20 kPa"',
}
_MENDS = {
    "missing": "add it",
    "string_type": "put it in quotation marks",
    "float_type": "give a plain number",
    "float_parsing": "give a plain number",
}


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


def _in_si(kind: Kind, lowest: float, highest: float, bound: str) -> Callable[[object], float]:
    def read(value: object) -> float:
        if not isinstance(value, str):
            raise fault(f"{value!r} has no unit", f"write it with one, like {_EXAMPLE[kind]}")
        try:
            number = quantity(value, kind)
        except FitsimError as error:
            raise fault(error.fault, error.mend) from error
        if not lowest <= number <= highest:
            wrong = "is negative" if number < 0.0 <= lowest else "is out of reach"
            raise fault(f"{value} {wrong}", f"give {bound}")
        return number

    return read


Tension = Annotated[
    float, BeforeValidator(_in_si("force", 0.0, 2000.0, "the pull of one strap end, 0 to 2000 N"))
]
Place = Annotated[float, BeforeValidator(_in_si("length", -2.0, 2.0, "a place within 2 m"))]
Distance = Annotated[float, BeforeValidator(_in_si("length", 0.0, 2.0, "a distance of 0 to 2 m"))]
Thickness = Annotated[
    float, BeforeValidator(_in_si("length", 0.0, 0.15, "a thickness of 0 to 150 mm"))
]
Mass = Annotated[float, BeforeValidator(_in_si("mass", 0.0, 400.0, "a mass of 0 to 400 kg"))]
Pressure = Annotated[
    float, BeforeValidator(_in_si("pressure", 100.0, 5e6, "a pressure of 0.1 to 5000 kPa"))
]


class Settings(BaseModel):
    """One table of a settings file: no key but those listed, nothing changed once read."""

    model_config = ConfigDict(extra="forbid", frozen=True)


M = TypeVar("M", bound=Settings)


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
        found = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise BadSettings(
            str(path), f"is not a settings file ({error})", f"write lines like {example}"
        ) from error
    except UnicodeDecodeError as error:
        raise BadSettings(str(path), "is not a text file", "give a TOML file") from error
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise BadSettings(
            str(path), f"cannot be read ({reason})", "check the name and the folder"
        ) from error
    try:
        return model.model_validate(found)
    except ValidationError as error:
        # A misspelt key that must be there is missing too: the misspelling is the fault to name.
        first = min(error.errors(), key=lambda found: found["type"] != "extra_forbidden")
        raise _as_sentence(str(path), first, model) from error


def _as_sentence(path: str, error: ErrorDetails, model: type[Settings]) -> BadSettings:
    """The first fault pydantic found, in our words."""
    place = [str(part) for part in error["loc"]]
    where = f"{path}, {'.'.join(place)}" if place else path
    details = error.get("ctx", {})
    if error["type"] == "settings":
        return BadSettings(where, details["fault"], details["mend"])
    if error["type"] == "extra_forbidden":
        known = _keys(model, place[:-1])
        near = get_close_matches(place[-1], known, n=1)
        mend = f"did you mean {near[0]!r}" if near else f"use one of {', '.join(known)}"
        return BadSettings(where, "there is no such setting", mend)
    if error["type"] in {"model_type", "model_attributes_type"}:
        return BadSettings(where, "is not a table", f"start it with a line [{place[-1]}]")
    if error["type"] == "missing":
        return BadSettings(where, "is missing", _MENDS["missing"])
    return BadSettings(
        where, error["msg"].lower(), _MENDS.get(error["type"], "give a value it allows")
    )


def _keys(model: type[Settings], tables: list[str]) -> list[str]:
    """Setting names allowed in a (nested) table."""
    for table in tables:
        inner: Any = model.model_fields[table].annotation
        options = getattr(inner, "__args__", (inner,))
        model = next(o for o in options if isinstance(o, type) and issubclass(o, Settings))
    return list(model.model_fields)
