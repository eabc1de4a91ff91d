"""What to take off a bar, drawn over its plan in true size, and as a table."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

import numpy as np

from fitsim.workshop.drawing import Drawing, Label, Line
from fitsim.workshop.lengthwise import plan

if TYPE_CHECKING:
    from fitsim.study.rasp import Rasped
    from fitsim.workshop.built import Built

#: Depths at which a line is drawn, m, and grid of the table, m.
LEVELS, GRID = (0.0005, 0.001, 0.002, 0.003), 0.010


def rasp_drawings(made: Built, found: Rasped) -> list[Drawing]:
    """Lines of equal depth over each bar's plan, seen from above, front to the right.

    Parameters
    ----------
    made : the tree.
    found : what to take off.

    Returns
    -------
    List of Drawing, left bar then right; empty where nothing is to be taken off.
    """
    if not any(depth.any() for depth in found.depth):
        return []
    kept = tuple(line for line in plan(made, ()).lines if line.layer in ("CUT", "SLOT", "MIDDLE"))
    drawings = []
    for index, side in enumerate(("left", "right")):
        flip = np.array([1.0, 1.0 if side == "left" else -1.0])
        base = tuple(Line(one.layer, one.points * flip, closed=one.closed) for one in kept)
        lines, labels = _contours(found, index)
        title = (
            f"{side.capitalize()} bar from above, front to the right: take off the underside, "
            f"to the depths at the lines (peak {found.before / 1e3:.1f} to "
            f"{found.after / 1e3:.1f} kPa in the model)"
        )
        drawings.append(Drawing(f"rasp-{side}", title, (*base, *lines), labels))
    return drawings


def rasp_table(found: Rasped) -> str:
    """CSV of the depth to take off, and of a shim that does the same.

    Parameters
    ----------
    found : what to take off.

    Returns
    -------
    str; a row for each place on a 10 mm grid of each bar.
    """
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\n").writerow
    write(("bar", "behind_front_tip_mm", "outwards_of_middle_mm", "take_off_mm", "or_shim_mm"))
    for index, side in enumerate(("left", "right")):
        face = found.tree.bars[index].underside
        outwards = 1.0 if side == "left" else -1.0
        step = max(1, round(GRID / float(face.xi[1] - face.xi[0])))
        for i in range(0, len(face.xi), step):
            for j in range(0, len(face.eta), step):
                if face.inside[i, j] <= 0.0:
                    continue
                place = (face.front - face.xi[i], outwards * face.eta[j])
                depths = (found.depth[index][i, j], found.shim[index][i, j])
                write((side, *(f"{1e3 * one:.1f}" for one in (*place, *depths))))
    return out.getvalue()


def _contours(found: Rasped, index: int) -> tuple[list[Line], tuple[Label, ...]]:
    from contourpy import contour_generator

    face = found.tree.bars[index].underside
    depth = np.ma.masked_where(face.inside <= 0.0, found.depth[index])
    lines, labels = [], []
    generator = contour_generator(face.xi, face.eta, depth.T)
    for number, level in enumerate(LEVELS):
        for one in generator.lines(level):
            points = np.asarray(one)
            if len(points) < 8:  # noqa: PLR2004 - a speck
                continue
            lines.append(Line("RASP", points))
            # Each level is named at another place along its line, so that the words stay apart.
            at = points[(number + 1) * len(points) // (len(LEVELS) + 2)]
            labels.append(Label((float(at[0]) + 5e-4, float(at[1])), f"{1e3 * level:g} mm"))
    row, column = np.unravel_index(int(depth.filled(0.0).argmax()), depth.shape)
    deepest = (float(face.xi[row]), float(face.eta[column]))
    labels.append(Label(deepest, f"{1e3 * float(depth.max()):.1f} mm"))
    return lines, tuple(labels)
