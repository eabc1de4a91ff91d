"""Read a pad, a rig or a load: a name everybody knows, or a settings file."""

from __future__ import annotations

from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

from fitsim.errors import BadSettings
from fitsim.rig.going import LEVEL
from fitsim.rig.load import NO_LOAD, Load, pack, rider
from fitsim.rig.pad import DEFAULT_PAD, PAD_NAMES, library_pad, pad_of
from fitsim.rig.rig import Rig
from fitsim.rig.settings import LoadFile, PadFile, RigFile
from fitsim.settings import read_settings

if TYPE_CHECKING:
    from fitsim.rig.case import Pad
    from fitsim.rig.rig import Holdback
    from fitsim.rig.settings import HoldbackTable

LOAD_NAMES = ("rider", "pack", "none")


def read_pad(name_or_path: str | Path | None = None) -> Pad:
    """A pad by name or from a settings file.

    Parameters
    ----------
    name_or_path : str or Path, optional
        One of `fitsim.rig.pad.PAD_NAMES`, or a TOML file; the 20 mm felt where not given.

    Returns
    -------
    Pad

    Raises
    ------
    BadSettings
        No such pad or file, or a setting that makes no sense.

    Examples
    --------
    >>> read_pad("none").thickness
    0.0
    """
    given = str(name_or_path or DEFAULT_PAD)
    if given in PAD_NAMES:
        return library_pad(given)
    _refuse_unknown(given, PAD_NAMES, "pad")
    file = read_settings(given, PadFile, 'thickness = "20 mm"')
    return pad_of(
        file.name,
        file.thickness,
        file.pressure_at_25_percent,
        file.stiffening,
        file.friction,
        shear_modulus=file.shear_modulus,
        mass=file.mass,
    )


def read_rig(path: str | Path | None = None) -> Rig:
    """A rig from a settings file.

    Parameters
    ----------
    path : str or Path, optional
        A TOML file; the usual two cinches where not given. What it leaves out stays usual.

    Returns
    -------
    Rig

    Raises
    ------
    BadSettings
        No such file, or a setting that makes no sense, a negative tension for one.

    Examples
    --------
    >>> read_rig().front.tension_left
    180.0
    """
    usual = Rig()
    if path is None:
        return usual
    file = read_settings(path, RigFile, 'tension = "180 N"')
    return Rig(
        name=file.name or Path(path).stem,
        front=file.front_cinch.cinch(usual.front),
        rear=file.rear_cinch.cinch(usual.rear),
        connecting=None if file.connecting_strap is None else file.connecting_strap.length,
        breast_strap=_holdback(file.breast_strap),
        breeching=_holdback(file.breeching),
        crupper=_holdback(file.crupper),
    )


def read_load(
    name_or_path: str | Path | None = None,
    slope: float | None = None,
    side_slope: float | None = None,
) -> Load:
    """A load by name or from a settings file.

    Parameters
    ----------
    name_or_path : str or Path, optional
        "rider" (80 kg), "pack" (2 x 35 + 10 kg), "none", or a TOML file; a rider where not given.
    slope, side_slope : float, rad, optional
        Of the ground, in place of the file's; see `fitsim.rig.going.Going`.

    Returns
    -------
    Load

    Raises
    ------
    BadSettings
        No such load or file, or a setting that makes no sense.

    Examples
    --------
    >>> read_load("pack").name
    'pack of 2 x 35 + 10 kg'
    """
    load = _load(str(name_or_path or "rider"))
    told = {"slope": slope, "side_slope": side_slope}
    return load.over(replace(load.going, **{k: v for k, v in told.items() if v is not None}))


def _load(given: str) -> Load:
    if given in LOAD_NAMES:
        return {"rider": rider(), "pack": pack(), "none": NO_LOAD}[given]
    _refuse_unknown(given, LOAD_NAMES, "load")
    file = read_settings(given, LoadFile, 'mass = "80 kg"')
    going = LEVEL if file.going is None else file.going.going()
    if file.rider is not None:
        return rider(**file.rider.model_dump()).over(going)
    if file.pack is not None:
        return pack(**file.pack.model_dump()).over(going)
    return NO_LOAD.over(going)


def _holdback(table: HoldbackTable | None) -> Holdback | None:
    return None if table is None else table.holdback()


def _refuse_unknown(given: str, names: tuple[str, ...], what: str) -> None:
    """A word that is neither a file nor a name: likely a slip of the pen."""
    if Path(given).suffix or Path(given).exists():
        return
    near = get_close_matches(given, names, n=1)
    mend = f"did you mean {near[0]!r}" if near else f"use {', '.join(names)} or a TOML file"
    raise BadSettings(given, f"there is no {what} of this name", mend)
