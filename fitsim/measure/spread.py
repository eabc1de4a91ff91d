"""How far the bars lie from the spine."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.measure.gaps import SIDES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitsim.back.back import Chart
    from fitsim.contact.equilibrium import Equilibrium

USED_TO = 0.050
"""m from the spine line to a bar's inner edge: 25 mm works, up to this is used (common practice,
no source)."""


def inner_edges(chart: Chart, equilibrium: Equilibrium) -> Mapping[str, float]:
    """Distance from the spine line to each bar's inner edge, over the skin.

    Parameters
    ----------
    chart : Chart
        Its t runs across from the spine line.
    equilibrium : Equilibrium
        Its `bar` tells which nodes lie under a bar.

    Returns
    -------
    dict of float, m
        By "left" and "right": median over the stations along the bar; nan without a node. Known
        to half the grid's spacing.
    """
    across = np.broadcast_to(chart.t, chart.valid.shape)[chart.valid]
    row = np.broadcast_to(np.arange(len(chart.x))[:, None], chart.valid.shape)[chart.valid]
    return {
        side: _inner(across, row, equilibrium.bar == sign, sign) for side, sign in SIDES.items()
    }


def _inner(
    across: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    row: np.ndarray[tuple[int, ...], np.dtype[np.int_]],
    under: np.ndarray[tuple[int, ...], np.dtype[np.bool_]],
    sign: int,
) -> float:
    """Median over the rows of the node nearest to the spine, m."""
    if not under.any():
        return float("nan")
    out = sign * across[under]
    rows = row[under]
    return float(np.median([out[rows == one].min() for one in np.unique(rows)]))
