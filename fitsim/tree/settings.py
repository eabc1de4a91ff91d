"""The tree file: its keys, their kinds and the rules that make a tree buildable."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Literal, Self

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    model_validator,
)
from pydantic_core import PydanticCustomError

from fitsim.errors import BadSettings
from fitsim.units import quantity

if TYPE_CHECKING:
    from fitsim.units import Kind

#: Validation context under which bare numbers are read as SI: settings that fitsim itself wrote.
SI: dict[str, bool] = {"si": True}


def _read_as(kind: Kind, per: dict[str, float] | None = None) -> BeforeValidator:
    """Reader of one kind of quantity; `per` maps endings of a compound unit to their divisor."""

    def read(value: object, info: ValidationInfo) -> float:
        if isinstance(value, str):
            return _words(value, kind, per or {"": 1.0})
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise PydanticCustomError(
                "quantity",
                "{fault}",
                {
                    "fault": f"{value!r} is no {kind}",
                    "mend": "write a number with its unit in quotes",
                },
            )
        if value != 0 and not (info.context or {}).get("si"):
            raise PydanticCustomError(
                "quantity",
                "{fault}",
                {
                    "fault": f"{value} has no unit",
                    "mend": "write the number with its unit in quotes",
                },
            )
        return float(value)

    return BeforeValidator(read)


def _words(text: str, kind: Kind, per: dict[str, float]) -> float:
    for ending, divisor in per.items():
        if text.endswith(ending):
            try:
                return quantity(text.removesuffix(ending), kind) / divisor
            except BadSettings as error:
                raise PydanticCustomError(
                    "quantity", "{fault}", {"fault": error.fault, "mend": error.mend}
                ) from error
    raise PydanticCustomError(
        "quantity",
        "{fault}",
        {"fault": f"'{text}' has another unit", "mend": 'write it like "400 N*m/rad"'},
    )


Length = Annotated[float, _read_as("length")]
Positive = Annotated[float, _read_as("length"), Field(gt=0)]
NotNegative = Annotated[float, _read_as("length"), Field(ge=0)]
Angle = Annotated[float, _read_as("angle")]
Mass = Annotated[float, _read_as("mass"), Field(gt=0)]
Stiffness = Annotated[
    float, _read_as("force", {"*m/rad": 1.0, "*m/deg": math.radians(1.0)}), Field(ge=0)
]


class _Table(BaseModel):
    """A table of the tree file: unknown keys are refused, values do not change."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Widths(_Table):
    """Full widths of the bar."""

    front: Positive
    middle: Positive
    rear: Positive


class Curve(_Table):
    """Lengthwise curve: a rocker's depth over the bearing length, or its radius."""

    sagitta: Length | None = None
    radius: Length | None = None
    low: Positive | None = Field(None, description="lowest point, behind the front tip")

    @model_validator(mode="after")
    def _one_measure(self) -> Self:
        if (self.sagitta is None) == (self.radius is None):
            msg = "give either 'sagitta' or 'radius'"
            raise ValueError(msg)
        if self.radius == 0:
            msg = "a radius of 0 is no curve; write sagitta = 0 for a straight bar"
            raise ValueError(msg)
        return self


class FlareSettings(_Table):
    """One flared tip."""

    length: NotNegative
    rise: NotNegative


class Flares(_Table):
    """Both tips."""

    front: FlareSettings
    rear: FlareSettings


class BarSettings(_Table):
    """One bar; the other is its mirror image."""

    length: Positive
    width: Widths
    curve: Curve
    twist: Angle | None = Field(None, description="by default what the arches' angles ask for")
    crown: Length = 0.0
    flare: Flares
    edge_roll: NotNegative = 0.008
    corner: Positive = 0.030
    thickness: Positive = 0.024


class ArchSettings(_Table):
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
            msg = "give either 'spread' or 'inner_edge'"
            raise ValueError(msg)
        return self

    @property
    def half_spread(self) -> float:
        """From the middle to the bar's inner edge, m."""
        if self.inner_edge is not None:
            return self.inner_edge
        assert self.spread is not None  # noqa: S101 - the validator saw to it
        return self.spread / 2.0


class Arches(_Table):
    """Front and rear arch, and how far they give."""

    front: ArchSettings
    rear: ArchSettings
    flex: Stiffness | None = Field(None, description="of the arches, each bar, about the length")


class Pivot(_Table):
    """Hinge that lets each bar rock on its own, nose up and down."""

    at: Positive = Field(description="behind the bars' front tip")
    height: Length = Field(0.030, description="above the underside")
    stop: Angle = Field(description="to either side")
    stiffness: Stiffness = 0.0


class Rigging(_Table):
    """Where straps attach, along the bar behind its front tip."""

    front: NotNegative
    rear: NotNegative


class TreeSettings(_Table):
    """A whole tree file."""

    name: str = Field(min_length=1)
    about: str = ""
    kind: Literal["pack", "riding"]
    mass: Mass
    bar: BarSettings
    arches: Arches
    rigging: Rigging
    pivot: Pivot | None = None
