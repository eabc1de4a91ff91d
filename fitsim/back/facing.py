"""Which end of a trunk is the head's, when neither legs nor head are in the scan."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.withers import widths_below

if TYPE_CHECKING:
    from fitsim.back.crest import Crest
    from fitsim.back.trunk import TrunkSurface


def head_evidence(surface: TrunkSurface, crest: Crest, scale: float) -> float:
    """Signs that +x is the head's end: positive for yes, negative for no, about +-1 when clear.

    Parameters
    ----------
    surface : TrunkSurface
    crest : Crest
    scale : float
        Size of the animal over one of 1.5 m.

    Returns
    -------
    float

    Notes
    -----
    Two signs, added: the trunk is narrower just below the crest at the withers than at the
    loin (the horse measured for this project: 0.34 m against 0.52 m, 10 cm below the crest),
    and the crest rises into the neck in front but falls over the croup behind.
    """
    width = widths_below(surface, crest, 0.10 * scale)
    known = np.isfinite(width) & crest.seen
    if known.sum() < 10:  # noqa: PLR2004 - fewer rows than 0.1 m say nothing
        return 0.0
    x = crest.x[known] - crest.x[known].mean()
    slope = np.polyfit(x / np.ptp(x), np.log(width[known]), 1)[0]
    z = crest.z[crest.seen]
    end = max(3, len(z) // 8)
    body = np.polyfit(np.arange(len(z)), z, 1)
    left = z - np.polyval(body, np.arange(len(z)))
    rise = (left[-end:].mean() - left[:end].mean()) / (0.05 * scale)
    return float(-slope / 0.2 + 0.5 * np.clip(rise, -1.0, 1.0))
