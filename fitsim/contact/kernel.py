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
from scipy.interpolate import CubicSpline
from scipy.sparse import csr_array

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
# Of them worked out; a spline through these gives the others to within 2e-6.
_KNOTS = 120


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
    values = np.column_stack([_sampled(stack, waves.samples) for stack in stacks])
    # Rows beyond the middle are those before it, mirrored: a layer answers alike either way.
    symbols = (waves.folded @ values).T.reshape(len(stacks), rows // 2 + 1, -1)
    offsets = tuple(np.arange(1 - n, n) for n in shape)
    return _spread(symbols, (rows, columns))[:, offsets[0][:, None], offsets[1]] / spacing**2


def _spread(symbols: Array, torus: tuple[int, int]) -> Array:
    """Periodic influence (K, n, m) of symbols (K, n // 2 + 1, m // 2 + 1), even both ways."""
    along = fft.irfft(symbols, torus[0], axis=1)
    return np.asarray(fft.irfft(along, torus[1], axis=2))


def _sampled(stack: Stack, samples: Array) -> Array:
    """Compliance (s,) m/Pa at close samples, the first 0, by a spline through a few of them."""
    wave = np.log(samples[1:])
    few = np.linspace(wave[0], wave[-1], _KNOTS)
    exact = normal_compliance(stack, np.exp(np.concatenate([[-np.inf], few])))
    between = CubicSpline(few, np.log(exact[1:]))(wave)
    return np.concatenate([exact[:1], np.exp(between)])


@dataclass(frozen=True)
class _Waves:
    """Wavenumbers of a torus.

    Attributes
    ----------
    samples : (s,) array, 1/m, of a layer's compliance.
    folded : (q, s) sparse array, -, from the samples to the symbol at the q wavenumbers of a
        quarter of the torus: read between the samples, averaged over cells, and folded.
    """

    samples: Array
    folded: csr_array


# Two hundred plausible backs share a grid.
@lru_cache(maxsize=2)
def _waves(torus: tuple[int, int], spacing: float) -> _Waves:
    wave, weight = _folded_waves(torus, spacing)
    index, part, samples = _log_index(wave)
    row = np.broadcast_to(np.arange(wave.shape[1]), wave.shape)
    entries = (
        np.concatenate([(weight * (1.0 - part)).ravel(), (weight * part).ravel()]),
        (np.tile(row.ravel(), 2), np.concatenate([index.ravel(), index.ravel() + 1])),
    )
    folded = csr_array(entries, shape=(wave.shape[1], len(samples)))
    samples.setflags(write=False)
    return _Waves(samples, folded)


def _folded_waves(torus: tuple[int, int], spacing: float) -> tuple[Array, Array]:
    """Wavenumbers (folds, q) 1/m that look alike on the grid, and their cell-average weights."""
    kx, kt = (2.0 * np.pi * fft.rfftfreq(n, spacing) for n in torus)
    shift = 2.0 * np.pi / spacing * np.arange(-_FOLDS, _FOLDS + 1)
    folded_x = (kx[None, :] + shift[:, None])[:, None, :, None]
    folded_t = (kt[None, :] + shift[:, None])[None, :, None, :]
    wave = np.hypot(folded_x, folded_t)
    half = spacing / (2.0 * np.pi)
    weight = np.sinc(folded_x * half) ** 2 * np.sinc(folded_t * half) ** 2
    folds, places = (2 * _FOLDS + 1) ** 2, len(kx) * len(kt)
    return wave.reshape(folds, places), weight.reshape(folds, places)


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
