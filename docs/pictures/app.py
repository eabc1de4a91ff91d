"""Makes docs/pictures/app-*.png, the app on the demo's mule at three sizes of screen.

Start `fitsim app --no-browser --port 8930` in another terminal, then run this with the dev
dependencies installed and Chromium on the PATH.
"""

from __future__ import annotations

import io
import shutil
from pathlib import Path

from make import in_few_colours
from PIL import Image
from playwright.sync_api import sync_playwright

PAGE = "http://127.0.0.1:8930/"
SIZES = ((1920, 1080), (1280, 800), (1024, 768))
SOFTWARE_3D = ("--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--ignore-gpu-blocklist")
DRAWN = 8_000
"""ms, until software has drawn the back."""


def main() -> None:
    """Photograph the page at each size, in 256 colours so that it stays small."""
    with sync_playwright() as player:
        browser = player.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", *SOFTWARE_3D]
        )
        for width, height in SIZES:
            page = browser.new_page(viewport={"width": width, "height": height})
            page.goto(PAGE)
            page.wait_for_timeout(DRAWN)
            shot = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
            few = in_few_colours(shot)
            few.save(Path(__file__).with_name(f"app-{width}x{height}.png"), optimize=True)
            page.close()
        browser.close()


if __name__ == "__main__":
    main()
