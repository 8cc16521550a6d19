"""The command that prints a guide."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from zcd.cli.command import PlainCommand
from zcd.cli.exits import exit_codes

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

    from click.shell_completion import CompletionItem

    from zcd.errors import InputError

CAUTIONS = "cautions"
"""The topic that no file holds: it is made from the cautions of all outputs."""
MOST_NAMED = 3
NARROWEST, WIDTH = 40, 80
"""Columns of a guide on the terminal, however few or many that has."""


def _docs() -> Traversable:
    """The folder of the guides, wherever the package is."""
    from importlib import resources  # late: it loads pathlib

    return resources.files("zcd") / "docs"


def topics() -> list[str]:
    """Names of all guides, in alphabetical order."""
    names = (entry.name for entry in _docs().iterdir())
    return sorted([CAUTIONS, *(name[:-3] for name in names if name.endswith(".md"))])


def guide(topic: str) -> str:
    """Text of a guide.

    Parameters
    ----------
    topic : str
        One of `topics`.

    Returns
    -------
    str
        Markdown; the first line is the title.
    """
    if topic == CAUTIONS:
        return _cautions()
    return (_docs() / f"{topic}.md").read_text(encoding="utf-8")


def _complete(_: click.Context, __: click.Parameter, incomplete: str) -> list[CompletionItem]:

    from click.shell_completion import CompletionItem

    begun = incomplete.casefold()
    return [CompletionItem(topic) for topic in topics() if topic.startswith(begun)]


@click.command("help", cls=PlainCommand, epilog=exit_codes(solver=""))
@click.argument("topic", required=False, shell_complete=_complete)
@click.option("--json", "as_json", is_flag=True, help="Print a JSON object instead.")
def help_command(topic: str | None, as_json: bool) -> None:
    """Print a guide, or the help of a command, or list the guides.

    \b
    Examples
      zcd help
      zcd help readings
      zcd help cautions
    """
    if not (topic is None or topic in topics()):
        click.echo(_of_command(topic))
        return
    text = _list() if topic is None else guide(topic)
    if as_json:
        from zcd.cli.output import print_json

        print_json({"topic": topic, "text": text})
    elif topic is None:
        click.echo(text, nl=False)
    else:
        _show(text)


def _show(text: str) -> None:
    """Lay Markdown out for the terminal; a link to another guide becomes its command."""
    import re

    from rich.console import Console
    from rich.markdown import Markdown

    linked = re.sub(r"\[\w+\]\((\w+)\.md\)", r"`zcd help \1`", text)
    console = Console()
    console.width = min(max(console.width, NARROWEST), WIDTH)
    with console.capture() as captured:
        console.print(Markdown(linked, code_theme="ansi_dark", justify="left", hyperlinks=False))
    shown = "\n".join(line.rstrip() for line in captured.get().splitlines())
    shown = re.sub(r"\n{3,}", "\n\n", shown)
    if console.is_terminal and shown.count("\n") >= console.height:
        click.echo_via_pager(shown)
    else:
        click.echo(shown, color=console.is_terminal)


def _list() -> str:
    """All topics, a line each."""
    names = topics()
    wide = max(map(len, names))
    titles = (guide(name).partition("\n")[0].removeprefix("# ") for name in names)
    lines = [f"  {name:{wide}}  {title}" for name, title in zip(names, titles, strict=True)]
    head = "Guides. Print one with zcd help TOPIC; options are in zcd COMMAND --help."
    return "\n".join([head, "", *lines, ""])


def _of_command(name: str) -> str:
    """The help of a command."""
    root = click.get_current_context().find_root()
    group = root.command
    command = group.get_command(root, name) if isinstance(group, click.Group) else None
    if command is None:
        raise _no_such_guide(name)
    return command.get_help(click.Context(command, info_name=name, parent=root))


def _no_such_guide(topic: str) -> InputError:
    """The error for a topic that does not exist, with the nearest, or those that speak of it."""
    from difflib import get_close_matches

    from zcd.errors import InputError, describe_value

    if near := get_close_matches(topic.casefold(), topics(), n=1):
        hint = f" Did you mean {near[0]}?"
    else:
        places = (name for name in topics() if name != "changelog")
        often = {name: guide(name).casefold().count(topic.casefold()) for name in places}
        first = sorted((n for n in often if often[n]), key=lambda n: -often[n])[:MOST_NAMED]
        hint = f" The word is in: {', '.join(first)}." if first else ""
    return InputError(f'no guide on {describe_value(topic)}.{hint} "zcd help" lists the guides.')


def _cautions() -> str:
    """Every caution with its source, by the work in which it is due."""
    from zcd.report import cautions as each

    groups = {
        "Always": each.GENERAL,
        "On a board without an optocoupler": each.NOT_ISOLATED,
        "Before you touch a board, and before ohms and diode tests": each.DEAD,
        "Before you lift one end of a part": each.LIFTED,
        "When you feed the controller from a bench supply": each.BENCH,
        "When you measure on the isolated side, board powered": each.ISOLATED,
        "When you measure on the mains side, board powered": each.LIVE,
        "When you fit a part on the mains side": each.FITTING,
        "When you measure or connect a fan": each.MOTOR,
    }
    lines = ["# Cautions: before you touch a board"]
    for heading, cautions in groups.items():
        lines += ["", f"## {heading}", ""]
        lines += [f"* {caution.text} ({caution.source})" for caution in cautions]
    return "\n".join([*lines, ""])
