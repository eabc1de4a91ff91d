"""Makes docs/pictures/app-*.png, the app on the demo's mule at three sizes of screen.

And what it shows besides: daylight, a slider between two trees, their difference, a hand. Start
`fitsim app --no-browser --port 8930` in another terminal, then run this with the dev dependencies
installed and Chromium on the PATH.
"""

from __future__ import annotations

import io
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from make import in_few_colours
from PIL import Image
from playwright.sync_api import sync_playwright

if TYPE_CHECKING:
    from collections.abc import Sequence

    from playwright.sync_api import Browser

PAGE = "http://127.0.0.1:8930/"
SIZES = ((1920, 1080), (1280, 800), (1024, 768))
SOFTWARE_3D = ("--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--ignore-gpu-blocklist")
DRAWN = 8_000
"""ms, until software has drawn the back."""
WIDER = ("#compare-button", "[data-for='1']", "front_wider=0.04")
SHOWN = {
    "daylight": ("[data-cinches=front]", "#cut-button", "behind=0.4"),
    "slider": (*WIDER, "[data-way=wipe]"),
    "difference": (*WIDER, "[data-way=apart]"),
    "hand": ("#hands-button", "hand-amount=0.05"),
}
"""What is clicked, or which slider is set, for each picture besides."""


def main() -> None:
    """Photograph the page at each size, in 256 colours so that it stays small."""
    with sync_playwright() as player:
        browser = player.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", *SOFTWARE_3D]
        )
        for width, height in SIZES:
            photograph(browser, (width, height), f"app-{width}x{height}.png", ())
        for name, steps in SHOWN.items():
            photograph(browser, (1280, 800), f"app-{name}.png", steps)
        browser.close()


def photograph(browser: Browser, size: tuple[int, int], name: str, steps: Sequence[str]) -> None:
    """Open the page anew, do the steps and take its picture."""
    page = browser.new_page(viewport={"width": size[0], "height": size[1]})
    page.goto(PAGE)
    page.wait_for_timeout(DRAWN)
    for step in steps:
        if "=" in step and not step.startswith("["):
            page.evaluate(
                "([id, to]) => { const one = document.getElementById(id); one.value = to;"
                " one.dispatchEvent(new Event('input', { bubbles: true })); }",
                step.split("="),
            )
        else:
            page.click(step)
        page.wait_for_timeout(DRAWN // 4)
    shot = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    in_few_colours(shot).save(Path(__file__).with_name(name), optimize=True)
    page.close()


if __name__ == "__main__":
    main()
