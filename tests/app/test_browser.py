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
def served(place: Place) -> Iterator[str]:
    """The app on a free port of loopback, in a thread of its own."""
    ready: list[Any] = []
    began = threading.Event()

    async def run() -> None:
        runner = web.AppRunner(application(Sessions(place)))
        await runner.setup()
        site = web.TCPSite(runner, "127.0.0.1", 0)
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
