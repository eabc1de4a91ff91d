"""Read a pad, a rig or a load: a name everybody knows, or a settings file."""

from __future__ import annotations

from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Self

from pydantic import Field, model_validator

from fitsim.errors import BadSettings
from fitsim.rig.load import NO_LOAD, Load, pack, rider
from fitsim.rig.pad import DEFAULT_PAD, PAD_NAMES, library_pad, pad_of
from fitsim.rig.rig import Cinch, Rig
from fitsim.rig.settings import (
    Distance,
    Mass,
    Place,
    Pressure,
    Settings,
    Tension,
    Thickness,
    fault,
    read_settings,
)

if TYPE_CHECKING:
    from fitsim.rig.case import Pad

LOAD_NAMES = ("rider", "pack", "none")

_Friction = Annotated[float, Field(ge=0.0, le=2.0)]
_Stiffening = Annotated[float, Field(ge=0.0, le=20.0)]


class _PadFile(Settings):
    name: str
    thickness: Thickness
    pressure_at_25_percent: Pressure
    stiffening: _Stiffening = 4.0
    friction: _Friction = 0.4
    shear_modulus: Pressure | None = None
    mass: Mass | None = None


class _CinchTable(Settings):
    tension: Tension | None = None
    tension_left: Tension | None = None
    tension_right: Tension | None = None
    behind_front: Distance | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        sides = (self.tension_left, self.tension_right)
        if self.tension is not None and sides != (None, None):
            raise fault(
                "the tension is given twice", "give tension, or tension_left and tension_right"
            )
        if self.tension is None and None in sides and sides != (None, None):
            raise fault(
                "the tension of one side is missing", "give both tension_left and tension_right"
            )
        return self

    def cinch(self, usual: Cinch) -> Cinch:
        left = self.tension if self.tension_left is None else self.tension_left
        right = self.tension if self.tension_right is None else self.tension_right
        return Cinch(
            usual.tension_left if left is None else left,
            usual.tension_right if right is None else right,
            self.behind_front,
        )


class _RigFile(Settings):
    name: str | None = None
    front_cinch: _CinchTable = _CinchTable()
    rear_cinch: _CinchTable = _CinchTable()


class _RiderTable(Settings):
    mass: Mass
    height: Place = 0.10
    behind_front: Distance | None = None


class _PackTable(Settings):
    left: Mass
    right: Mass
    top: Mass = 0.0
    side_offset: Distance = 0.40
    side_height: Place = -0.05
    top_height: Place = 0.30
    behind_front: Distance | None = None


class _LoadFile(Settings):
    rider: _RiderTable | None = None
    pack: _PackTable | None = None

    @model_validator(mode="after")
    def _one_load(self) -> Self:
        if (self.rider is None) == (self.pack is None):
            raise fault(
                "it must hold one load", "give either a [rider] or a [pack] table, not both"
            )
        return self


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
    file = read_settings(given, _PadFile, 'thickness = "20 mm"')
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
    file = read_settings(path, _RigFile, 'tension = "180 N"')
    return Rig(
        name=file.name or Path(path).stem,
        front=file.front_cinch.cinch(usual.front),
        rear=file.rear_cinch.cinch(usual.rear),
    )


def read_load(name_or_path: str | Path | None = None) -> Load:
    """A load by name or from a settings file.

    Parameters
    ----------
    name_or_path : str or Path, optional
        "rider" (80 kg), "pack" (2 x 35 + 10 kg), "none", or a TOML file; a rider where not given.

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
    given = str(name_or_path or "rider")
    if given in LOAD_NAMES:
        return {"rider": rider(), "pack": pack(), "none": NO_LOAD}[given]
    _refuse_unknown(given, LOAD_NAMES, "load")
    file = read_settings(given, _LoadFile, 'mass = "80 kg"')
    if file.rider is not None:
        return rider(**file.rider.model_dump())
    assert file.pack is not None  # noqa: S101 - the file holds one of the two
    return pack(**file.pack.model_dump())


def _refuse_unknown(given: str, names: tuple[str, ...], what: str) -> None:
    """A word that is neither a file nor a name: likely a slip of the pen."""
    if Path(given).suffix or Path(given).exists():
        return
    near = get_close_matches(given, names, n=1)
    mend = f"did you mean {near[0]!r}" if near else f"use {', '.join(names)} or a TOML file"
    raise BadSettings(given, f"there is no {what} of this name", mend)
