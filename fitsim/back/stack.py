"""The nouns `Layer` and `Stack`: tissue from the skin down to bone."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Layer:
    """One elastic layer.

    Attributes
    ----------
    name : "skin", "fat", "muscle", ...
    thickness : m.
    young : Pa, small-strain Young's modulus.
    poisson : -, up to and including 0.5.
    """

    name: str
    thickness: float
    young: float
    poisson: float

    @property
    def shear(self) -> float:
        """Shear modulus, Pa."""
        return self.young / (2.0 * (1.0 + self.poisson))


@dataclass(frozen=True)
class Stack:
    """Layers bonded to each other and, at the bottom, to rigid bone.

    Attributes
    ----------
    name : of the tissue, for example "long muscle".
    layers : from the skin down.
    """

    name: str
    layers: tuple[Layer, ...]

    @property
    def thickness(self) -> float:
        """Depth from skin to bone, m."""
        return sum(layer.thickness for layer in self.layers)
