"""One sheet per case: four views, hotspots, lift, daylight, and one scale for the whole set."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw import overlay
from fitsim.draw.bars import moved, outline
from fitsim.draw.layout import (
    BOXES,
    MARGIN,
    MOSAIC,
    REDUCE,
    SCALE,
    SIZE,
    VERDICT_ROOM,
    VERDICT_SIZES,
    dots,
)
from fitsim.draw.legend import foot, scale_bar, strip_key
from fitsim.draw.lettering import Pen, broken
from fitsim.draw.paint import Canvas, canvas, painted_skin
from fitsim.draw.palette import INK, PANEL, PAPER, scale_top
from fitsim.draw.profile import Look, daylights, stretch, strips
from fitsim.draw.stage import stage, tree_shape
from fitsim.draw.tables import free_zones, hotspot_table, no_result
from fitsim.draw.view import View, views
from fitsim.draw.words import case_title, verdict

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from PIL import Image

    from fitsim.draw.quantity import System
    from fitsim.study.fit import Fit, FitSet

ZLIB_RLE = 3
"""zlib's Z_RLE, which Pillow takes by number."""


@dataclass(frozen=True)
class Region:
    """The corner-to-corner box of both bars in every case of a set, m, body frame."""

    lowest: NDArray[np.float64]
    highest: NDArray[np.float64]


def region(fitset: FitSet) -> Region:
    """Return the box that holds both bars where they were seated, the same for every case."""
    fit = next(iter(fitset.fits.values()))
    rims = [
        moved(fit.equilibrium.T_body_tree_seat @ bar.T_tree_bar, outline(bar))
        for bar in fitset.tree.bars
    ]
    corners = np.vstack(rims)
    return Region(corners.min(axis=0), corners.max(axis=0))


def top_of_scale(fitset: FitSet) -> float:
    """Return the one top of the pressure scale for all cases of a set, Pa."""
    held = [fit.measures for fit in fitset.fits.values() if fit.measures]
    peak, usual = max((m.peak for m in held), default=0.0), max((m.p95 for m in held), default=0.0)
    return scale_top(peak, usual)


def draw_cases(
    fitset: FitSet,
    directory: str | Path,
    *,
    system: System = "metric",
    skin: Canvas | None = None,
    top: float | None = None,
) -> dict[str, Path]:
    """Draw one picture per case into a folder.

    Parameters
    ----------
    fitset : all cases of one tree on one back.
    directory : folder that exists.
    system : "metric" or "inch".
    skin : the unpainted back, made if not given.
    top : Pa, of the scale, where it is shared with other sets; else that of this one.

    Returns
    -------
    The file of each case, by case name: ``<case>.png``.

    Raises
    ------
    RuntimeError
        When this machine draws blank pictures.
    """
    skin = skin or canvas(fitset.back)
    space, top = region(fitset), top or top_of_scale(fitset)
    seen = views(space.lowest, space.highest, BOXES)
    under = daylights(fitset)
    steep = stretch(one for both in under.values() for one in both)
    look = Look(top, steep, fitset.pad.thickness > 0, system)
    body = fitset.tree.vertices, fitset.tree.triangles

    def drawn(name: str, place: NDArray[np.int32], shape: NDArray[np.uint8]) -> Path:
        fit = fitset.fits[name]
        mosaic = shown_skin(painted_skin(skin, fit.equilibrium, top), place, shape)
        sheet, pen = _with_views(fitset, fit, mosaic, seen, look)
        _write_beside(pen, fitset, fit, look)
        if fit.measures is None:
            no_result(pen)
        else:
            strips(pen, fit.measures.lift, under[name], look)
            strip_key(pen, fitset)
        return _saved(sheet.reduce(REDUCE), Path(directory) / f"{name}.png")

    # This thread alone makes the window and renders; as soon as it has a case's shape, another
    # puts the sheet together.
    with (
        ThreadPoolExecutor(max_workers=2) as pool,
        stage(fitset.back.chart, skin.line.shape, body, seen, scale=SCALE, reduce=REDUCE) as on,
    ):
        files = {}
        for name, fit in fitset.fits.items():
            shape = tree_shape(on, moved(fit.equilibrium.T_body_tree, fitset.tree.vertices))
            files[name] = pool.submit(drawn, name, on.place, shape)
    return {name: file.result() for name, file in files.items()}


def _saved(sheet: Image.Image, file: Path) -> Path:
    """Save a sheet, whole or not at all."""
    from fitsim.files import whole_file

    with whole_file(file) as draft:
        # Run lengths alone, for even paper and panels: quicker than level 2 and no longer
        sheet.save(draft, format="PNG", compress_level=1, compress_type=ZLIB_RLE)
    return file


def shown_skin(
    skin: NDArray[np.uint8], place: NDArray[np.int32], tree: NDArray[np.uint8]
) -> Image.Image:
    """Return the mosaic: painted skin looked up for every dot, the tree as a thin veil over it.

    Parameters
    ----------
    skin : (h, w, 3) painted skin.
    place : over the mosaic, one more than the index into the skin, 0 for the panel behind.
    tree : over the mosaic, 255 where the tree is.
    """
    from PIL import Image

    packed = np.empty(skin.shape[0] * skin.shape[1] + 1, dtype=np.uint32)
    dots = packed.view(np.uint8).reshape(-1, 4)
    dots[0] = (*PANEL, 255)
    dots[1:, :3] = skin.reshape(-1, 3)
    looked_up = np.take(packed, place, mode="clip")
    mosaic = Image.frombuffer("RGBX", place.shape[::-1], looked_up, "raw", "RGBX", 0, 1)
    mosaic = mosaic.convert("RGB")
    veil = Image.fromarray((tree > 0).astype(np.uint8) * 26)
    mosaic.paste(INK, (0, 0), veil.resize(mosaic.size, Image.Resampling.BILINEAR))
    return mosaic


def _with_views(
    fitset: FitSet, fit: Fit, mosaic: Image.Image, seen: tuple[View, ...], look: Look
) -> tuple[Image.Image, Pen]:
    """Return a sheet with its four views, and the pen to go on with."""
    from PIL import Image

    sheet = Image.new("RGB", (dots(SIZE[0]), dots(SIZE[1])), PAPER)
    _paste_panels(sheet, mosaic)
    pen = Pen(sheet, SCALE)
    for view in seen:
        corner = (MOSAIC[0] + view.box[0], MOSAIC[1] + view.box[1])
        pen.text(corner[0], corner[1] - 16, view.name, 25, face="bold")
        overlay.draw(overlay.Panel(pen, corner, view), fitset, fit, look.system)
    return sheet, pen


def _write_beside(pen: Pen, fitset: FitSet, fit: Fit, look: Look) -> None:
    """Write what stands around the views."""
    _heading(pen, fit, look.system)
    scale_bar(pen, look.top, look.system)
    hotspot_table(pen, fit, look.system)
    free_zones(pen, fit, look.system)
    foot(pen, fitset)


def _paste_panels(sheet: Image.Image, mosaic: Image.Image) -> None:
    """Lay the panels on the sheet with round corners."""
    from PIL import Image, ImageDraw

    for box in BOXES.values():
        left, top, right, bottom = (dots(edge) for edge in box)
        panel = mosaic.crop((left, top, right, bottom))
        mask = Image.new("L", panel.size, 0)
        corners = (0, 0, panel.width - 1, panel.height - 1)
        ImageDraw.Draw(mask).rounded_rectangle(corners, dots(14), fill=255)
        sheet.paste(panel, (dots(MOSAIC[0]) + left, dots(MOSAIC[1]) + top), mask)


def _heading(pen: Pen, fit: Fit, system: System) -> None:
    """Write the case and what it shows, smaller where it would take more than two lines."""
    pen.text(MARGIN, 104, case_title(fit.case.name), 66, face="serif")
    size, lines = broken(pen, " ".join(verdict(fit, system)[:4]), VERDICT_ROOM, VERDICT_SIZES)
    for row, line in enumerate(lines):
        pen.text(MARGIN, 156 + 38 * row, line, size)
