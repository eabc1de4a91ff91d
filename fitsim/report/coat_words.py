"""A coat that was told: in words and as numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitsim.units import INCH

if TYPE_CHECKING:
    from fitsim.back.coat import Coat
    from fitsim.units import System


def coat_words(coat: Coat, system: System = "metric") -> str:
    """Return what was told of a coat and what was done about it.

    Parameters
    ----------
    coat : Coat
    system : {"metric", "inch"}

    Examples
    --------
    >>> from fitsim.back.coat import Coat
    >>> coat_words(Coat(0.0))
    'Coat: told that there is none; nothing is taken off'
    >>> coat_words(Coat(0.020)).split(";")[0]
    'Coat: told to stand 20 mm deep'
    """
    if not coat.allowance:
        return "Coat: told that there is none; nothing is taken off"
    told, off, left, sd = (
        _size(length, system) for length in (coat.standing, coat.allowance, coat.pressed, coat.sd)
    )
    return (
        f"Coat: told to stand {told} deep; the back lies {off} inside what was scanned (give or "
        f"take {sd}), since a load presses the hair to about {left} (an estimate)"
    )


def _size(length: float, system: System) -> str:
    if system == "inch":
        return f"{length / INCH:.2f} in"
    return f"{1e3 * length:.{0 if length >= WHOLE else 1}f} mm"


WHOLE = 0.005
"""m: from here on whole millimetres are told, below tenths."""


def coat_facts(coat: Coat) -> dict[str, float]:
    """Return a coat as numbers with their unit in the key.

    Parameters
    ----------
    coat : Coat

    Examples
    --------
    >>> from fitsim.back.coat import Coat
    >>> coat_facts(Coat(0.020))
    {'standing_mm': 20.0, 'allowance_mm': 17.0, 'allowance_sd_mm': 2.56125}
    """
    lengths = {
        "standing_mm": coat.standing,
        "allowance_mm": coat.allowance,
        "allowance_sd_mm": coat.sd,
    }
    return {name: float(f"{1e3 * length:.7g}") for name, length in lengths.items()}
