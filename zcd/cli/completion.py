"""What a shell completes while a command is typed, and the script that tells it to."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

import click

from zcd.cli.command import PlainCommand
from zcd.cli.exits import exit_codes

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

    from zcd.board.model import Board

    Completer = Callable[[click.Context, click.Parameter, str], list[CompletionItem]]

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


def _of_board(names: Callable[[Board], Iterable[str]]) -> Completer:
    """Names that the board of the line has."""

    def complete(
        context: click.Context, _: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        board = _board_typed(context)
        return [] if board is None else _beginning(names(board), incomplete)

    return complete


@_of_board
def replaceable(board: Board) -> Iterable[str]:
    """References of the parts that `--for` may name."""
    from zcd.substitutes.search import replaceable_refs

    return replaceable_refs(board)


@_of_board
def quantities(board: Board) -> Iterable[str]:
    """Quantities that a map may be drawn over."""
    from zcd.margin.quantities import quantities as quantities_of

    return quantities_of(board)


@_of_board
def faults(board: Board) -> Iterable[str]:
    """Faults of the board or job."""
    from zcd.circuit.build import build_circuit
    from zcd.diagnosis.faults import faults_of

    return (fault.key for fault in faults_of(build_circuit(board)))


@_of_board
def causes(board: Board) -> Iterable[str]:
    """Causes of flags that a story may be told of."""
    from zcd.simulation.causes import causes_of

    return (cause.key for cause in causes_of(board))


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
