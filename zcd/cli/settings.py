"""The command that shows the settings of the bench."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from zcd.cli.command import PlainCommand
from zcd.cli.exits import exit_codes
from zcd.errors import plain

if TYPE_CHECKING:
    from zcd.settings import Settings


@click.command(cls=PlainCommand, epilog=exit_codes(solver=""))
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the lines.")
def settings(as_json: bool) -> None:
    """Show the settings file and what it sets.

    The file is TOML, written by hand; all of it may be left out:

    \b
      mains = "230 V 50 Hz"            of new board files
      paper = "a4"                     of reports, or "letter"
      drawer = "drawer.toml"           drawer file for zcd substitute
      meter = {dc_input = "10M"}       as [meter] in a job file, where a job has none

    The first that is given counts: option, board or job file, settings, default. ZCD_CONFIG
    names another settings file; if it is empty, none is used.

    \b
    Example
      zcd settings
    """
    import os

    from zcd.errors import InputError
    from zcd.settings import Settings, load_settings, settings_path

    path, problems = settings_path(), []
    try:
        result = load_settings()
    except InputError as error:
        result, problems = Settings(), str(error).splitlines()
    there = path is not None and os.path.lexists(path)
    if as_json:
        from zcd.cli.output import print_json

        record = {"file": None if path is None else str(path), "exists": there}
        print_json({**record, **_held(result), "problems": problems})
        return
    for line in (_where(None if path is None else str(path), there), *_lines(result), *problems):
        click.echo(plain(line))


def _held(settings: Settings) -> dict[str, Any]:
    """What holds, by key; null where nothing is set."""
    return {
        "mains": {key: str(value) for key, value in settings.mains.items()} or None,
        "meter": {key: str(value) for key, value in settings.meter_texts.items()} or None,
        "paper": settings.paper,
        "drawer": None if settings.drawer is None else str(settings.drawer),
    }


def _where(path: str | None, there: bool) -> str:
    if path is None:
        return "Settings: none, as ZCD_CONFIG is empty"
    return f"Settings: {path}" + ("" if there else " (there is no such file: defaults)")


def _lines(settings: Settings) -> list[str]:
    """What holds, a line for each key."""
    unset = {
        "mains": "not set; zcd new takes 230 V 50 Hz",
        "meter": "not set; a usual handheld meter",
        "drawer": "not set; zcd substitute takes a series",
    }
    lines = []
    for key, value in _held(settings).items():
        told = value or unset[key]
        if isinstance(value, dict):
            told = ", ".join(f"{name} = {text}" for name, text in value.items())
        lines.append(f"  {key:7} {told}")
    return lines
