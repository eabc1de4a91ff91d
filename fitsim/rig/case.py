"""The noun `Case`: a named Rig + Load, resolved to forces on one tree over one back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

CaseName = Literal["front", "rear", "both", "rider", "pack"]


@dataclass(frozen=True)
class Strap:
    """One strap end pulling on the tree towards a point on the animal.

    Attributes
    ----------
    name : for example "front_cinch_left".
    attach_tree : (3,) array, m, tree frame.
    anchor_body : (3,) array, m, body frame: where the strap first touches the barrel, or its far
        end.
    tension : N, when the strap is not elastic (or at its tight length).
    stiffness : N/m, 0 for a strap of given tension.
    tight_length : m, free length from attach to anchor beyond which an elastic strap pulls;
        ignored when stiffness is 0.
    """

    name: str
    attach_tree: NDArray[np.float64]
    anchor_body: NDArray[np.float64]
    tension: float
    stiffness: float = 0.0
    tight_length: float = 0.0


@dataclass(frozen=True)
class DeadForce:
    """A force of fixed size and direction acting at a point of the tree.

    Attributes
    ----------
    name : for example "tree_weight", "rider".
    point_tree : (3,) array, m, tree frame.
    force_body : (3,) array, N, body frame.
    """

    name: str
    point_tree: NDArray[np.float64]
    force_body: NDArray[np.float64]


@dataclass(frozen=True)
class Pad:
    """What lies between tree and back: a stiffening layer in series with the tissue.

    p(e) = p25 * (exp(b e) - 1)/(exp(b/4) - 1) * ... see `fitsim.rig.pad`; a pad of thickness 0
    is no pad.

    Attributes
    ----------
    name : shown to people; "none" without a pad.
    thickness : m.
    p25 : Pa, pressure at 25 % compression.
    stiffening : exponent b of the compression curve, -; 0 is linear.
    shear_modulus : Pa.
    friction : Coulomb coefficient between coat and pad (or tree).
    mass : kg.
    """

    name: str
    thickness: float
    p25: float
    stiffening: float
    shear_modulus: float
    friction: float
    mass: float = 0.0


@dataclass(frozen=True)
class Case:
    """A named Rig + Load resolved to forces.

    Attributes
    ----------
    name : see `CaseName`.
    straps : strap ends that pull.
    forces : weights and loads.
    """

    name: str
    straps: tuple[Strap, ...]
    forces: tuple[DeadForce, ...]
