"""The page at the bench."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from zcd.cli.command import Command, settings
from zcd.cli.completion import files, folders
from zcd.cli.exits import exit_codes
from zcd.cli.given import DASH, keys_given

if TYPE_CHECKING:
    from zcd.web.state import PageState

PORT = 8471


@click.command(cls=Command, epilog=exit_codes(solver=""))
@click.argument("board_file", metavar="[BOARD]", required=False, shell_complete=files)
@click.option(
    "--jobs",
    "folder",
    metavar="FOLDER",
    shell_complete=folders,
    help="Of the job files; else that of the board file, or this one.",
)
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=PORT,
    show_default=True,
    help="On this machine; 0 takes any free one.",
)
@click.option("--browser/--no-browser", default=True, help="Whether to open the page.")
@click.option("--json", "as_json", is_flag=True, help="Tell the address as a JSON object.")
def bench(
    board_file: str | None, folder: str | None, port: int, browser: bool, as_json: bool
) -> int:
    """Open a page in the browser: type what is printed on the parts, see what it means.

    The page is served to this machine alone and loads nothing from outside.
    It opens only with the address that is printed, which is anew each time.
    Jobs are kept as files in one folder. Ctrl-C ends it.

    \b
    Example
      zcd bench board.toml
    """
    import webbrowser
    from pathlib import Path

    from zcd.cli.output import print_json
    from zcd.errors import InputError
    from zcd.web.server import serve

    path = None if board_file in (None, DASH) else Path(str(board_file))
    result = None if board_file is None else keys_given(board_file)[0]
    jobs = Path(folder) if folder is not None else Path() if path is None else path.parent
    if not jobs.is_dir():
        raise InputError(f"--jobs: found {folder}, which is no folder; allowed: a folder")

    def ready(address: str, once: str) -> None:
        if as_json:
            print_json({"address": address})
        else:
            click.echo(f"The page is at {address} (Ctrl-C ends it)")
        if browser:
            webbrowser.open(once)

    def state() -> PageState:
        from zcd.web.state import PageState

        return PageState(result, path, jobs, bench_settings)

    bench_settings = settings()
    serve(port, state, ready)
    return 0
