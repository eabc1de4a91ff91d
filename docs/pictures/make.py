"""Makes docs/pictures/demo.png, the sheet the README shows: `make pictures`."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from PIL import Image

from fitsim.demo import demo_folder, demo_job
from fitsim.draw.palette import DAYLIGHT, DAYLIGHT_INK, INK, PANEL, PAPER, pressure_map
from fitsim.draw.sheet import draw_cases
from fitsim.study.job import fitted

CASE = "both"
WIDTH = 1600
STEP = 3


def main() -> None:
    """Fit the demo's tree, draw its cases, keep one small enough for a page."""
    fitset = fitted(demo_job(demo_folder())[1])
    with tempfile.TemporaryDirectory() as folder:
        sheet = Image.open(draw_cases(fitset, folder)[CASE]).convert("RGB")
    size = WIDTH, round(sheet.height * WIDTH / sheet.width)
    small = sheet.resize(size, Image.Resampling.LANCZOS)
    in_few_colours(small).save(Path(__file__).with_name("demo.png"), optimize=True)


def in_few_colours(picture: Image.Image) -> Image.Image:
    """Return a picture in 256 colours: a third of them the scale's own."""
    scale = np.vstack([pressure_map()[::STEP], PAPER, PANEL, INK, DAYLIGHT, DAYLIGHT_INK])
    others = picture.quantize(256 - len(scale), Image.Quantize.MEDIANCUT).getpalette() or []
    palette = Image.new("P", (1, 1))
    palette.putpalette([*scale.ravel().tolist(), *others[: 3 * (256 - len(scale))]])
    return picture.quantize(palette=palette, dither=Image.Dither.FLOYDSTEINBERG)


if __name__ == "__main__":
    main()
