"""What an electronic mat between tree and back would read: means over its cells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.measure.pressure import CONTACT

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Chart

    Array = NDArray[np.float64]

CELL = (0.02, 0.03)
"""m, along and across the back: the size of the cells in the studies that results are held to."""


@dataclass(frozen=True)
class MatReading:
    """The cells of a mat that read anything.

    Attributes
    ----------
    pressure : (c,) array, Pa, mean over each cell.
    x, t : (c,) arrays, m, middle of each in chart coordinates.
    """

    pressure: Array
    x: Array
    t: Array

    @property
    def mean(self) -> float:
        """Mean over the loaded cells, Pa; 0 without any."""
        return float(self.pressure.mean()) if len(self.pressure) else 0.0

    @property
    def highest(self) -> float:
        """Highest cell, Pa."""
        return float(self.pressure.max(initial=0.0))


def mat_reading(chart: Chart, pressure: Array, cell: tuple[float, float] = CELL) -> MatReading:
    """Read a mat laid on the back with its cells along the spine.

    Parameters
    ----------
    chart : Chart
    pressure : (n,) array, Pa
        On the chart's valid nodes.
    cell : (along, across), m

    Returns
    -------
    MatReading
        Cells above 0.5 kPa, each the mean over its whole area, pressed or not.
    """
    valid = chart.valid
    x = np.broadcast_to(chart.x[:, None], valid.shape)[valid]
    t = np.broadcast_to(chart.t[None, :], valid.shape)[valid]
    # A node on the border of two cells falls to the outer one on either side of the spine.
    row = np.floor(x / cell[0] + 1e-6).astype(int)
    column = (np.sign(t) * np.floor(np.abs(t) / cell[1] + 0.5)).astype(int)
    row -= row.min()
    lowest = column.min()
    place = row * (np.ptp(column) + 1) + column - lowest
    area = chart.area[valid]
    whole = np.bincount(place, weights=area)
    mean = np.bincount(place, weights=area * pressure) / np.where(whole > 0.0, whole, 1.0)
    loaded = np.flatnonzero(mean > CONTACT)
    middle_x = np.bincount(place, weights=area * x)[loaded] / whole[loaded]
    middle_t = np.bincount(place, weights=area * t)[loaded] / whole[loaded]
    return MatReading(mean[loaded], middle_x, middle_t)
