"""The blended tissue of a back as layers, one below the other, whose thickness varies."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from fitsim.back.back import Chart, Tissue
    from fitsim.back.stack import Layer

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Layers:
    """Materials from the skin down and how thick each is at every node of a chart.

    Attributes
    ----------
    materials : one layer each; their own thickness is not used.
    thickness : (k, nx, nt) array, m; 0 where a material is missing.
    """

    materials: tuple[Layer, ...]
    thickness: Array

    @property
    def depth(self) -> Array:
        """(nx, nt) array, m, skin to bone."""
        return np.asarray(self.thickness.sum(axis=0))


def blended(chart: Chart, tissue: Tissue) -> Layers:
    """Thickness of every material, blended over the palette as the depth is.

    Parameters
    ----------
    chart : Chart
        Its grid is the tissue's.
    tissue : Tissue

    Returns
    -------
    Layers
        Ordered by how deep each material lies, on average, in the stacks that have it.
    """
    thickness: dict[tuple[str, float, float], Array] = {}
    places: dict[tuple[str, float, float], list[float]] = {}
    first: dict[tuple[str, float, float], Layer] = {}
    for number, stack in enumerate(tissue.palette):
        above = 0.0
        for layer in stack.layers:
            key = (layer.name, layer.young, layer.poisson)
            first.setdefault(key, layer)
            blank = np.zeros(chart.valid.shape)
            thickness[key] = (
                thickness.get(key, blank) + tissue.weights[..., number] * layer.thickness
            )
            middle = (above + layer.thickness / 2.0) / stack.thickness
            places.setdefault(key, []).append(middle)
            above += layer.thickness
    order = sorted(first, key=lambda key: float(np.mean(places[key])))
    return Layers(tuple(first[key] for key in order), np.stack([thickness[key] for key in order]))
