"""Makes docs/pictures/demo.png, the sheet the README shows: `make pictures`."""

from __future__ import annotations

import tempfile
from pathlib import Path

from PIL import Image

from fitsim.demo import demo_folder, demo_job
from fitsim.draw.sheet import draw_cases
from fitsim.study.job import fitted

CASE = "both"
WIDTH = 1600
COLOURS = 256


def main() -> None:
    """Fit the demo's tree, draw its cases, keep one small enough for a page."""
    fitset = fitted(demo_job(demo_folder())[1])
    with tempfile.TemporaryDirectory() as folder:
        sheet = Image.open(draw_cases(fitset, folder)[CASE]).convert("RGB")
    size = WIDTH, round(sheet.height * WIDTH / sheet.width)
    small = sheet.resize(size, Image.Resampling.LANCZOS)
    few = small.quantize(COLOURS, Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    few.save(Path(__file__).with_name("demo.png"), optimize=True)


if __name__ == "__main__":
    main()
