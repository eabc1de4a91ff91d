"""The one place of unit names and factors: SI inside, people's units at the edges.

Everything in fitsim is computed in metre, kilogram, newton, pascal and radian. Settings and
options arrive as words (``"560 mm"``), and numbers leave as words (``"22.0 in"``); both happen
here and nowhere else.

References
----------
The inch and the pound are exact by the international yard and pound agreement of 1959; the
standard acceleration of gravity is exact by the 3rd General Conference on Weights and Measures,
1901; both as in NIST Special Publication 811, https://doi.org/10.6028/NIST.SP.811e2008.
"""

from __future__ import annotations

import math
import re
from difflib import get_close_matches
from typing import Final, Literal

from fitsim.errors import BadSettings

Kind = Literal["length", "mass", "force", "pressure", "angle"]
System = Literal["metric", "inch"]

INCH: Final = 0.0254
"""One inch in metres."""
POUND: Final = 0.453_592_37
"""One pound in kilograms."""
STANDARD_GRAVITY: Final = 9.806_65
"""Standard acceleration of gravity, m/s^2."""

_POUND_FORCE: Final = POUND * STANDARD_GRAVITY

UNITS: Final[dict[Kind, dict[str, float]]] = {
    "length": {"m": 1.0, "cm": 0.01, "mm": 0.001, "inch": INCH, "in": INCH, '"': INCH},
    "mass": {"kg": 1.0, "g": 0.001, "lb": POUND, "lbs": POUND},
    "force": {"N": 1.0, "kN": 1000.0, "lbf": _POUND_FORCE, "kgf": STANDARD_GRAVITY},
    "pressure": {
        "Pa": 1.0,
        "kPa": 1000.0,
        "MPa": 1e6,
        "psi": _POUND_FORCE / INCH**2,
    },
    "angle": {"rad": 1.0, "deg": math.pi / 180.0, "°": math.pi / 180.0},
}
"""Factor to SI of every unit by kind of quantity; the first of each kind is the SI unit."""

# A scale or a strap gauge reads force in kilograms or pounds; where a force is asked for, these
# are kilogram-force and pound-force.
_AS_FORCE: Final = {
    "kg": STANDARD_GRAVITY,
    "lb": _POUND_FORCE,
    "lbs": _POUND_FORCE,
}

_QUANTITY: Final = re.compile(
    r"\s*(?P<number>[-+]?(?:\d+(?:[.]\d*)?|[.]\d+)(?:[eE][-+]?\d+)?)\s*(?P<unit>[^\d\s].*?)?\s*"
)
_EXAMPLE: Final[dict[Kind, str]] = {
    "length": '"560 mm" or "22 in"',
    "mass": '"80 kg" or "176 lb"',
    "force": '"180 N" or "40 lbf"',
    "pressure": '"20 kPa" or "3 psi"',
    "angle": '"9 deg"',
}


def to_si(text: str, where: str = "") -> float:
    """Read a number with its unit, of any kind, into SI.

    Parameters
    ----------
    text : str
        For example ``"560 mm"``, ``"22 in"``, ``"9 deg"``, ``"40 lbf"``.
    where : str
        The file and setting to name if it cannot be read; the text itself by default.

    Returns
    -------
    float
        The value in m, kg, N, Pa or rad.

    Raises
    ------
    BadSettings
        If there is no number, no unit, or a unit that is not known.

    Examples
    --------
    >>> to_si("560 mm")
    0.56
    >>> round(to_si("22 in"), 4)
    0.5588
    """
    number, unit = _split(text, where)
    for factors in UNITS.values():
        if unit in factors:
            return _product(number, factors[unit])
    raise _unknown_unit(text, unit, where, [u for f in UNITS.values() for u in f])


def quantity(value: str | float, kind: Kind, where: str = "") -> float:
    """Read a quantity of a given kind into SI.

    Parameters
    ----------
    value : str or float
        Words with a unit, or a bare number that is already SI.
    kind : {"length", "mass", "force", "pressure", "angle"}
        What the quantity must be. Where a force is asked for, kg and lb are the weight of a
        kilogram and a pound, as spring scales read.
    where : str
        The file and setting to name if it cannot be read; the text itself by default.

    Returns
    -------
    float
        The value in m, kg, N, Pa or rad.

    Raises
    ------
    BadSettings
        If it cannot be read, is not finite, or is of another kind.

    Examples
    --------
    >>> quantity("110 mm", "length")
    0.11
    >>> round(quantity("30 kg", "force"), 2)
    294.2
    >>> quantity(0.56, "length")
    0.56
    """
    if not isinstance(value, str):
        return _finite(float(value), where or str(value), kind)
    number, unit = _split(value, where, kind)
    factors = UNITS[kind] | (_AS_FORCE if kind == "force" else {})
    if unit in factors:
        return _product(number, factors[unit])
    for other, names in UNITS.items():
        if unit in names:
            raise BadSettings(
                where or repr(value),
                f'"{value}" is {_article(other)}, not {_article(kind)}',
                f"write it as {_EXAMPLE[kind]}",
            )
    raise _unknown_unit(value, unit, where, list(factors))


def show_length(metres: float, system: System = "metric") -> str:
    """Write a length for people.

    Parameters
    ----------
    metres : float
        Length, m.
    system : {"metric", "inch"}
        Metric gives mm below a metre and m from there on; inch gives inches.

    Returns
    -------
    str
        Number and unit.

    Examples
    --------
    >>> show_length(0.0254), show_length(1.45), show_length(0.56, "inch")
    ('25 mm', '1.45 m', '22.0 in')
    """
    if system == "inch":
        return f"{_plain(metres / INCH, 1)} in"
    if round(abs(metres) * 1000.0) < 1000:  # noqa: PLR2004 - millimetres in a metre
        return f"{_plain(metres * 1000.0, 0)} mm"
    return f"{_plain(metres, 2)} m"


def show_pressure(pascals: float, system: System = "metric") -> str:
    """Write a pressure for people, in kPa or psi.

    Examples
    --------
    >>> show_pressure(12_340.0), show_pressure(12_340.0, "inch")
    ('12.3 kPa', '1.79 psi')
    """
    if system == "inch":
        return f"{_plain(pascals / UNITS['pressure']['psi'], 2)} psi"
    return f"{_plain(pascals / 1000.0, 1)} kPa"


def show_force(newtons: float, system: System = "metric") -> str:
    """Write a force for people, in N or pound-force.

    Examples
    --------
    >>> show_force(180.0), show_force(180.0, "inch")
    ('180 N', '40 lbf')
    """
    if system == "inch":
        return f"{_plain(newtons / _POUND_FORCE, 0)} lbf"
    return f"{_plain(newtons, 0)} N"


def _split(text: str, where: str, kind: Kind = "length") -> tuple[float, str]:
    found = _QUANTITY.fullmatch(text)
    if found is None:
        raise BadSettings(
            where or repr(text),
            f'"{text}" is not a number with a unit',
            f"write it as {_EXAMPLE[kind]}",
        )
    if found["unit"] is None:
        raise BadSettings(
            where or repr(text), f'"{text}" has no unit', f"write it as {_EXAMPLE[kind]}"
        )
    return _finite(float(found["number"]), where or repr(text), kind), found["unit"]


def _product(number: float, factor: float) -> float:
    # 560 * 0.001 is 0.56 in the last digit only if divided by the whole number 1000.
    inverse = round(1.0 / factor)
    if inverse > 1 and math.isclose(inverse * factor, 1.0, rel_tol=1e-15):
        return number / inverse
    return number * factor


def _finite(number: float, where: str, kind: Kind) -> float:
    if not math.isfinite(number):
        raise BadSettings(where, f"{number} is not a finite number", f"write {_EXAMPLE[kind]}")
    return number


def _unknown_unit(text: str, unit: str, where: str, names: list[str]) -> BadSettings:
    near = get_close_matches(unit, names, n=1, cutoff=0.3)
    names_shown = ", ".join(dict.fromkeys(names))
    mend = f"did you mean {near[0]}? Known units are {names_shown}" if near else names_shown
    return BadSettings(where or repr(text), f'the unit "{unit}" is not known', mend)


def _article(kind: Kind) -> str:
    return f"an {kind}" if kind == "angle" else f"a {kind}"


def _plain(number: float, digits: int) -> str:
    """Fixed decimals, thousands with commas, and never a negative zero."""
    return f"{round(number, digits) + 0.0:,.{digits}f}"
