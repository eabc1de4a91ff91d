"""The server: who may ask, what is answered, and that no message ends it."""

from __future__ import annotations

import asyncio
import io
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import aiohttp
import numpy as np
import pytest
from aiohttp.test_utils import TestClient, TestServer

from fitsim.app.scenario import Scenario
from fitsim.app.server import application
from fitsim.app.sessions import Sessions

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from fitsim.app.sessions import Place

MULE = Path(__file__).parents[2] / "meshes" / "mule.ply"


def using(
    place: Place,
    work: Callable[[Any], Awaitable[None]],
    token: str | None = None,
    sessions: Sessions | None = None,
) -> None:
    """Do some work with a client of a server that listens on loopback."""

    async def run() -> None:
        jar = aiohttp.CookieJar(unsafe=True)  # cookies of an address, not of a name
        server = TestServer(application(sessions or Sessions(place), token))
        async with TestClient(server, cookie_jar=jar) as client:
            await work(client)

    asyncio.run(run())


def test_other_hosts_and_other_pages_are_refused(mule: Place) -> None:
    async def work(client: Any) -> None:  # noqa: ANN401 - aiohttp's
        for headers in (
            {"Host": "example.org"},
            {"Host": "example.org:80"},
            {"Host": "[::1"},
            {"Origin": "http://example.org"},
            {"Origin": "null"},
            {"Origin": "http://[::1"},
        ):
            for path in ("/", "/screen", "/live", "/page/app.js"):
                assert (await client.get(path, headers=headers)).status == 403
        answer = await client.get("/")
        assert answer.status == 200
        assert "default-src 'none'" in answer.headers["Content-Security-Policy"]

    using(mule, work)


def test_a_shared_app_tells_nothing_without_its_token(mule: Place) -> None:
    async def work(client: Any) -> None:  # noqa: ANN401 - aiohttp's
        for path in ("/", "/screen", "/live", "/page/app.js", "/?token=wrong", "/screen?token="):
            answer = await client.get(path)
            assert answer.status == 403
            assert "mule" not in await answer.text()
        assert (await client.post("/scan", data={})).status == 403
        assert (await client.get("/?token=right")).status == 200
        assert (await client.get("/screen")).status == 200  # the cookie carries it on

    using(mule, work, "right")


def test_no_file_but_the_pages_own(mule: Place) -> None:
    async def work(client: Any) -> None:  # noqa: ANN401 - aiohttp's
        for name in ("..%2f..%2fcli.py", "report.html.j2", "%2e%2e/server.py", "nothing.js"):
            assert (await client.get(f"/page/{name}")).status in {403, 404}
        assert (await client.get("/page/app.js")).status == 200

    using(mule, work)


def test_every_message_is_answered(mule: Place) -> None:
    async def work(client: Any) -> None:  # noqa: ANN401 - aiohttp's
        async with client.ws_connect("/live") as socket:
            for text in (
                "", "[]", "{}", '{"views": 3}', '{"views": [{}, {}, {}]}', '{"views": [3]}',
                '{"views": [{"mass": 1' + "0" * 400 + "}]}", '{"views": [{"tree": "no"}]}',
            ):  # fmt: skip
                await socket.send_str(text)
                assert "error" in json.loads((await socket.receive(timeout=20)).data)
            told = {"number": 7, "views": [Scenario().as_dict()]}
            await socket.send_str(json.dumps(told))
            answer = json.loads((await socket.receive(timeout=20)).data)
            assert answer["number"] == 7
            assert answer["views"][0]["numbers"]["held"]
            assert not {"cut", "hand"} & set(answer["views"][0])
            assert "tree" in answer["views"][0]
            await socket.send_str(json.dumps(told))
            again = json.loads((await socket.receive(timeout=20)).data)
            assert "tree" not in again["views"][0]  # it has not changed

    using(mule, work)


def test_the_end_of_the_app_is_told_to_open_pages(mule: Place) -> None:
    """Else Ctrl-C would wait a minute for pages that stay open."""

    async def run() -> int | None:
        server = TestServer(application(Sessions(mule)))
        async with TestClient(server) as client:
            socket = await client.ws_connect("/live")
            heard = asyncio.create_task(socket.receive(timeout=20))
            await asyncio.sleep(0.1)  # until it listens
            await server.runner.cleanup()
            await heard
            return socket.close_code

    assert asyncio.run(run()) == aiohttp.WSCloseCode.GOING_AWAY


def test_of_waiting_settings_the_last_is_answered(mule: Place) -> None:
    async def work(client: Any) -> None:  # noqa: ANN401 - aiohttp's
        async with client.ws_connect("/live") as socket:
            for number in range(30):
                told = {"number": number, "views": [{"front_left": 100.0 + number}]}
                await socket.send_str(json.dumps(told))
            answered = []
            while not answered or answered[-1] != 29:
                answered.append(json.loads((await socket.receive(timeout=20)).data)["number"])
            assert len(answered) < 30

    using(mule, work)


def test_scans_that_are_brought(mule: Place) -> None:
    """A bad one is refused in words; a good one is the viewer's own, and no other's."""

    async def bring(client: Any, name: str, content: bytes, **more: str) -> Any:  # noqa: ANN401
        form = aiohttp.FormData(more, quote_fields=False)
        form.add_field("scan", io.BytesIO(content), filename=name)
        return await client.post("/scan", data=form)

    async def work(client: Any) -> None:  # noqa: ANN401 - aiohttp's
        await client.get("/")
        bad = await bring(client, "../bad.ply", b"ply\nnothing more")
        assert bad.status == 422
        assert (await bad.json())["error"].startswith("bad.ply")
        assert (await bring(client, "a.exe", b"x")).status == 422
        assert (await bring(client, "m.ply", MULE.read_bytes(), unit="miles")).status == 422
        assert (await client.post("/scan", data={"scan": "text"})).status == 422
        thick = await bring(client, "m.ply", MULE.read_bytes(), unit="m", coat="900")
        assert "900 mm is no depth of hair" in (await thick.json())["error"]
        good = await bring(client, "mine.ply", MULE.read_bytes(), unit="m", coat="20 mm")
        assert good.status == 200, await good.text()
        assert (await (await client.get("/screen")).json())["name"] == "mine.ply"
        client.session.cookie_jar.clear()
        assert (await (await client.get("/screen")).json())["name"] == "mule.ply"

    using(mule, work)


def test_marks_move_the_back(mule: Place) -> None:
    async def work(client: Any) -> None:  # noqa: ANN401 - aiohttp's
        await client.get("/")
        back = mule.bench.back
        row = int(abs(back.chart.x - 0.05).argmin())
        columns = [int(abs(back.chart.t - side * 0.15).argmin()) for side in (1, -1)]
        left, right = (back.chart.points[row, column].tolist() for column in columns)
        picks = {"scapula_edge_left": [left], "scapula_edge_right": [right]}
        answer = await client.post("/marks", data=json.dumps({"picks": picks}))
        assert answer.status == 200, await answer.text()
        assert "scapula_edge_left" in (await answer.json())["file"]
        for bad in ("", "[]", '{"picks": {"no": []}}', '{"picks": {"withers": [[1, 2]]}}'):
            assert (await client.post("/marks", data=bad)).status == 422

    using(mule, work)


def kept_files(sessions: Sessions) -> list[str]:
    """Endings of what the app holds of its viewers."""
    return sorted(path.suffix for path in Path(sessions.folder.name).iterdir())


async def sent_again(client: Any, marks: str, scan: bytes | None = None) -> Any:  # noqa: ANN401
    """What a page does with a scan and marks that it kept."""
    form = aiohttp.FormData({"unit": "m", "marks": marks}, quote_fields=False)
    if scan is not None:
        form.add_field("scan", io.BytesIO(scan), filename="mine.ply")
    return await client.post("/scan", data=form)


def withers_marked(place: Place) -> str:
    """A marks file with the withers where they were found."""
    back = place.bench.back
    withers = np.linalg.inv(back.T_body_scan) @ [*back.marks["withers"].points[0], 1.0]
    return json.dumps({"withers": [withers[:3].tolist()]})


def test_what_a_page_kept_is_taken_again_and_forgotten(mule: Place) -> None:
    """A scan with its marks, and nothing left once it is forgotten."""
    sessions = Sessions(mule)

    async def work(client: Any) -> None:  # noqa: ANN401 - aiohttp's
        await client.get("/")

        async def screen() -> Any:  # noqa: ANN401
            return await (await client.get("/screen")).json()

        first = await screen()
        assert not first["brought"]
        assert (await sent_again(client, withers_marked(mule), MULE.read_bytes())).status == 200
        mine = await screen()
        assert (mine["brought"], mine["name"]) == (True, "mine.ply")
        assert (mine["first"], mine["start"]) == (first["first"], first["start"])
        assert sessions.places
        assert all(place.bench.back.marks["withers"].source == "marked"
                   for place in sessions.places.values())  # fmt: skip
        assert kept_files(sessions) == [".json", ".ply"]
        assert (await client.post("/forget")).status == 200
        assert kept_files(sessions) == []
        assert not (await screen())["brought"]
        assert mule.file.path.exists()

    using(mule, work, sessions=sessions)


@pytest.mark.slow
def test_marks_alone_go_with_the_first_scan_and_bad_ones_leave_nothing(mule: Place) -> None:
    sessions = Sessions(mule)

    async def work(client: Any) -> None:  # noqa: ANN401 - aiohttp's
        await client.get("/")
        bad = await sent_again(client, '{"withers": 3}', MULE.read_bytes())
        assert bad.status == 422
        assert "the marks" in (await bad.json())["error"]
        assert kept_files(sessions) == []
        assert (await sent_again(client, withers_marked(mule))).status == 200
        assert kept_files(sessions) == [".json"]
        shown = await (await client.get("/screen")).json()
        assert (shown["name"], shown["brought"]) == ("mule.ply", True)
        assert (await client.post("/forget")).status == 200
        assert kept_files(sessions) == []
        assert mule.file.path.exists()

    using(mule, work, sessions=sessions)


@pytest.mark.slow
def test_the_report_is_whole(mule: Place) -> None:
    async def work(client: Any) -> None:  # noqa: ANN401 - aiohttp's
        answer = await client.post("/report", data=json.dumps(Scenario(load="rider").as_dict()))
        assert answer.status == 200
        assert "veterinarian" in await answer.text()

    using(mule, work)
