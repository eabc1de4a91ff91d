"""Bonded elastic layers over bone: surface compliance in wavenumber space."""

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
