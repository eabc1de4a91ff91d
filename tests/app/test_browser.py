"""The app in a real browser: Debian's Chromium, found on PATH; skipped where there is none."""

from __future__ import annotations

import asyncio
import json
import shutil
import threading
import zipfile
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import pytest
from aiohttp import web

from fitsim.app.server import application
from fitsim.app.sessions import Sessions

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from fitsim.app.sessions import Place

CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome")
SOFTWARE_GL = (
    "--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader",
    "--ignore-gpu-blocklist", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--no-first-run",
)  # fmt: skip
ANSWER_MS = 20_000

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed")


@contextmanager
def served(place: Place, port: int = 0) -> Iterator[str]:
    """The app on a port of loopback, any that is free, in a thread of its own."""
    ready: list[Any] = []
    began = threading.Event()

    async def run() -> None:
        runner = web.AppRunner(application(Sessions(place)))
        await runner.setup()
        site = web.TCPSite(runner, "127.0.0.1", port)
        await site.start()
        end = asyncio.Event()
        ready.extend([runner.addresses[0][1], asyncio.get_running_loop(), end])
        began.set()
        await end.wait()
        await runner.cleanup()

    thread = threading.Thread(target=lambda: asyncio.run(run()))
    thread.start()
    began.wait(20)
    try:
        yield f"http://127.0.0.1:{ready[0]}/"
    finally:
        ready[1].call_soon_threadsafe(ready[2].set)
        thread.join(20)


@contextmanager
def opened(place: Place) -> Iterator[tuple[Any, list[str]]]:
    """A page that has had its first answer, and what its console said."""
    from playwright.sync_api import sync_playwright

    said: list[str] = []
    with served(place) as address, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=[*SOFTWARE_GL])
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.on("console", lambda one: said.append(one.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.goto(address)
        page.wait_for_selector("body[data-answered]", timeout=ANSWER_MS)
        yield page, said
        browser.close()


def answered(page: Any, after: Any) -> None:  # noqa: ANN401 - playwright's, and what is done
    """Do something and wait until an answer to it has been drawn."""
    before = page.get_attribute("body", "data-answered")
    after()
    page.wait_for_function(
        "was => document.body.dataset.answered !== was", arg=before, timeout=ANSWER_MS
    )


def slide(page: Any, name: str, value: float) -> None:  # noqa: ANN401 - playwright's
    page.evaluate(
        "([id, to]) => { const one = document.getElementById(id); one.value = to;"
        " one.dispatchEvent(new Event('input', { bubbles: true })); }",
        [name, value],
    )


def big(page: Any) -> str:  # noqa: ANN401 - playwright's
    return str(page.inner_text("#first .big"))


def test_move_compare_tour_keep_and_reload(mule: Place, tmp_path: Path) -> None:
    with opened(mule) as (page, said):
        at_first = big(page)
        assert "kPa" in at_first
        answered(page, lambda: page.click("[data-cinches=front]"))
        assert "rear" in page.inner_text("#first .says").lower()
        assert big(page) != at_first
        answered(page, lambda: slide(page, "front_left", 320.0))
        assert page.input_value("#front_right") == "320"  # left and right alike
        answered(page, lambda: page.click("#compare-button"))
        answered(page, lambda: page.select_option("#tree", "riding-flat"))
        assert page.inner_text("#second .big") != big(page)
        page.reload()
        page.wait_for_selector("body[data-answered]", timeout=ANSWER_MS)
        assert page.input_value("#tree") == "riding-flat"  # nothing is lost
        assert page.is_visible("#second")
        answered(page, lambda: page.click("#compare-button"))
        with page.expect_download() as kept:
            page.click("#keep-button")
            page.click("text=Settings as files")
        kept.value.save_as(tmp_path / "settings.zip")
        assert "rig.toml" in zipfile.ZipFile(tmp_path / "settings.zip").namelist()
        with page.expect_download() as kept:
            page.click("#panel >> text=Picture")
        kept.value.save_as(tmp_path / "bench.png")
        assert (tmp_path / "bench.png").read_bytes().startswith(b"\x89PNG")
        page.click("#panel-close")
        assert said == []


@pytest.mark.slow
def test_the_tour_by_keyboard_alone(mule: Place) -> None:
    with opened(mule) as (page, said):
        page.focus("#tour-button")
        page.keyboard.press("Enter")
        titles = []
        for _ in range(6):
            page.wait_for_timeout(150)
            titles.append(page.inner_text("#tour h2"))
            page.keyboard.press("PageDown")
        assert len(set(titles)) == 6
        page.keyboard.press("Escape")
        assert page.is_hidden("#tour")
        assert said == []


@pytest.mark.slow
def test_a_bad_file_is_said_where_one_looks(mule: Place, tmp_path: Path) -> None:
    bad = tmp_path / "bad.ply"
    bad.write_bytes(b"ply\nnothing more")
    with opened(mule) as (page, said):
        page.click("#scan-button")
        page.set_input_files("#panel input[type=file]", str(bad))
        page.click("#panel button[type=submit]")
        page.wait_for_selector("#fault:not([hidden])", timeout=ANSWER_MS)
        assert "bad.ply" in page.inner_text("#fault")
        answered(page, lambda: page.click("[data-cinches=rear]"))  # and it goes on
        assert [one for one in said if "422" not in one] == []


@pytest.mark.slow
def test_marks_are_pointed_at_and_saved(mule: Place, tmp_path: Path) -> None:
    with opened(mule) as (page, said):
        page.click("#mark-button")
        box = page.query_selector("#first canvas").bounding_box()
        for name, share in (("scapula_edge_left", 0.42), ("scapula_edge_right", 0.58)):
            page.select_option("#mark-name", name)
            page.mouse.click(box["x"] + share * box["width"], box["y"] + 0.2 * box["height"])
        assert "2 marked" in page.inner_text("#mark-count")
        page.click("#mark-undo")
        assert "1 marked" in page.inner_text("#mark-count")
        with page.expect_download(timeout=ANSWER_MS) as kept:
            page.click("#mark-use")
        kept.value.save_as(tmp_path / "marks.json")
        assert list(json.loads((tmp_path / "marks.json").read_text())) == ["scapula_edge_left"]
        assert said == []


@pytest.mark.slow
def test_every_control_answers_and_a_lost_connection_comes_back(mule: Place) -> None:
    with opened(mule) as (page, said):
        for details in page.query_selector_all("#controls summary"):
            details.click()
        for one in page.query_selector_all("#controls input[type=range]"):
            name = one.get_attribute("id")
            for end in ("min", "max"):
                to = float(one.get_attribute(end))
                answered(page, lambda name=name, to=to: slide(page, name, to))
        answered(page, lambda: page.click("#usual-button"))
        page.click("#stride-button")
        page.wait_for_timeout(1500)
        page.click("#stride-button")
        page.context.set_offline(True)
        page.wait_for_timeout(300)
        page.context.set_offline(False)
        answered(page, lambda: page.click("[data-cinches=both]"))
        page.click("#units-button")
        page.wait_for_function(
            "() => document.querySelector('#first .big').innerText.includes('psi')"
        )
        assert said == []


def dragged(page: Any, start: tuple[float, float], end: tuple[float, float]) -> None:  # noqa: ANN401
    """Drag on the first view between two places, as shares of its width and height."""
    box = page.query_selector("#first .stage3d").bounding_box()
    (x0, y0), (x1, y1) = ((box["x"] + u * box["width"], box["y"] + v * box["height"])
                          for u, v in (start, end))  # fmt: skip
    page.mouse.move(x0, y0)
    page.mouse.down()
    page.mouse.move(x1, y1, steps=6)
    page.wait_for_timeout(1200)
    page.mouse.up()
    page.wait_for_timeout(1200)  # until the tree has come back


@pytest.mark.slow
def test_two_trees_are_compared_three_ways(mule: Place, tmp_path: Path) -> None:
    with opened(mule) as (page, said):
        answered(page, lambda: page.click("#compare-button"))
        answered(page, lambda: slide(page, "front_wider", 0.04))
        answered(page, lambda: page.click("[data-way=apart]"))
        words = page.inner_text("#apart .says")
        assert "harder on" in words
        assert "less on" in words
        assert "+" in page.inner_text("#apart-ticks")
        answered(page, lambda: slide(page, "front_wider", 0.0))
        assert page.inner_text("#apart .says").count("nowhere") == 2  # live, and alike again
        page.click("#keep-button")
        with page.expect_download() as got:
            page.click("#panel >> text=Picture")
        got.value.save_as(tmp_path / "apart.png")
        assert (tmp_path / "apart.png").stat().st_size > 20_000
        page.click("#panel-close")
        answered(page, lambda: page.click("[data-way=wipe]"))
        page.focus("#wipe")
        for _ in range(10):
            page.keyboard.press("ArrowLeft")
        assert page.input_value("#wipe") == "40"
        clip = "getComputedStyle(document.querySelector('#second .stage3d')).clipPath"
        assert "40%" in page.evaluate(clip)
        line = page.query_selector("#wipe-line").bounding_box()
        page.mouse.move(line["x"] + 22, line["y"] + 40)
        page.mouse.down()
        page.mouse.move(line["x"] + 222, line["y"] + 40, steps=3)
        page.mouse.up()
        assert float(page.input_value("#wipe")) > 55.0
        page.reload()
        page.wait_for_selector("body[data-answered]", timeout=ANSWER_MS)
        assert page.is_visible("#wipe")  # the way of comparing is kept too
        assert said == []


@pytest.mark.slow
def test_daylight_is_drawn_and_follows_the_sliders(mule: Place) -> None:
    with opened(mule) as (page, said):
        answered(page, lambda: page.click("#cut-button"))
        assert "from the spine" in page.inner_text("#first .cut-said")
        numbers = page.query_selector_all("#first .cut text")
        assert len(numbers) == 6
        title = page.inner_text("#first .cut-title")
        answered(page, lambda: slide(page, "behind", 0.4))
        assert page.inner_text("#first .cut-title") != title
        answered(page, lambda: page.select_option("#cut-way", "left"))
        before = page.inner_text("#first .cut-said")
        answered(page, lambda: page.click("[data-cinches=front]"))
        assert page.inner_text("#first .cut-said") != before
        answered(page, lambda: page.click("#compare-button"))
        assert page.is_visible("#second .cut svg")
        answered(page, lambda: page.click("#cut-button"))
        assert page.is_hidden("#first .cut")
        assert said == []


@pytest.mark.slow
def test_hands_by_gesture_and_by_keyboard(mule: Place) -> None:
    with opened(mule) as (page, said):
        answered(page, lambda: page.click("[data-look=above]") or page.click("[data-cinches=both]"))
        page.click("#hands-button")
        # From above the head is at the top and the left bar on the left.
        dragged(page, (0.42, 0.02), (0.42, 0.3))
        assert "left" in page.inner_text("#hand-found")
        assert "N" in page.inner_text("#hand-found")
        page.click("[data-tool=press]")
        dragged(page, (0.5, 0.2), (0.5, 0.2))
        assert page.inner_text("#hand-found").startswith("Front pressed")
        page.click("[data-tool=lift]")
        dragged(page, (0.5, 0.9), (0.5, 0.82))
        assert page.inner_text("#hand-found").startswith("Rear lifted")
        untouched = big(page)
        page.focus("#hand-place")
        answered(page, lambda: slide(page, "hand-amount", 0.02))
        assert "20 mm" in page.inner_text("#hand-found").replace("\u00a0", " ")
        page.focus("#hand-put")
        answered(page, lambda: page.keyboard.press("Enter"))
        assert page.get_attribute("#hand-put", "aria-pressed") == "false"
        assert big(page) == untouched  # the hand is away
        page.click("#all-hands")
        page.wait_for_selector("#panel table", timeout=ANSWER_MS)
        assert "Fork pulled" in page.inner_text("#panel")
        assert said == []


@pytest.mark.slow
def test_a_scan_outlives_the_app_until_it_is_forgotten(mule: Place, tmp_path: Path) -> None:
    """The same page on the same address, the app started anew: the scan and its marks come back."""
    from playwright.sync_api import sync_playwright

    scan = tmp_path / "mine.ply"
    scan.write_bytes(mule.file.path.read_bytes())
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=[*SOFTWARE_GL])
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        with served(mule) as address:
            page.goto(address)
            page.wait_for_selector("body[data-answered]", timeout=ANSWER_MS)
            page.click("#scan-button")
            page.set_input_files("#panel input[type=file]", str(scan))
            page.click("#panel button[type=submit]")
            page.wait_for_function(
                "() => document.getElementById('what').textContent === 'mine.ply'",
                timeout=ANSWER_MS,
            )
            answered(page, lambda: slide(page, "front_left", 320.0))
        port = int(address.rsplit(":", 1)[1].strip("/"))
        with served(mule, port):
            page.wait_for_function(
                "() => document.getElementById('what').textContent === 'mine.ply'"
                " && document.getElementById('fault').hidden", timeout=ANSWER_MS,
            )  # fmt: skip
            page.reload()
            page.wait_for_selector("body[data-answered]", timeout=ANSWER_MS)
            assert page.inner_text("#what") == "mine.ply"
            assert page.input_value("#front_left") == "320"
            page.click("#scan-button")
            page.click("#forget-button")
            page.wait_for_function(
                "() => document.getElementById('what').textContent === 'mule.ply'",
                timeout=ANSWER_MS,
            )
            page.reload()
            page.wait_for_selector("body[data-answered]", timeout=ANSWER_MS)
            assert page.inner_text("#what") == "mule.ply"
        browser.close()


@pytest.mark.slow
def test_what_cannot_be_kept_or_brought_back_is_said(mule: Place, tmp_path: Path) -> None:
    scan = tmp_path / "mine.ply"
    scan.write_bytes(mule.file.path.read_bytes())
    with opened(mule) as (page, said):
        # A store that holds a scan which is none, as of a file that went bad.
        page.evaluate(
            "() => kept.write({ first: bench.screen.first, file: new Blob(['ply']),"
            " name: 'old.ply', unit: '', tall: '', marks: '' })"
        )
        page.reload()
        page.wait_for_selector("#panel[open]", timeout=ANSWER_MS)
        assert "old.ply could not be brought back" in page.inner_text("#panel")
        page.click("#forget-button")
        page.wait_for_function("() => !document.getElementById('panel').open")
        page.wait_for_timeout(1500)
        page.evaluate("() => { kept.store = () => Promise.reject(new Error('no room')); }")
        page.click("#scan-button")
        page.set_input_files("#panel input[type=file]", str(scan))
        page.click("#panel button[type=submit]")
        page.wait_for_function(
            "() => document.getElementById('panel-title').textContent === 'This scan is not kept'",
            timeout=ANSWER_MS,
        )
        assert [one for one in said if "422" not in one] == []
