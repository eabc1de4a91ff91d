"""Nodal forces and tangent of a slab, with the pressure condensed element by element.

Displacements are triquadratic and the mean stress discontinuous and linear in each hexahedron
(Q2/P1): the pair is stable, so nearly incompressible tissue does not lock and its pressure does
not checker. As the mean stress is not shared between elements it is eliminated in each,
``p = K Pi(J - 1)`` with Pi the projection on the linear functions, and only displacements
remain (F. Brezzi, M. Fortin, Mixed and Hybrid Finite Element Methods, 1991, ch. VI,
doi:10.1007/978-1-4612-3172-1; J. C. Simo, R. L. Taylor, K. S. Pister 1985, Comput. Methods
Appl. Mech. Engrg 51:177-208, doi:10.1016/0045-7825(85)90033-7, both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fitsim.contact.reference_model.material import cofactors, stress, tangent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitsim.contact.reference_model.material import NeoHooke
    from fitsim.contact.reference_model.slab import Slab

Array = NDArray[np.float64]
Index = NDArray[np.int_]

# Elements worked on at once: keeps the fourth-order tensors in the processor's cache.
_BATCH = 64


@dataclass(frozen=True)
class Assembly:
    """A slab with its materials and the sparsity pattern of its tangent.

    Attributes
    ----------
    slab : Slab
    shear : (e, 27 points) array, Pa; it may vary within an element.
    bulk : (e,) array, Pa, of each element.
    projection : (e, 4, 27) array, -, from values at quadrature points to linear functions.
    rows, columns : CSR pattern (column indices and row starts) of the tangent.
    slot : (e * 81 * 81,) int array, place of each element entry in the pattern's data.
    """

    slab: Slab
    shear: Array
    bulk: Array
    projection: Array
    columns: Index
    starts: Index
    slot: Index


def assembly(slab: Slab, materials: Sequence[NeoHooke]) -> Assembly:
    """Ready a slab for repeated assembly.

    Parameters
    ----------
    slab : Slab
    materials : one per layer, from the skin down.

    Returns
    -------
    Assembly
    """
    shear = np.array([m.shear for m in materials])[slab.layer]
    bulk = np.array([m.bulk for m in materials])[slab.layer]
    return assembly_of(slab, np.repeat(shear[:, None], slab.volumes.shape[1], axis=1), bulk)


def assembly_of(slab: Slab, shear: Array, bulk: Array) -> Assembly:
    """Ready a slab whose tissue varies from point to point.

    Parameters
    ----------
    slab : Slab
    shear : (e, 27 points) array, Pa
    bulk : (e,) array, Pa

    Returns
    -------
    Assembly
    """
    weighted = slab.volumes[:, None, :] * slab.linear.T
    projection = np.asarray(np.linalg.solve(weighted @ slab.linear, weighted), dtype=np.float64)
    dofs = (3 * slab.elements[:, :, None] + np.arange(3)).reshape(len(slab.elements), 81)
    size = 3 * len(slab.points)
    key = (dofs[:, :, None] * size + dofs[:, None, :]).ravel()
    unique, slot = np.unique(key, return_inverse=True)
    starts = np.searchsorted(unique // size, np.arange(size + 1))
    return Assembly(slab, shear, bulk, projection, unique % size, starts, slot)


def gradient(model: Assembly, displacement: Array) -> Array:
    """Deformation gradient (e, 27 points, 3, 3) of nodal displacements (n, 3), m."""
    local = displacement[model.slab.elements]
    change = np.einsum("eai,eqaj->eqij", local, model.slab.gradients, optimize=True)
    return np.asarray(np.eye(3) + change)


def volume_ratio(model: Assembly, displacement: Array) -> float:
    """Smallest J at any quadrature point; at or below 0 an element is turned inside out."""
    return float(cofactors(gradient(model, displacement))[0].min())


def nodal_forces(model: Assembly, displacement: Array) -> Array:
    """Internal forces on the nodes.

    Parameters
    ----------
    model : Assembly
    displacement : (n, 3) array, m

    Returns
    -------
    (n, 3) array, N
        Derivative of the strain energy.
    """
    slab = model.slab
    F = gradient(model, displacement)
    P = stress(F, model.shear, _mean_stress(model, F))
    local = np.einsum("eq,eqij,eqaj->eai", slab.volumes, P, slab.gradients, optimize=True)
    forces = np.zeros_like(slab.points)
    np.add.at(forces, slab.elements, local)
    return forces


def energy(model: Assembly, displacement: Array) -> float:
    """Strain energy, J (joule), of which `nodal_forces` is the derivative."""
    F = gradient(model, displacement)
    J = cofactors(F)[0]
    first = np.einsum("eqij,eqij->eq", F, F)
    shape = model.shear / 2.0 * (J ** (-2.0 / 3.0) * first - 3.0)
    projected = np.einsum("eaq,eq,pa->ep", model.projection, J - 1.0, model.slab.linear)
    volume = model.bulk[:, None] / 2.0 * projected**2
    return float(((shape + volume) * model.slab.volumes).sum())


def stiffness(model: Assembly, displacement: Array) -> sparse.csr_array:
    """Tangent of `nodal_forces`.

    Parameters
    ----------
    model : Assembly
    displacement : (n, 3) array, m

    Returns
    -------
    (3n, 3n) sparse array, N/m
        Symmetric; degree of freedom 3 * node + axis.
    """
    count = len(model.slab.elements)
    blocks = np.empty((count, 81, 81))
    for start in range(0, count, _BATCH):
        part = slice(start, start + _BATCH)
        blocks[part] = _element_stiffness(model, displacement, part)
    data = np.bincount(model.slot, weights=blocks.ravel(), minlength=len(model.columns))
    size = 3 * len(model.slab.points)
    return sparse.csr_array((data, model.columns, model.starts), shape=(size, size))


def _mean_stress(model: Assembly, F: Array) -> Array:
    """``K Pi(J - 1)`` at the quadrature points."""
    share = np.einsum("eaq,eq->ea", model.projection, cofactors(F)[0] - 1.0)
    return np.asarray(model.bulk[:, None] * (share @ model.slab.linear.T))


def _element_stiffness(model: Assembly, displacement: Array, part: slice) -> Array:
    slab = model.slab
    G, weight = slab.gradients[part], slab.volumes[part]
    F = np.eye(3) + np.einsum("eai,eqaj->eqij", displacement[slab.elements[part]], G, optimize=True)
    J, H = cofactors(F)
    linear = slab.linear
    projection, bulk = model.projection[part], model.bulk[part]
    pressure = bulk[:, None] * (np.einsum("eaq,eq->ea", projection, J - 1.0) @ linear.T)
    A = tangent(F, model.shear[part], pressure) * weight[..., None, None, None, None]
    e, q = J.shape
    left = G.transpose(0, 2, 1, 3).reshape(e, 27, q * 3)
    out = np.empty((e, 27, 3, 27, 3))
    for i in range(3):
        for k in range(i, 3):
            half = np.matmul(G, A[:, :, i, :, k, :])  # (e, q, 27, 3)
            block = half.transpose(0, 2, 1, 3).reshape(e, 27, q * 3) @ left.transpose(0, 2, 1)
            out[:, :, i, :, k] = block
            out[:, :, k, :, i] = block.transpose(0, 2, 1)
    # The volume term: K b^T M b with b the projected change of volume per nodal displacement.
    change = np.matmul(G, H.transpose(0, 1, 3, 2)).reshape(e, q, 81)
    weighted = (weight[:, :, None] * linear).transpose(0, 2, 1) @ change  # (e, 4, 81)
    volume = bulk[:, None, None] * (weighted.transpose(0, 2, 1) @ (projection @ change))
    return np.asarray(out.reshape(e, 81, 81) + volume)
