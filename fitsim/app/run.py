"""Start the app, say where it is, and open it."""

from __future__ import annotations

import asyncio
import socket
import webbrowser
from typing import TYPE_CHECKING

import click
from aiohttp import web
from threadpoolctl import threadpool_limits

from fitsim.app.guard import new_token
from fitsim.app.server import application
from fitsim.app.sessions import Sessions, placed, sweep
from fitsim.errors import BadSettings
from fitsim.progress import Stages, silent

if TYPE_CHECKING:
    from fitsim.study.job import ScanFile

LOOPBACK, EVERYWHERE = "127.0.0.1", "0.0.0.0"  # noqa: S104 - only where it was asked for


def serve(
    scan: ScanFile,
    port: int,
    *,
    share: bool = False,
    browser: bool = True,
    stages: Stages = silent,
) -> None:
    """Read a scan and serve the app on it until it is interrupted.

    Parameters
    ----------
    scan : ScanFile
    port : int
        0 for any that is free.
    share : bool
        Listen on the local network, with a token in the address.
    browser : bool
        Open it.
    stages : Stages
        Called around each stage.

    Raises
    ------
    BadScan, BadSettings
        The scan cannot be used, or the port is taken.
    """
    # Before the work: a taken port is said at once
    listening = _listening(EVERYWHERE if share else LOOPBACK, port)
    sweep()
    with stages("back", "finding the back"):
        first = placed(scan)
    token = new_token() if share else None
    address = _address(listening, token)
    click.echo(f"fitsim is at {address}")
    if share:
        click.echo("Everyone on this network who has this whole address can see and set it.")
    click.echo("Ctrl-C ends it.")
    if browser:
        webbrowser.open(address)
    # The matrices are small: threads that wait for each other cost tenfold.
    with threadpool_limits(limits=1, user_api="blas"):
        asyncio.run(_forever(application(Sessions(first), token), listening))


async def _forever(app: web.Application, listening: socket.socket) -> None:
    runner = web.AppRunner(app, access_log=None)
    await runner.setup()
    try:
        await web.SockSite(runner, listening).start()
        await asyncio.Event().wait()
    finally:
        await runner.cleanup()


def _listening(host: str, port: int) -> socket.socket:
    """A socket that listens there."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except OSError as error:
        listening.close()
        raise BadSettings(f"--port {port}", "is taken", "give another, or --port 0") from error
    return listening


def _address(listening: socket.socket, token: str | None) -> str:
    """What to type into a browser."""
    port = listening.getsockname()[1]
    if token is None:
        return f"http://{LOOPBACK}:{port}/"
    return f"http://{_own_address()}:{port}/?token={token}"


def _own_address() -> str:
    """Find the address of this machine on its network; nothing is sent for it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(("10.255.255.255", 1))
            return str(asked.getsockname()[0])
        except OSError:
            return LOOPBACK
