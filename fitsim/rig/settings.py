"""The pad, rig and load files: their keys and what these may hold."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from fitsim.rig.going import Going
from fitsim.rig.rig import SLACK, STRAP_STIFFNESS, Cinch, Holdback
from fitsim.settings import Settings, fault, in_si
from fitsim.units import INCH

Tension = Annotated[float, in_si("force", 0.0, 2000.0, "the pull of one strap end, 0 to 2000 N")]
Place = Annotated[float, in_si("length", -2.0, 2.0, "a place within 2 m")]
Distance = Annotated[float, in_si("length", 0.0, 2.0, "a distance of 0 to 2 m")]
Thickness = Annotated[float, in_si("length", 0.0, 0.15, "a thickness of 0 to 150 mm")]
Mass = Annotated[float, in_si("mass", 0.0, 400.0, "a mass of 0 to 400 kg")]
Pressure = Annotated[float, in_si("pressure", 100.0, 5e6, "a pressure of 0.1 to 5000 kPa")]
Stiffness = Annotated[
    float,
    in_si(
        "force", 0.0, 1e6, "0.1 to 1000 N/mm", above=0.0, per={"/mm": 1e-3, "/in": INCH, "/m": 1.0}
    ),
]
Slope = Annotated[float, in_si("angle", -0.7854, 0.7854, "a slope of -45 to 45 deg")]
Lean = Annotated[float, in_si("angle", -0.7854, 0.7854, "a lean of -45 to 45 deg")]
Speed = Annotated[float, in_si("length", 0.0, 20.0, "a speed of 0 to 20 m/s", per={"/s": 1.0})]
Radius = Annotated[float, in_si("length", 1.0, 1e4, "a radius of 1 m or more")]
Share = Annotated[float, Field(ge=0.0, le=1.0, allow_inf_nan=False)]
Factor = Annotated[float, Field(ge=0.0, le=5.0, allow_inf_nan=False)]
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
    stiffness: Stiffness | None = None
    tightened: Distance | None = None
    swings_back: Place = 0.0
    beside: Place = 0.0
    above: Place = 0.0

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
        if self.tightened is not None:
            self._one_of_tightened()
        return self

    def _one_of_tightened(self) -> None:
        if self.stiffness is None:
            raise fault("a strap that does not stretch is tightened by a length", "give stiffness")
        if self.tension is not None or self.tension_left is not None:
            raise fault("the tension is given twice", "give either tightened or a tension")

    def cinch(self, usual: Cinch) -> Cinch:
        """The cinch, what is left out as usual."""
        left = self.tension if self.tension_left is None else self.tension_left
        right = self.tension if self.tension_right is None else self.tension_right
        if self.tightened is not None and self.stiffness is not None:
            left = right = self.tightened * self.stiffness
        return Cinch(
            usual.tension_left if left is None else left,
            usual.tension_right if right is None else right,
            self.behind_front,
            stiffness=self.stiffness or 0.0,
            swing=self.swings_back,
            beside=self.beside,
            above=self.above,
        )


class ConnectingTable(Settings):
    """The strap between the two cinches under the belly."""

    length: Distance


class HoldbackTable(Settings):
    """A breast strap, a breeching or a crupper."""

    slack: Distance = SLACK
    stiffness: Stiffness = STRAP_STIFFNESS
    behind_front: Distance | None = None

    def holdback(self) -> Holdback:
        """The strap."""
        return Holdback(self.slack, self.stiffness, self.behind_front)


class RigFile(Settings):
    """Both cinches, and what else holds the tree."""

    name: str | None = None
    front_cinch: CinchTable = CinchTable()
    rear_cinch: CinchTable = CinchTable()
    connecting_strap: ConnectingTable | None = None
    breast_strap: HoldbackTable | None = None
    breeching: HoldbackTable | None = None
    crupper: HoldbackTable | None = None


class RiderTable(Settings):
    """A rider."""

    mass: Mass
    height: Place = 0.10
    behind_front: Distance | None = None
    lean_forward: Lean = 0.0
    lean_left: Lean = 0.0
    stirrup_share: Annotated[float, Field(ge=0.0, le=0.95, allow_inf_nan=False)] = 0.0
    left_stirrup: Share = 0.5
    stirrups_behind_front: Distance | None = None


class PackTable(Settings):
    """Side packs and a top load."""

    left: Mass
    right: Mass
    top: Mass = 0.0
    side_offset: Distance = 0.40
    side_height: Place = -0.05
    top_height: Place = 0.30
    top_offset: Place = 0.0
    behind_front: Distance | None = None


class GoingTable(Settings):
    """Slope of the ground, a turn, and the gait."""

    slope: Slope = 0.0
    side_slope: Slope = 0.0
    turn: Literal["left", "right"] | None = None
    turn_radius: Radius | None = None
    speed: Speed | None = None
    load_factor: Factor = 1.0

    @model_validator(mode="after")
    def _whole_turn(self) -> Self:
        parts = (self.turn, self.turn_radius, self.speed)
        if None in parts and parts != (None, None, None):
            raise fault("a turn is told in part only", "give turn, turn_radius and speed")
        return self

    def going(self) -> Going:
        """The going."""
        cornering = 0.0
        if self.turn_radius is not None and self.speed is not None:
            cornering = self.speed**2 / self.turn_radius * (1.0 if self.turn == "left" else -1.0)
        return Going(self.slope, self.side_slope, cornering, self.load_factor)


class LoadFile(Settings):
    """A rider or a pack, and the going."""

    rider: RiderTable | None = None
    pack: PackTable | None = None
    going: GoingTable | None = None

    @model_validator(mode="after")
    def _one_load(self) -> Self:
        loads = (self.rider is not None) + (self.pack is not None)
        if loads > 1 or (loads == 0 and self.going is None):
            raise fault(
                "it must hold one load", "give either a [rider] or a [pack] table, not both"
            )
        return self
