"""Practice: a hidden fault, a bench, and a look back."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from zcd.cli.command import Command, settings
from zcd.cli.completion import files
from zcd.cli.exits import exit_codes

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from zcd.board.model import Board
    from zcd.practice.exercise import Exercise
    from zcd.practice.review import Expert
    from zcd.practice.session import Session


@click.command(cls=Command, epilog=exit_codes())
@click.argument("file", metavar="[BOARD]", required=False, shell_complete=files)
@click.option(
    "--level", metavar="NUMBER", default="1", show_default=True, help="1 to 5, easy to hard."
)
@click.option("--seed", metavar="NUMBER", help="Repeats an exercise; else one is drawn.")
@click.option(
    "--record",
    metavar="FILE",
    shell_complete=files,
    help="Add the exercise to this file, a JSON object a line.",
)
@click.option("--summary", metavar="FILE", shell_complete=files, help="Print a record by level.")
@click.option("--json", "as_json", is_flag=True, help="Of --summary: print a JSON object instead.")
@click.option("--full", is_flag=True, help="Afterwards, also what each reading told.")
def practice(
    file: str | None,
    level: str,
    seed: str | None,
    record: str | None,
    summary: str | None,
    as_json: bool,
    full: bool,
) -> int:
    """Find a hidden fault on an invented bench, then see how an expert would have gone.

    The fault is put into your board, or into an example. You choose what to measure, and your
    meter answers. Nothing helps unasked. The tool keeps the time the work would take, and every
    dangerous step.

    \b
    Examples
      zcd practice
      zcd practice board.toml --level 3 --record class.jsonl
      zcd practice --summary class.jsonl
    """
    from dataclasses import asdict
    from pathlib import Path
    from secrets import randbelow

    from zcd.cli.output import print_json, show
    from zcd.diagnosis.meters import usual_meter
    from zcd.practice.exercise import MOST_SEED, make_exercise, require_number
    from zcd.practice.record import require_record, summaries
    from zcd.report.cautions import NOT_ISOLATED_TEXT
    from zcd.report.of_practice import begin_lines, summary_document

    if as_json and summary is None:
        raise click.UsageError("an exercise talks to a person, --json to a program: --summary FILE")
    if summary is not None:
        levels = summaries(Path(summary))
        if as_json:
            print_json({"levels": [asdict(level) for level in levels]})
        else:
            show(summary_document(levels))
        return 0
    if record is not None:
        require_record(Path(record))
    number = randbelow(MOST_SEED + 1) if seed is None else require_number(seed, "seed")
    board = _board(file, number)
    meter = settings().meter or usual_meter()
    exercise = make_exercise(board, meter, require_number(level, "level"), number)
    if not board.is_isolated:
        _say(f"CAUTION: {NOT_ISOLATED_TEXT}")
    for line in begin_lines(exercise):
        _say(line)
    _end(_talk(exercise), None if record is None else Path(record), full=full)
    return 0


def _board(file: str | None, seed: int) -> Board:
    """The board given, or an example that the seed chooses."""
    from zcd.cli.given import DASH, board_given, require_file
    from zcd.practice.exercise import example_board

    if file == DASH:
        require_file(file, "write it into one and give that, for readings are typed here")
    if file is not None:
        return board_given(file)
    return example_board(seed)


def _talk(exercise: Exercise) -> Session:
    """Let the apprentice work until the fault is found or given up."""
    from zcd.errors import InputError
    from zcd.practice.session import HELP, Session

    session = Session(exercise, _expert_beside(exercise))
    _say(HELP)
    while not session.over:
        click.echo("> ", nl=False)
        try:
            line = sys.stdin.readline()
        except KeyboardInterrupt:
            line = ""
        if not line:
            click.echo()
            break
        try:
            for answer in session.say(line):
                _say(answer)
        except InputError as error:
            _say(f"zcd: {error}", err=True)
    return session


def _expert_beside(exercise: Exercise) -> Callable[[], Expert]:
    """Begin what an expert knows in a process of its own; who asks for it waits for the rest."""
    from threading import TIMEOUT_MAX, Thread

    from zcd.diagnosis.fault_dictionary import keep_predictions, make_fault_dictionary
    from zcd.practice.review import Expert
    from zcd.web.workers import WorkerPool

    board, meter = exercise.board, exercise.meter
    pool = WorkerPool(1)
    beside = Thread(
        target=lambda: pool.ask(keep_predictions, board, meter, patience_s=TIMEOUT_MAX), daemon=True
    )
    beside.start()

    def asked() -> Expert:
        if beside.is_alive():
            _say("A moment: calculating what each fault shows ...", err=True)
        beside.join()
        return Expert(exercise, make_fault_dictionary(board, meter, stored=True))

    return asked


def _end(session: Session, record: Path | None, *, full: bool) -> None:
    """Look back, and add to the record."""
    from datetime import date

    from zcd.cli.output import show
    from zcd.practice.record import add_to_record, record_of
    from zcd.report.of_practice import review_document

    review = session.review()
    click.echo()
    show(review_document(review, full=full))
    if not full:
        _say("What each reading told, and how the errors came about: add --full.")
    if record is not None:
        add_to_record(record, record_of(review, date.today()))


def _say(text: str, *, err: bool = False) -> None:
    from zcd.report.text import wrapped

    # the prompt may stand before it
    click.echo(wrapped(text, 75), err=err)
