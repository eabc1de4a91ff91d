"""Influence tables: what a force on one grid cell does to every other cell of a uniform back.

Cells are squares of the chart. The table is the layer's compliance averaged over both the
loaded and the observed cell, so its Fourier symbol is non-negative and every matrix taken from
it is positive definite by construction, whatever nodes are chosen.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fitsim.contact.layer import normal_compliance

if TYPE_CHECKING:
    from fitsim.back.stack import Stack

Array = NDArray[np.float64]

# Wavenumbers beyond the grid's own are folded back this many times; the cell average makes them
# fall with k^-3, so what is left out is below 0.1 % of the self term.
_FOLDS = 2
# A bonded layer's influence has died away within this many depths.
_REACH_DEPTHS = 5.0
# Samples of the symbol: between them it is read to within 1e-5.
_SAMPLES = 1000


def influence_tables(stacks: tuple[Stack, ...], shape: tuple[int, int], spacing: float) -> Array:
    """Sinking of a cell per newton on another cell, for every offset on the grid.

    Parameters
    ----------
    stacks : K stacks
        Tissue, taken as uniform over the whole surface.
    shape : (nx, nt)
        Grid size, nodes.
    spacing : float, m
        Grid spacing, the side of a cell.

    Returns
    -------
    (K, 2 nx - 1, 2 nt - 1) array, m/N
        Entry ``[k, i + nx - 1, j + nt - 1]`` is the mean sinking of a cell i rows and j columns
        away from the loaded one.

    Examples
    --------
    >>> from fitsim.back.stack import Layer, Stack
    >>> muscle = Stack("muscle", (Layer("muscle", 0.045, 60e3, 0.47),))
    >>> table = influence_tables((muscle,), (4, 3), 0.01)[0]
    >>> table.shape, bool(table.argmax() == table.size // 2)
    ((7, 5), True)
    """
    depth = max(stack.thickness for stack in stacks)
    # In whole tens, so that backs a little deeper or shallower are worked out on the same torus.
    margin = 10 * int(np.ceil(_REACH_DEPTHS * depth / spacing / 10.0))
    rows, columns = (fft.next_fast_len(2 * n + margin, real=True) for n in shape)
    waves = _waves((rows, columns), spacing)
    index, part = waves.index, waves.part
    tables = np.empty((len(stacks), 2 * shape[0] - 1, 2 * shape[1] - 1))
    for table, stack in zip(tables, stacks, strict=True):
        values = normal_compliance(stack, waves.samples)
        symbol = np.einsum(
            "fij,fij->ij", waves.weight, values[index] * (1.0 - part) + values[index + 1] * part
        )
        periodic = fft.irfft2(symbol, s=(rows, columns)) / spacing**2
        offsets = (np.arange(1 - n, n) for n in shape)
        table[:] = periodic[np.ix_(*offsets)]
    return tables


@dataclass(frozen=True)
class _Waves:
    """Wavenumbers of a torus: where each lies between the samples, and its cell-average weight.

    Attributes
    ----------
    index : (f, n, m) int array, the sample below each, for f folds.
    part : (f, n, m) array, -, how far it is towards the next.
    weight : (f, n, m) array, -.
    samples : (s,) array, 1/m.
    """

    index: NDArray[np.int_]
    part: Array
    weight: Array
    samples: Array


# Two hundred plausible backs share a grid.
@lru_cache(maxsize=2)
def _waves(torus: tuple[int, int], spacing: float) -> _Waves:
    wave, weight = _folded_waves(torus, spacing)
    index, part, samples = _log_index(wave)
    for kept in (index, part, weight, samples):
        kept.setflags(write=False)
    return _Waves(index, part, weight, samples)


def _folded_waves(torus: tuple[int, int], spacing: float) -> tuple[Array, Array]:
    """Wavenumbers (folds, n, m) 1/m that look alike on the grid, and their cell-average weights."""
    kx = 2.0 * np.pi * fft.fftfreq(torus[0], spacing)
    kt = 2.0 * np.pi * fft.rfftfreq(torus[1], spacing)
    shift = 2.0 * np.pi / spacing * np.arange(-_FOLDS, _FOLDS + 1)
    folded_x = (kx[None, :] + shift[:, None])[:, None, :, None]
    folded_t = (kt[None, :] + shift[:, None])[None, :, None, :]
    wave = np.hypot(folded_x, folded_t)
    half = spacing / (2.0 * np.pi)
    weight = np.sinc(folded_x * half) ** 2 * np.sinc(folded_t * half) ** 2
    folds = (2 * _FOLDS + 1) ** 2
    return (
        wave.reshape(folds, len(kx), len(kt)),
        np.broadcast_to(weight, wave.shape).reshape(folds, len(kx), len(kt)),
    )


def _log_index(wave: Array) -> tuple[NDArray[np.int_], Array, Array]:
    """Where each wavenumber lies between logarithmic samples: index, part and the samples.

    Sample 0 is k = 0 itself. Linear interpolation between positive values stays positive.
    """
    lowest, highest = wave[wave > 0.0].min(), wave.max() * 1.0001
    samples = np.concatenate([[0.0], np.geomspace(lowest, highest, _SAMPLES)])
    step = np.log(highest / lowest) / (_SAMPLES - 1)
    with np.errstate(divide="ignore"):
        place = 1.0 + np.log(wave / lowest) / step
    index = np.where(wave > 0.0, np.clip(np.floor(place), 1, _SAMPLES - 1), 0).astype(np.int_)
    left, right = samples[index], samples[index + 1]
    return index, (wave - left) / (right - left), samples
