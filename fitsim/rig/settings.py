"""The pad, rig and load files: their keys and what these may hold."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from fitsim.rig.rig import Cinch
from fitsim.settings import Settings, fault, in_si

Tension = Annotated[float, in_si("force", 0.0, 2000.0, "the pull of one strap end, 0 to 2000 N")]
Place = Annotated[float, in_si("length", -2.0, 2.0, "a place within 2 m")]
Distance = Annotated[float, in_si("length", 0.0, 2.0, "a distance of 0 to 2 m")]
Thickness = Annotated[float, in_si("length", 0.0, 0.15, "a thickness of 0 to 150 mm")]
Mass = Annotated[float, in_si("mass", 0.0, 400.0, "a mass of 0 to 400 kg")]
Pressure = Annotated[float, in_si("pressure", 100.0, 5e6, "a pressure of 0.1 to 5000 kPa")]
Friction = Annotated[float, Field(ge=0.0, le=2.0, allow_inf_nan=False)]
Stiffening = Annotated[float, Field(ge=0.0, le=20.0, allow_inf_nan=False)]


class PadFile(Settings):
    """A pad's measures and compression law."""

    name: str
    thickness: Thickness
    pressure_at_25_percent: Pressure
    stiffening: Stiffening = 4.0
    friction: Friction = 0.4
    shear_modulus: Pressure | None = None
    mass: Mass | None = None


class CinchTable(Settings):
    """One cinch: its tension, on both sides alike or each by itself, and where its rings sit."""

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
        """The cinch, what is left out as usual."""
        left = self.tension if self.tension_left is None else self.tension_left
        right = self.tension if self.tension_right is None else self.tension_right
        return Cinch(
            usual.tension_left if left is None else left,
            usual.tension_right if right is None else right,
            self.behind_front,
        )


class RigFile(Settings):
    """Both cinches."""

    name: str | None = None
    front_cinch: CinchTable = CinchTable()
    rear_cinch: CinchTable = CinchTable()


class RiderTable(Settings):
    """A rider."""

    mass: Mass
    height: Place = 0.10
    behind_front: Distance | None = None


class PackTable(Settings):
    """Side packs and a top load."""

    left: Mass
    right: Mass
    top: Mass = 0.0
    side_offset: Distance = 0.40
    side_height: Place = -0.05
    top_height: Place = 0.30
    behind_front: Distance | None = None


class LoadFile(Settings):
    """A rider or a pack."""

    rider: RiderTable | None = None
    pack: PackTable | None = None

    @model_validator(mode="after")
    def _one_load(self) -> Self:
        if (self.rider is None) == (self.pack is None):
            raise fault(
                "it must hold one load", "give either a [rider] or a [pack] table, not both"
            )
        return self
