"""What all commands have in common: the settings, and -v."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from zcd.settings import Settings

_VERBOSE = "zcd.verbose"


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
        return super().invoke(ctx)


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
