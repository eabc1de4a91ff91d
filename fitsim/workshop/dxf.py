"""Drawings as a DXF in millimetres, each a block, on named layers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.workshop.drawing import LAYERS, extent

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fitsim.workshop.drawing import Drawing

#: AutoCAD colour index of each layer; 7 is black or white, whatever the ground.
COLOUR = {
    "CUT": 7,
    "SLOT": 1,
    "POCKET": 5,
    "MIDDLE": 3,
    "LEVEL": 8,
    "FACE": 6,
    "STATION": 9,
    "RASP": 30,
}

#: Height of letters, and room between drawings, mm.
LETTERS, APART = 3.0, 30.0


def write_dxf(drawings: Sequence[Drawing], path: Path) -> None:
    """Write drawings one above the other.

    Parameters
    ----------
    drawings : in true size; a block each, named by its key, so that its own zero is kept.
    path : of the file, written in place.
    """
    from ezdxf.filemanagement import new
    from ezdxf.units import MM

    document = new("R2010", setup=True)
    document.units = MM
    for layer in LAYERS:
        document.layers.add(layer, color=COLOUR[layer])
    document.layers.add("TEXT", color=7)
    space, up = document.modelspace(), 0.0
    for drawing in drawings:
        block = document.blocks.new(drawing.key)
        for line in drawing.lines:
            block.add_lwpolyline(
                1e3 * line.points, close=line.closed, dxfattribs={"layer": line.layer}
            )
        for label in drawing.labels:
            at = 1e3 * np.asarray(label.at)
            block.add_text(
                label.text, height=LETTERS, dxfattribs={"layer": "TEXT", "insert": tuple(at)}
            )
        low, high = (1e3 * corner for corner in extent(drawing))
        title = {"layer": "TEXT", "insert": (low[0], high[1] + LETTERS)}
        block.add_text(drawing.title, height=1.5 * LETTERS, dxfattribs=title)
        space.add_blockref(drawing.key, (0.0, up - high[1]))
        up -= high[1] - low[1] + APART
    document.saveas(path)
