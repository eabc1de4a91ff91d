"""The app's server: one page, a live connection that answers settings, and a few requests."""

from __future__ import annotations

import asyncio
import json
import secrets
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from aiohttp import WSCloseCode, WSMsgType, web

from fitsim.app import exports
from fitsim.app.answer import answer
from fitsim.app.asked import MOST_VIEWS, asked_of
from fitsim.app.guard import guard
from fitsim.app.page import index, key_of, page_file, screen
from fitsim.app.scenario import scenario_of
from fitsim.app.sessions import LARGEST, Sessions, placed
from fitsim.errors import BadSettings, FitsimError
from fitsim.study.job import ScanFile

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitsim.app.scenario import Scenario
    from fitsim.app.sessions import Place
    from fitsim.draw.quantity import System

_VIEWER = "fitsim_viewer"
_MESSAGE = 20_000  # bytes of a setting that is listened to
_PICKS = 200  # marks taken at once


@dataclass
class App:
    """What the server holds.

    Attributes
    ----------
    sessions : every viewer's place.
    bench_hand : the one thread that solves, so that viewers wait in line.
    lines : live connections, told when the app ends: an open one would hold it up for a minute.
    """

    sessions: Sessions
    lines: set[web.WebSocketResponse] = field(default_factory=set)
    bench_hand: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(1))

    async def done(self, work: Callable[..., Any], *given: object) -> Any:  # noqa: ANN401 - work's
        """Do a piece of work off the event loop."""
        return await asyncio.get_running_loop().run_in_executor(self.bench_hand, work, *given)


HELD = web.AppKey("held", App)


def application(sessions: Sessions, token: str | None = None) -> web.Application:
    """Build the app.

    Parameters
    ----------
    sessions : with the first scan.
    token : asked of everyone where the app is shared.

    Returns
    -------
    aiohttp.web.Application
    """
    app = web.Application(middlewares=[guard(token), _in_words], client_max_size=LARGEST)
    app[HELD] = App(sessions)
    app.on_shutdown.append(_hang_up)
    app.on_cleanup.append(_close)
    app.add_routes(
        [
            web.get("/", _index),
            web.get("/page/{name}", _page_file),
            web.get("/screen", _screen),
            web.get("/live", _live),
            web.post("/scan", _scan),
            web.post("/marks", _marks),
            web.post("/forget", _forget),
            web.post("/hands", _hands),
            web.post("/report", _report),
            web.post("/settings", _settings),
        ]
    )
    return app


async def _hang_up(app: web.Application) -> None:
    """Tell every page that the app ends."""
    for line in tuple(app[HELD].lines):
        await line.close(code=WSCloseCode.GOING_AWAY)


async def _close(app: web.Application) -> None:
    """Leave nothing behind."""
    app[HELD].bench_hand.shutdown(wait=True, cancel_futures=True)
    app[HELD].sessions.close()


@web.middleware
async def _in_words(request: web.Request, handler: Any) -> web.StreamResponse:  # noqa: ANN401 - aiohttp's
    """Answer a fault that the viewer can mend with its sentence."""
    try:
        answer: web.StreamResponse = await handler(request)
    except FitsimError as fault:
        return web.json_response({"error": str(fault)}, status=422)
    except web.HTTPRequestEntityTooLarge:
        most = f"{LARGEST // 2**20} MB"
        return web.json_response({"error": f"The file is over {most}; thin it."}, status=413)
    return answer


def _viewer(request: web.Request) -> str:
    return request.cookies.get(_VIEWER, "")


def _place(request: web.Request) -> Place:
    return request.app[HELD].sessions.of(_viewer(request))


def _system(request: web.Request) -> System:
    return "inch" if request.query.get("units") == "inch" else "metric"


async def _index(request: web.Request) -> web.Response:
    answer = web.Response(text=index(), content_type="text/html")
    if not _viewer(request):
        answer.set_cookie(_VIEWER, secrets.token_urlsafe(12), httponly=True, samesite="Strict")
    return answer


async def _page_file(request: web.Request) -> web.Response:
    text, kind = page_file(request.match_info["name"])
    return web.Response(text=text, content_type=kind)


async def _screen(request: web.Request) -> web.Response:
    held, place = request.app[HELD], _place(request)
    first, start = held.sessions.first, held.sessions.start
    shown = await held.done(screen, place, _system(request))
    more = {"brought": place is not first, "first": key_of(first), "start": start}
    return web.json_response({**shown, **more})


async def _live(request: web.Request) -> web.WebSocketResponse:
    """Answer settings as they come; of those that wait only the last is solved."""
    # Not compressed: on this machine or a room's network that takes longer than what it saves.
    socket = web.WebSocketResponse(heartbeat=30.0, max_msg_size=_MESSAGE, compress=False)
    await socket.prepare(request)
    request.app[HELD].lines.add(socket)
    waiting: asyncio.Queue[dict[str, Any]] = asyncio.Queue(maxsize=1)
    answering = asyncio.create_task(_answer(request, socket, waiting))
    try:
        async for message in socket:
            if message.type is not WSMsgType.TEXT:
                continue
            if waiting.full():
                waiting.get_nowait()
            waiting.put_nowait(_told(message.data))
    finally:
        answering.cancel()
        request.app[HELD].lines.discard(socket)
    return socket


def _told(text: str) -> dict[str, Any]:
    """A message as a dict; an empty one where it is none."""
    try:
        told = json.loads(text)
    except ValueError:
        return {}
    return told if isinstance(told, dict) else {}


async def _answer(
    request: web.Request,
    socket: web.WebSocketResponse,
    waiting: asyncio.Queue[dict[str, Any]],
) -> None:
    held = request.app[HELD]
    sent: list[object] = [None] * MOST_VIEWS
    while True:
        told = await waiting.get()
        place = _place(request)
        try:
            reply = await held.done(answer, place, asked_of(told), sent, _system(request))
        except FitsimError as fault:
            reply = {"error": str(fault)}
        except Exception as fault:  # noqa: BLE001 - one viewer's trouble must not end the answering
            reply = {"error": f"That could not be worked out ({type(fault).__name__}). Change it."}
        if socket.closed:
            return
        await socket.send_str(json.dumps({**reply, "number": told.get("number")}))


async def _scan(request: web.Request) -> web.Response:
    """Take a scan that a viewer brought, marks with it, or marks of the first scan alone."""
    held = request.app[HELD]
    form = await request.post()
    part, marks = form.get("scan"), str(form.get("marks") or "")
    if isinstance(part, web.FileField):
        path, name = held.sessions.brought(part.filename), _plain_name(part.filename)
        fields = ("unit", "withers_height", "coat")
        file = _scan_file(path, *(str(form.get(name) or "") for name in fields))
        path.write_bytes(part.file.read())
    elif marks:
        file, name = held.sessions.first.file, held.sessions.first.name
    else:
        raise BadSettings("the scan", "did not come with it", "choose a file again")
    if marks:
        file = replace(file, marks=held.sessions.brought_marks(marks))
    try:
        place = await held.done(placed, file, name)
    except FitsimError as fault:
        held.sessions.drop(file)
        told = str(fault).replace(file.path.name, name)
        told = told.replace(file.marks.name, "the marks") if file.marks else told
        return web.json_response({"error": told}, status=422)
    held.sessions.put(_viewer(request), place)
    return web.json_response({"done": True})


async def _forget(request: web.Request) -> web.Response:
    """Take away what a viewer brought."""
    request.app[HELD].sessions.forget(_viewer(request))
    return web.json_response({"done": True})


def _plain_name(name: str) -> str:
    """A file's name as text: without folders and what a command line might read otherwise."""
    bare = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c if c.isalnum() or c in "._- " else "_" for c in bare)[-60:]


def _scan_file(path: Any, unit: str, height: str, coat: str) -> ScanFile:  # noqa: ANN401 - a Path
    from fitsim.back.coat import coat_written
    from fitsim.units import quantity

    if unit not in {"", "m", "cm", "mm", "inch"}:
        raise BadSettings("the unit", f'"{unit[:20]}" is unknown', "choose m, cm, mm or inch")
    tall = quantity(height, "length", "the withers' height") if height.strip() else None
    hair = coat_written(coat)
    return ScanFile(path, unit or None, tall, coat=hair)  # type: ignore[arg-type]


async def _marks(request: web.Request) -> web.Response:
    """Find the back anew with marks that a viewer pointed at."""
    from fitsim.back.marks import MARK_NAMES

    held, place = request.app[HELD], _place(request)
    picks = _told(await request.text()).get("picks")
    if not isinstance(picks, dict) or not set(picks) <= set(MARK_NAMES):
        raise BadSettings("the marks", "are none that are known", "point at them again")
    try:
        points = {name: [[float(c) for c in p] for p in rows] for name, rows in picks.items()}
    except (TypeError, ValueError):
        raise BadSettings("the marks", "hold no places", "point at them again") from None
    places = [place for rows in points.values() for place in rows]
    if len(places) > _PICKS or any(len(one) != len("xyz") for one in places):
        raise BadSettings("the marks", "hold too many or too short places", "undo some")
    file = held.sessions.marks_file(place, points)
    marked = await held.done(placed, replace(place.file, marks=file), place.name)
    held.sessions.put(_viewer(request), marked)
    return web.json_response({"done": True, "file": file.read_text(encoding="utf-8")})


async def _scenario(request: web.Request) -> Scenario:
    return scenario_of(_told(await request.text()))


async def _hands(request: web.Request) -> web.Response:
    held, scenario = request.app[HELD], await _scenario(request)
    rows = await held.done(exports.tried_by_hand, _place(request), scenario, _system(request))
    return web.json_response({"rows": rows})


async def _report(request: web.Request) -> web.Response:
    held, scenario = request.app[HELD], await _scenario(request)
    text = await held.done(exports.report, _place(request), scenario, _system(request))
    return _attached(text.encode(), "report.html", "text/html")


async def _settings(request: web.Request) -> web.Response:
    held, scenario = request.app[HELD], await _scenario(request)
    kept = await held.done(exports.settings_files, _place(request), scenario)
    return _attached(kept, "settings.zip", "application/zip")


def _attached(body: bytes, name: str, kind: str) -> web.Response:
    return web.Response(
        body=body,
        content_type=kind,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
