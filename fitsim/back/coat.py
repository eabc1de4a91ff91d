"""The hair on a back, as its keeper tells it: a scan shows the coat, a pad presses it flat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitsim.errors import BadSettings
from fitsim.scan.tracings import LOFTED
from fitsim.units import quantity

THINNEST, DEEPEST = 0.0005, 0.100
"""m: a coat told thinner is a slip of the unit, a deeper one is no back's. The deepest found
measured, of two Shetland ponies in full winter coat, stood 23.8 mm on the back with hairs 32.5 mm
long: Booth ME, Pearson RA, Cuddeford D 1998, Thermoregulation in wet Shetland ponies, Proc Br Soc
Anim Sci (abstract). A coat is less deep than its hairs are long, for they lie aslant."""

LEFT, LEFT_SD = 0.15, 0.08
"""Share of its depth that a coat keeps under a saddle's pressure. No measurement was found; an
estimate between two bounds. The ponies above carried 0.79 kg/m2 of hair, which at 1,310 kg/m3
(from memory) is 0.6 mm without any air. Hair combed one way packs to about half hair, half air
(from memory): 0.05 of the depth. Tangled like wool it keeps more: p = K E v^3 (van Wyk CM 1946,
Note on the compressibility of wool; K = 0.01 and E = 3.5 GPa from memory) gives a share of hair v
of 0.066 at 10 kPa: 0.38 of the depth."""

TOLD_SD = 0.10
"""Of the depth: reading it off a ruler in hair that moves, and one depth told for a whole back (a
choice)."""

TUFTS = 0.05
"""Of the depth: height of the waves that tufts and partings leave on the scan (a choice)."""


@dataclass(frozen=True)
class Coat:
    """A coat as told, and what it does to a scan.

    Attributes
    ----------
    standing : m, from the skin to the outside of the undisturbed coat, at the long muscle.

    Raises
    ------
    BadSettings
        It is no depth of hair.

    Examples
    --------
    >>> winter = Coat(0.020)
    >>> round(1e3 * winter.allowance, 3), round(1e3 * winter.sd, 1)
    (17.0, 2.6)
    >>> Coat(0.150)
    Traceback (most recent call last):
    fitsim.errors.BadSettings: the coat: 150 mm is no depth of hair; ...
    """

    standing: float

    def __post_init__(self) -> None:
        """Refuse what no coat has."""
        if self.standing == 0.0 or THINNEST <= self.standing <= DEEPEST:
            return
        raise BadSettings(
            "the coat",
            f"{1e3 * self.standing:.4g} mm is no depth of hair",
            "give in mm how deep the coat stands on the skin, 0.5 to 100, or 0 where it is shaved",
        )

    @property
    def pressed(self) -> float:
        """What a load leaves of it, m: an estimate, see `LEFT`."""
        return LEFT * self.standing

    @property
    def allowance(self) -> float:
        """How far inside the scan the pressed coat lies, m."""
        return self.standing - self.pressed

    @property
    def sd(self) -> float:
        """Standard deviation of the allowance, the same everywhere on one back, m."""
        return float(np.hypot(TOLD_SD, LEFT_SD)) * self.standing

    @property
    def waves(self) -> float:
        """Standard deviation of what differs from place to place on one back, m."""
        return TUFTS * self.standing


def coat_written(text: str) -> float | None:
    """How deep a coat stands as someone wrote it, a bare number being millimetres.

    Parameters
    ----------
    text : str
        Nothing where it is not known.

    Returns
    -------
    float or None, m

    Raises
    ------
    BadSettings
        It is no depth of hair.

    Examples
    --------
    >>> coat_written(" 20 "), coat_written("0.5 in"), coat_written("")
    (0.02, 0.0127, None)
    """
    if not text.strip():
        return None
    try:
        float(text)
    except ValueError:
        return Coat(quantity(text, "length", "the coat")).standing
    return Coat(quantity(f"{text.strip()} mm", "length", "the coat")).standing


def coat_told(standing: float | None, name: str, notes: tuple[str, ...]) -> Coat | None:
    """The coat of a scan, where one was told.

    Parameters
    ----------
    standing : float or None, m
    name : of the scan's file, for the message.
    notes : of the scan: they tell whether it was lofted from tracings.

    Returns
    -------
    Coat or None

    Raises
    ------
    BadSettings
        It is no depth of hair, or the back was traced, with a curve that lay on pressed hair.

    Examples
    --------
    >>> coat_told(None, "back.ply", ()) is None
    True
    """
    if standing is None:
        return None
    coat = Coat(standing)
    if coat.allowance and any(note.startswith(LOFTED) for note in notes):
        raise BadSettings(
            "the coat",
            f"{name} was traced with a curve that lay on pressed hair",
            "leave it out for tracings",
        )
    return coat
