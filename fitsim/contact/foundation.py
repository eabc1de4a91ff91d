"""The back's surface compliance, built once per scan and used for every tree, cinch and pose."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fitsim.contact.felt import REACH, felt_weights
from fitsim.contact.kernel import influence_tables
from fitsim.contact.layer import shear_compliance

if TYPE_CHECKING:
    from fitsim.back.back import Chart, Tissue

Array = NDArray[np.float64]
Index = NDArray[np.int_]

# A layer curved about its bone is softer than a flat one by about this times depth over radius
# (computed with finite elements, plane strain, h/R up to 0.25: docs/theory).
_CURVATURE_SOFTENING = 0.4
_LARGEST_DEPTH_OVER_RADIUS = 0.25
# Half-width of a bar's contact, m: the length over which shear under a bar varies.
_SHEAR_HALF_WIDTH = 0.05


@dataclass(frozen=True)
class Ready:
    """A block of the compliance worked out before.

    Attributes
    ----------
    place : (n,) int array, row of each node in the block, -1 for a node that is not in it.
    matrix : (m, m) array, m/N.
    """

    place: Index
    matrix: Array

    def cut(self, chosen: Index) -> Array | None:
        """Block (c, c) m/N between some of the nodes; None where one of them is not in it."""
        place = self.place[chosen]
        if (place < 0).any():
            return None
        return self.matrix.take(place, axis=0).take(place, axis=1)


@dataclass(frozen=True)
class Foundation:
    """Linear compliance C of the back: sinking (m) of every node per force (N) on every other.

    C = sum over the K tissue stacks of W_k^(1/2) G_k W_k^(1/2), with blending weights that are
    positive and sum to one, and G_k the influence of a uniform layer. Each term is positive
    definite, so C is, whatever the tissue map.

    Attributes
    ----------
    shape : (nx, nt) grid.
    spacing : m.
    nodes : (n,) int array, place of each node in the flattened grid.
    points : (n, 3) array, m, body frame.
    normals : (n, 3) array, unit, outward.
    area : (n,) array, m2.
    depth : (n,) array, m, skin to bone.
    root : (n, K) array, square roots of the blending weights, with the curvature's softening.
    tables : (K, 2 nx - 1, 2 nt - 1) array, m/N, see `fitsim.contact.kernel`.
    shear_compliance : (n,) array, m/Pa, sideways motion of the skin per traction under a bar.
    ready : blocks between any of these nodes are cut out of one worked out before (`readied`).
    """

    shape: tuple[int, int]
    spacing: float
    nodes: Index
    points: Array
    normals: Array
    area: Array
    depth: Array
    root: Array
    tables: Array
    shear_compliance: Array
    ready: Ready | None = None

    def block(self, chosen: Index) -> Array:
        """Dense compliance (m, m) m/N between the chosen nodes, positive definite."""
        cut = None if self.ready is None else self.ready.cut(chosen)
        return self._worked_out(chosen) if cut is None else cut

    def readied(self, chosen: Index) -> Foundation:
        """The same, with the block between some nodes kept for trees that are laid among them.

        Parameters
        ----------
        chosen : (m,) int array
            Takes 8 m^2 bytes.

        Returns
        -------
        Foundation
        """
        place = np.full(len(self.nodes), -1)
        place[chosen] = np.arange(len(chosen))
        return replace(self, ready=Ready(place, self._worked_out(chosen)))

    def _worked_out(self, chosen: Index) -> Array:
        """A block from the influence tables."""
        rows, columns = np.divmod(self.nodes[chosen].astype(np.int32), self.shape[1])
        # One number that says where a node is in the influence table, so that the difference of
        # two nodes' numbers is the place of their offset.
        place = rows * self.tables.shape[2] + columns
        centre = (self.shape[0] - 1) * self.tables.shape[2] + self.shape[1] - 1
        result = np.zeros((len(chosen), len(chosen)))
        for root, table in zip(self.root[chosen].T, self.tables, strict=True):
            used = np.flatnonzero(root)
            if len(used) == 0:
                continue
            part = table.ravel().take(place[used, None] - place[None, used] + centre)
            part *= root[used, None]
            part *= root[None, used]
            result[used[:, None], used[None, :]] += part
        return result

    def deflection(self, force: Array) -> Array:
        """Linear sinking (n,) m of every node under forces (n,) N, by FFT convolution."""
        padded = tuple(fft.next_fast_len(2 * n - 1, real=True) for n in self.shape)
        grid = np.zeros((self.root.shape[1], *self.shape))
        flat = grid.reshape(len(grid), -1)
        flat[:, self.nodes] = self.root.T * force
        spread = fft.irfft2(fft.rfft2(grid, s=padded) * self._spectra, s=padded)
        found = spread[:, : self.shape[0], : self.shape[1]].reshape(len(grid), -1)
        sinking: Array = np.einsum("nk,kn->n", self.root, found[:, self.nodes])
        return sinking

    def moved(self, points: Array, normals: Array | None = None) -> Foundation:
        """The same tissue with its skin elsewhere.

        Parameters
        ----------
        points : (n, 3) array, m
        normals : (n, 3) array, unit, optional
            As they are where not given.

        Returns
        -------
        Foundation
            With the compliance of this one: what is worked out from it is taken along.
        """
        there = replace(self, points=points, normals=self.normals if normals is None else normals)
        if "_spectra" in vars(self):
            vars(there)["_spectra"] = self._spectra
        return there

    @cached_property
    def _spectra(self) -> NDArray[np.complex128]:
        """Transforms of the influence tables, laid out for circular convolution."""
        padded = tuple(fft.next_fast_len(2 * n - 1, real=True) for n in self.shape)
        laid = np.zeros((len(self.tables), *padded))
        rows = np.arange(1 - self.shape[0], self.shape[0])
        columns = np.arange(1 - self.shape[1], self.shape[1])
        laid[:, rows[:, None], columns[None, :]] = self.tables
        spectra: NDArray[np.complex128] = fft.rfft2(laid)
        return spectra


def build_foundation(
    chart: Chart,
    tissue: Tissue,
    *,
    curved: float = _CURVATURE_SOFTENING,
    reach: float = REACH,
    stiffens: bool = True,
) -> Foundation:
    """Compliance of a charted back with its tissue map.

    Parameters
    ----------
    chart : Chart
        Surface on its regular grid.
    tissue : Tissue
        K layer stacks and their weights at every node.
    curved : float, -
        Softening by curvature over depth over radius; 0 takes the back as flat.
    reach : float, -
        How far off bone is felt, over depth; 0 takes every node's tissue as going on for ever.
    stiffens : bool
        Whether tissue stiffens as it is squeezed towards the bone.

    Returns
    -------
    Foundation

    Notes
    -----
    The softening by curvature is 1 + 0.4 h/R, put half on either side of G so that C stays
    symmetric. The last three are for comparing the model with and without its corrections.
    """
    nodes = np.flatnonzero(chart.valid)
    under = tissue.weights @ np.array([stack.thickness for stack in tissue.palette])
    depth = under.ravel()[nodes]
    felt = felt_weights(tissue.weights, under, chart.spacing, reach)
    weights = felt.reshape(-1, len(tissue.palette))[nodes]
    bend = np.clip(depth * chart.curvature.ravel()[nodes], 0.0, _LARGEST_DEPTH_OVER_RADIUS)
    soft = np.sqrt(1.0 + curved * bend)
    wave = np.array([1.0 / _SHEAR_HALF_WIDTH])
    shear = weights @ np.array([shear_compliance(stack, wave)[0] for stack in tissue.palette])
    shape = chart.valid.shape
    return Foundation(
        shape=(shape[0], shape[1]),
        spacing=chart.spacing,
        nodes=nodes,
        points=chart.points.reshape(-1, 3)[nodes],
        normals=chart.normals.reshape(-1, 3)[nodes],
        area=chart.area.ravel()[nodes],
        depth=depth if stiffens else np.full_like(depth, np.inf),
        root=np.sqrt(weights) * soft[:, None],
        tables=influence_tables(tissue.palette, (shape[0], shape[1]), chart.spacing),
        shear_compliance=shear,
    )
