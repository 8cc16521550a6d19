"""The story of a fault, from switching on to its flags; and turned round."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from zcd.arguments import STORY_SECONDS
from zcd.cli.command import Command, full_option
from zcd.cli.completion import causes, files, story_flags
from zcd.cli.exits import exit_codes
from zcd.cli.given import DASH, board_given, job_given
from zcd.cli.pictures import format_of, format_option, plots_option
from zcd.cli.ranges import FiniteRange

if TYPE_CHECKING:
    from zcd.results import Result


@click.command(cls=Command, epilog=exit_codes())
@click.argument("board_file", metavar="BOARD", shell_complete=files)
@click.option(
    "--cause",
    metavar="KEY",
    shell_complete=causes,
    help='A cause such as "R7 open" or "tacho lost".',
)
@click.option("--amount", type=float, metavar="NUMBER", help="Its size, in the unit shown.")
@click.option("--all", "everything", is_flag=True, help="All causes, by the flags they raise.")
@click.option(
    "-f",
    "--flags",
    "--flag",
    "flags",
    multiple=True,
    metavar="FLAGS",
    shell_complete=story_flags,
    help='Flags seen: "sync,fan", "fan", "sync" or "none".',
)
@click.option(
    "--seconds",
    type=FiniteRange(*STORY_SECONDS),
    default=60.0,
    show_default=True,
    help="Length of the simulated time.",
)
@plots_option
@format_option
@click.option("--json", "as_json", is_flag=True, help="Print a JSON object instead.")
@full_option
def story(
    board_file: str,
    cause: str | None,
    amount: float | None,
    everything: bool,
    flags: tuple[str, ...],
    seconds: float,
    plots: str | None,
    picture_format: str | None,
    as_json: bool,
    full: bool,
) -> int:
    """Show how one cause raises two error flags: sync lost, and a fan that does not turn.

    With --cause, the timeline from switching on; with --flags, the causes that fit what the
    controller reports; else, or with --all, every cause against the flags it raises.

    \b
    Examples
      zcd story board.toml --cause "R7 open" --plots pictures
      zcd story board.toml --all
      zcd story board.toml --flags sync,fan
    """
    from zcd import api
    from zcd.cli.output import print_result
    from zcd.files import require_place

    kind = format_of(plots, picture_format)
    if sum((cause is not None, everything, bool(flags))) > 1:
        raise click.UsageError("give one of --cause, --all and --flags, such as --flags sync,fan")
    if cause is None and (amount is not None or plots is not None):
        raise click.UsageError("--amount and --plots belong to --cause")
    result: Result
    if cause is not None:
        board = board_given(board_file)
        if plots is not None:
            require_place(plots, folder=True)
        result = told = api.story(board, cause, amount=amount, seconds=seconds)
        if plots is not None:
            from zcd.drawing.figures import save_story_plots

            save_story_plots(plots, board=board, story=told, kind=kind)
    elif flags:
        from pathlib import Path

        from zcd.progress import progress_bar

        history = None if board_file == DASH else Path(board_file).parent
        job = job_given(board_file)
        result = api.causes(job, flags, seconds=seconds, history=history, progress=progress_bar)
    else:
        from zcd.simulation.flags import StoryTable, all_stories

        board = board_given(board_file)
        result = StoryTable(board=board, seconds=seconds, stories=all_stories(board, seconds))
    print_result(result, as_json, full=full, written=plots)
    return 0
