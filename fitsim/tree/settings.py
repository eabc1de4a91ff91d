"""The tree file: its keys, their kinds and the rules that make a tree buildable."""

from __future__ import annotations

import math
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from fitsim.settings import Settings, fault, in_si
from fitsim.tree.tree import USUAL_THICKNESS

Length = Annotated[float, in_si("length")]
Positive = Annotated[float, in_si("length", above=0.0)]
NotNegative = Annotated[float, in_si("length", 0.0)]
Angle = Annotated[float, in_si("angle")]
Mass = Annotated[float, in_si("mass", above=0.0)]
Stiffness = Annotated[float, in_si("force", 0.0, per={"*m/rad": 1.0, "*m/deg": math.radians(1.0)})]


class Widths(Settings):
    """Full widths of the bar."""

    front: Positive
    middle: Positive
    rear: Positive


class Curve(Settings):
    """Lengthwise curve: a rocker's depth over the bearing length, or its radius."""

    sagitta: Length | None = None
    radius: Length | None = None
    low: Positive | None = Field(None, description="lowest point, behind the front tip")

    @model_validator(mode="after")
    def _one_measure(self) -> Self:
        if (self.sagitta is None) == (self.radius is None):
            raise fault("it must hold one measure", "give either 'sagitta' or 'radius'")
        if self.radius == 0:
            raise fault("a radius of 0 is no curve", 'write sagitta = "0 mm" for a straight bar')
        return self


class FlareSettings(Settings):
    """One flared tip."""

    length: NotNegative
    rise: NotNegative


class Flares(Settings):
    """Both tips."""

    front: FlareSettings
    rear: FlareSettings


class PocketSettings(Settings):
    """A hollow in the underside."""

    at: Positive = Field(description="its middle, behind the front tip")
    across: Length = Field(0.0, description="its middle, outwards of the bar's middle line")
    length: Positive
    width: Positive
    depth: Positive


class SlotSettings(Settings):
    """A slot right through the bar, for a strap."""

    at: Positive = Field(description="its middle, behind the front tip")
    across: Length = Field(0.0, description="its middle, outwards of the bar's middle line")
    length: Positive = Field(description="along the bar")
    width: Positive = Field(description="across the bar")


class NotchSettings(Settings):
    """A swept hollow in a long edge, where rigging passes."""

    at: Positive = Field(description="its middle, behind the front tip")
    edge: Literal["outer", "inner"] = "outer"
    length: Positive
    depth: Positive


class BarSettings(Settings):
    """One bar; the other is its mirror image."""

    length: Positive
    width: Widths
    curve: Curve
    twist: Angle | None = Field(None, description="by default what the arches' angles ask for")
    crown: Length = 0.0
    flare: Flares
    edge_roll: NotNegative = 0.008
    corner: Positive = 0.030
    thickness: Positive = USUAL_THICKNESS
    pocket: tuple[PocketSettings, ...] = ()
    slot: tuple[SlotSettings, ...] = ()
    notch: tuple[NotchSettings, ...] = ()


class ArchSettings(Settings):
    """Where one arch holds the bars, and how it is drawn."""

    at: Positive = Field(description="behind the bars' front tip")
    spread: Positive | None = Field(None, description="between the bars' inner edges")
    inner_edge: Positive | None = Field(None, description="half the spread: beside the spine")
    angle: Angle = Field(description="of the bar's face from horizontal")
    spread_steps: tuple[Positive, ...] = ()
    angle_steps: tuple[Angle, ...] = ()
    shape: Literal["arch", "cross", "cantle"] = "arch"
    rise: Positive = 0.10

    @model_validator(mode="after")
    def _one_spread(self) -> Self:
        if (self.spread is None) == (self.inner_edge is None):
            raise fault("it must hold one spread", "give either 'spread' or 'inner_edge'")
        return self

    @property
    def half_spread(self) -> float:
        """From the middle to the bar's inner edge, m."""
        if self.inner_edge is not None:
            return self.inner_edge
        assert self.spread is not None  # noqa: S101 - the validator saw to it
        return self.spread / 2.0


class Arches(Settings):
    """Front and rear arch, and how far they give."""

    front: ArchSettings
    rear: ArchSettings
    flex: Stiffness | None = Field(None, description="of the arches, each bar, about the length")


class Pivot(Settings):
    """Hinge on which each bar turns on its own.

    Along: a line through the bar's seats under both arches, on which the bar takes up the slope of
    the back. Across: nose up and down about one place.
    """

    axis: Literal["along", "across"] = "along"
    at: Positive | None = Field(None, description="across only: behind the bars' front tip")
    height: Length = Field(0.030, description="above the underside")
    stop: Angle = Field(description="to either side")
    stiffness: Stiffness = 0.0

    @model_validator(mode="after")
    def _place(self) -> Self:
        if self.axis == "across" and self.at is None:
            raise fault("a hinge across the bar needs its place", "give 'at'")
        if self.axis == "along" and self.at is not None:
            raise fault(
                "a hinge along the bar runs through both arches and has no 'at'",
                "take 'at' out, or write axis = \"across\"",
            )
        return self


class Rigging(Settings):
    """Where straps attach, along the bar behind its front tip."""

    front: NotNegative
    rear: NotNegative


class TreeSettings(Settings):
    """A whole tree file."""

    name: str = Field(min_length=1)
    about: str = ""
    kind: Literal["pack", "riding"]
    mass: Mass
    bar: BarSettings
    arches: Arches
    rigging: Rigging
    pivot: Pivot | None = None
