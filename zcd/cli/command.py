"""What all commands have in common: the settings, and -v."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import click

from zcd.errors import InputError

if TYPE_CHECKING:
    from zcd.settings import Settings

_VERBOSE = "zcd.verbose"
_ARGUMENT = re.compile(r"[a-z_]+(?=: | [^:;]+: )")
"""How a message begins that is about an argument: ``flags: found``, ``fault R9: no such part``."""


class Command(click.Command):
    """A command that knows the settings of the bench, and says what it does where asked to."""

    needs_settings = True

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.params.append(
            click.Option(
                ("-v", "--verbose"),
                is_flag=True,
                expose_value=False,
                callback=_note,
                help="Print the steps of the calculation to standard error.",
            )
        )

    def invoke(self, ctx: click.Context) -> Any:
        """Run it, once its words can be used; help needs no settings."""
        if not ctx.meta.get(_VERBOSE):
            return self._run(ctx)
        from zcd.cli.verbose import said

        with said():
            return self._run(ctx)

    def _run(self, ctx: click.Context) -> Any:
        if self.needs_settings:
            from zcd.settings import load_settings

            ctx.obj = load_settings()
        try:
            return super().invoke(ctx)
        except InputError as error:
            error.args = (_as_typed(str(error), ctx.command),)
            raise


def _as_typed(message: str, command: click.Command) -> str:
    """A message about an argument, which here is an option: ``--flags: found ...``."""
    options: dict[str, str] = {}
    for option in command.params:
        long = next((word for word in option.opts if word.startswith("--")), "")
        if long and option.name:
            options |= {option.name: long, long[2:]: long}
    name = _ARGUMENT.match(message)
    known = name is not None and name[0] in options
    return f"{options[name[0]]}{message[name.end() :]}" if name and known else message


class PlainCommand(Command):
    """A command that goes without the settings, whatever is in their file."""

    needs_settings = False


def _note(context: click.Context, _: click.Parameter, wanted: bool) -> None:
    context.meta[_VERBOSE] = wanted


full_option = click.option(
    "--full", is_flag=True, help="Show everything: all figures, limits, assumptions and sources."
)


def settings() -> Settings:
    """The settings, for the command that runs."""
    result: Settings = click.get_current_context().obj
    return result
