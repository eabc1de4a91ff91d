"""Numbers as people read them: SI inside, the units they chose outside."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from fitsim.units import INCH, POUND, UNITS, System

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["Shown", "System", "number", "percent", "percents", "plain", "quantity", "shown"]


NBSP: Final = "\N{NO-BREAK SPACE}"
DASH: Final = "\N{EN DASH}"
MINUS: Final = "\N{MINUS SIGN}"
"""Keeps a number and its unit on one line."""


@dataclass(frozen=True)
class Shown:
    """How one kind of quantity is written: its unit, its factor from SI, its decimals.

    Decimals are those an estimate bears: whole kilopascals and millimetres.
    """

    unit: str
    per_si: float
    decimals: int


_SHOWN: Final[dict[System, dict[str, Shown]]] = {
    "metric": {
        "pressure": Shown("kPa", 1e-3, 0),
        "length": Shown("mm", 1e3, 0),
        "area": Shown("cm²", 1e4, 0),
        "force": Shown("N", 1.0, 0),
        "mass": Shown("kg", 1.0, 0),
        "angle": Shown("°", math.degrees(1.0), 1),
    },
    "inch": {
        "pressure": Shown("psi", 1 / UNITS["pressure"]["psi"], 1),
        "length": Shown("in", 1 / INCH, 1),
        "area": Shown("in²", 1 / INCH**2, 1),
        "force": Shown("lbf", 1 / UNITS["force"]["lbf"], 0),
        "mass": Shown("lb", 1 / POUND, 0),
        "angle": Shown("°", math.degrees(1.0), 1),
    },
}


def shown(kind: str, system: System) -> Shown:
    """Return how a kind of quantity ("pressure", "length", "area", "force", ...) is written."""
    return _SHOWN[system][kind]


def number(value: float, kind: str, system: System = "metric") -> str:
    """Return a value without its unit, for tables that carry the unit in the heading.

    Parameters
    ----------
    value : in SI units; nan is written as a dash.

    Examples
    --------
    >>> number(0.0234, "length"), number(0.0234, "length", "inch"), number(math.nan, "force")
    ('23', '0.9', '\u2013')
    """
    if not math.isfinite(value):
        return DASH
    how = shown(kind, system)
    text = f"{value * how.per_si:,.{how.decimals}f}"
    return text.removeprefix("-") if float(text.replace(",", "")) == 0 else text.replace("-", MINUS)


def quantity(value: float, kind: str, system: System = "metric") -> str:
    """Return a value with its unit.

    Examples
    --------
    >>> quantity(22_840.0, "pressure").replace(NBSP, " ")
    '23 kPa'
    >>> quantity(22_840.0, "pressure", "inch").replace(NBSP, " ")
    '3.3 psi'
    """
    return f"{number(value, kind, system)}{NBSP}{shown(kind, system).unit}"


def percent(share: float) -> str:
    """Return a share as a whole percentage.

    Examples
    --------
    >>> percent(0.7609).replace(NBSP, " ")
    '76 %'
    """
    return f"{share * 100:.0f}{NBSP}%" if math.isfinite(share) else DASH


def percents(shares: Sequence[float]) -> list[str]:
    """Return shares of one whole as whole percentages that add up as the shares do.

    The largest remainders are rounded up, so that three thirds never add to 101 %.

    Examples
    --------
    >>> [part.replace(NBSP, " ") for part in percents([0.245, 0.499, 0.256])]
    ['24 %', '50 %', '26 %']
    """
    if not all(math.isfinite(share) for share in shares):
        return [percent(share) for share in shares]
    whole = [math.floor(share * 100) for share in shares]
    short = round(sum(shares) * 100) - sum(whole)
    by_remainder = sorted(range(len(shares)), key=lambda k: whole[k] - shares[k] * 100)
    for k in by_remainder[:short]:
        whole[k] += 1
    return [f"{part}{NBSP}%" for part in whole]


def plain(lines: Sequence[str]) -> list[str]:
    """Return lines for a terminal, whose columns are told by ordinary spaces.

    Examples
    --------
    >>> plain([quantity(0.056, "length")])
    ['56 mm']
    """
    return [line.replace(NBSP, " ") for line in lines]
