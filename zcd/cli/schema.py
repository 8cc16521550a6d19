"""The command that prints what files and results look like, for programs and editors."""

from __future__ import annotations

import click

from zcd.cli.command import PlainCommand
from zcd.cli.exits import exit_codes

NAMES = ("board", "check", "map", "windings")
"""As `zcd.report.schemas.SCHEMAS` has them, without loading what results are made of."""


@click.command(cls=PlainCommand, epilog=exit_codes(solver=""))
@click.argument("name", metavar="NAME", type=click.Choice(NAMES))
def schema(name: str) -> None:
    """Print the JSON Schema of a board file, or of what a command prints with --json.

    NAME is "board" or the name of a command: check, map, windings.

    Every object of --json begins with the number of its form, "schema". Under one number
    no key goes away or changes its meaning; new keys may come. A program reads the keys it
    knows and leaves the others alone.

    \b
    Examples
      zcd schema board > board.schema.json
      zcd schema check
    """
    import json

    from zcd.report.schemas import SCHEMAS

    click.echo(json.dumps(SCHEMAS[name](), indent=2, ensure_ascii=True))
