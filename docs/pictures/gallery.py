"""Remakes the pictures of docs/gallery.md by the commands that stand there: `make pictures`."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from make import in_few_colours
from PIL import Image

HERE = Path(__file__).parent
WIDTH = 1300
MADE = {
    "fit": ("fit meshes/broad_pony.ply --tree riding-narrow", "rider.png"),
    "hands": ("hands meshes/mule.ply --tree riding-middle", "hands.png"),
    "cinches": (
        "cinches meshes/mule.ply --tree pack-pivoting --load pack --spacing 14mm",
        "cinches.png",
    ),
}


def main() -> None:
    """Run each command and keep its picture, small enough for a page."""
    for name, (command, picture) in MADE.items():
        with tempfile.TemporaryDirectory() as folder:
            ask = [sys.executable, "-m", "fitsim", *command.split(), "-o", folder, "--quiet"]
            subprocess.run(ask, check=True, cwd=HERE.parents[1], stdout=subprocess.DEVNULL)
            keep(Path(folder) / picture, name)


def keep(file: Path, name: str) -> None:
    """Keep one picture of the gallery."""
    with Image.open(file) as drawn:
        sheet = drawn.convert("RGB")
    size = WIDTH, round(sheet.height * WIDTH / sheet.width)
    small = sheet.resize(size, Image.Resampling.LANCZOS)
    in_few_colours(small).save(HERE / f"gallery-{name}.png", optimize=True)


if __name__ == "__main__":
    main()
