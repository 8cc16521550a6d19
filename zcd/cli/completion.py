"""What a shell completes while a command is typed, and the script that tells it to."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

import click

from zcd.cli.command import PlainCommand
from zcd.cli.exits import exit_codes

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

    from zcd.board.model import Board

VARIABLE = "_ZCD_COMPLETE"
"""Says which shell asks, and for what."""
_OPEN_QUOTE = re.compile(r"""(?:^|\s)["'][^"']*$""")
"""The last word of a line has its first quotation mark only."""
SHELLS = ("bash", "zsh", "fish")


def answer_shell(group: click.Group) -> int | None:
    """Answer a shell that asks for completions; None where none does.

    Parameters
    ----------
    group : click.Group
        All commands.

    Returns
    -------
    int or None
        Exit code.
    """
    asked = os.environ.get(VARIABLE)
    if not asked:
        return None
    from click.shell_completion import shell_complete

    return int(shell_complete(group, {}, "zcd", VARIABLE, asked))


def files(_: click.Context, __: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Files, which the shell lists itself."""
    from click.shell_completion import CompletionItem

    return [CompletionItem(incomplete, type="file")]


def folders(_: click.Context, __: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Folders, likewise."""
    from click.shell_completion import CompletionItem

    return [CompletionItem(incomplete, type="dir")]


def replaceable(
    context: click.Context, _: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """References of the parts of the board that `--for` may name."""
    board = _board_typed(context)
    if board is None:
        return []
    from zcd.substitutes.search import replaceable_refs

    return _beginning(replaceable_refs(board), incomplete)


def quantities(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Quantities of the board that a map may be drawn over."""
    board = _board_typed(context)
    if board is None:
        return []
    from zcd.margin.quantities import quantities as quantities_of

    return _beginning(quantities_of(board), incomplete)


def faults(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Faults of the board or job."""
    board = _board_typed(context)
    if board is None:
        return []
    from zcd.circuit.build import build_circuit
    from zcd.diagnosis.faults import faults_of

    return _beginning((fault.key for fault in faults_of(build_circuit(board))), incomplete)


def causes(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Causes of flags that a story may be told of."""
    board = _board_typed(context)
    if board is None:
        return []
    from zcd.simulation.causes import causes_of

    return _beginning((cause.key for cause in causes_of(board)), incomplete)


def series(_: click.Context, __: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Series of preferred numbers."""
    from zcd.board.preferred import SERIES

    return _beginning(SERIES, incomplete)


def story_flags(_: click.Context, __: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Flags that a controller may report, alone and together."""
    return _beginning(("sync,fan", "sync", "fan", "none"), incomplete)


def _beginning(words: Iterable[str], incomplete: str) -> list[CompletionItem]:
    """Words that begin like what was typed, whatever its case."""
    from click.shell_completion import CompletionItem

    begun = incomplete.casefold()
    fitting = (word for word in words if word.casefold().startswith(begun))
    # bash puts a word into the line as it is, and blanks would end it
    line = os.environ.get("COMP_WORDS", "")
    bare = os.environ[VARIABLE].startswith("bash") and not _OPEN_QUOTE.search(line)
    return [CompletionItem(word.replace(" ", "\\ ") if bare else word) for word in fitting]


def _board_typed(context: click.Context) -> Board | None:
    """The board of the file, a job's too, that stands in the line already; None: there is none."""
    # click reads no argument of a line that ends in an option without its value
    read = map(context.params.get, ("board_file", "job_file", "file"))
    file = next(filter(None, read), None) or next(iter(context.args), None)
    if file is None or file == "-":
        return None
    from zcd.diagnosis.job import load_job
    from zcd.errors import InputError

    try:
        return load_job(os.path.expanduser(file)).board
    except InputError:
        return None


@click.command(cls=PlainCommand, epilog=exit_codes(solver=""))
@click.argument("shell", type=click.Choice(SHELLS))
@click.option("--json", "as_json", is_flag=True, help="Tell the script as a JSON object.")
@click.pass_context
def completion(context: click.Context, shell: str, as_json: bool) -> None:
    """Print the script with which a shell completes commands, options, files and parts.

    Load it from the file that the shell reads at its start: ~/.bashrc, ~/.zshrc (after
    compinit) or ~/.config/fish/config.fish.

    \b
    Examples
      eval "$(zcd completion bash)"
      eval "$(zcd completion zsh)"
      zcd completion fish | source
    """
    from click.shell_completion import get_completion_class

    writer = get_completion_class(shell)
    assert writer is not None
    text = writer(context.find_root().command, {}, "zcd", VARIABLE).source()
    if as_json:
        from zcd.cli.output import print_json

        print_json({"shell": shell, "text": text})
    else:
        click.echo(text, nl=False)
