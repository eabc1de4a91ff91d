"""`fitsim app`: one back in the browser, every setting answered at once."""

from __future__ import annotations

from typing import Any

import click

from fitsim.commands.options import scan_file, scan_options


@click.command()
@click.argument("file", metavar="[SCAN]", required=False)
@scan_options
@click.option("--port", type=click.IntRange(0, 65535), default=8123, show_default=True)
@click.option(
    "--share",
    is_flag=True,
    help="Listen on the local network; whoever has the printed address may look and set.",
)
@click.option("--no-browser", is_flag=True, help="Print the address and open nothing.")
@click.option("--quiet", is_flag=True, help="Say nothing about progress.")
def app(
    file: str | None,
    port: int,
    *,
    share: bool,
    no_browser: bool,
    quiet: bool,
    **options: Any,  # noqa: ANN401 - click's
) -> None:
    """Show a back in the browser: move a cinch and see where the tree presses.

    Without a scan it opens on the made-up mule of the demo. Nothing leaves this machine.

    \b
    Example:
      fitsim app back.ply --unit mm
    """  # noqa: D301
    from fitsim.app.run import serve
    from fitsim.demo import demo_folder
    from fitsim.progress import watched
    from fitsim.study.job import ScanFile

    scan = scan_file(file, options) if file else ScanFile(demo_folder() / "mule.ply", "m")
    serve(scan, port, share=share, browser=not no_browser, stages=watched({}, quiet=quiet))
