"""The command line: options in, one sentence or a result out. A command is a file of `commands/`.

Exit codes: 0 done, 2 usage, 3 bad input, 4 the tree stays on under no case, 130 interrupted.
"""

from __future__ import annotations

import json
import os
import sys
from importlib import import_module
from typing import TYPE_CHECKING, NoReturn

import click

from fitsim import __version__
from fitsim.errors import FitsimError

if TYPE_CHECKING:
    from collections.abc import Sequence

INTERRUPTED = 130
"""As a shell reports a program stopped by Ctrl-C: 128 + SIGINT."""

COMMANDS = (
    "demo",
    "scan",
    "merge",
    "change",
    "fit",
    "compare",
    "search",
    "sizes",
    "herd",
    "tree",
    "template",
    "grow",
    "hands",
    "cinches",
    "day",
    "balance",
    "stride",
    "book",
    "app",
)
"""In the order of `fitsim --help`; each is the function of that name in `fitsim.commands`."""


class _Commands(click.Group):
    """Commands read from their files when they are asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = getattr(import_module(f"fitsim.commands.{cmd_name}"), cmd_name)
        return command


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="fitsim")
def cli() -> None:
    """See where a saddle or pack tree presses on an animal's back, on a 3-D scan of it.

    \b
    Try it:
      fitsim demo
    """  # noqa: D301 - \b is click's sign for "keep these lines"


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the command line and leave with its exit code.

    Parameters
    ----------
    arguments : sequence of str, optional
        Those of the process if not given.
    """
    # Read when numpy is first imported. The matrices are small: threads would wait for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    given = list(sys.argv[1:] if arguments is None else arguments)
    try:
        code = cli.main(given, prog_name="fitsim", standalone_mode=False)
    except click.ClickException as fault:
        fault.show()
        sys.exit(fault.exit_code)
    except FitsimError as fault:
        _say_fault(fault, as_json="--json" in given)
        sys.exit(fault.exit_code)
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped. What was finished is kept; nothing is half-written.", err=True)
        sys.exit(INTERRUPTED)
    sys.exit(code if isinstance(code, int) else 0)


def _say_fault(fault: FitsimError, *, as_json: bool) -> None:
    """One sentence for people on standard error; the same in parts for programs."""
    click.echo(str(fault), err=True)
    if as_json:
        parts = {"where": fault.where, "fault": fault.fault, "mend": fault.mend}
        click.echo(json.dumps({"error": parts, "exit_code": fault.exit_code}, indent=2))
