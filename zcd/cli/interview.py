"""The questions of `zcd new` on a terminal."""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from zcd.board.interview import Interview, Question
    from zcd.board.model import Board

WIDTH = 78
_IN_FILE = re.compile(r"^this answer: (?:[\w.]+(?:\[\d+\])?: )?")
_OWN_DATA = "; for any other part"
"""What a message says of a file that there is not yet: the place in it, what else it may hold."""
UNDO = ("undo", "back")
END = ("end", "quit", "exit", "q")


def describe(file: str) -> None:
    """Ask what is on a board, and write its file.

    Parameters
    ----------
    file : str
        Must not exist yet.

    Raises
    ------
    InputError
        If there is no place for the file.
    """
    from zcd.board.files import parse_board
    from zcd.board.interview import board_text
    from zcd.diagnosis.readings import AccessLevel
    from zcd.errors import InputError, plain
    from zcd.files import exists_already, require_place, write_new
    from zcd.report.cautions import caution_lines

    if os.path.lexists(file):
        raise exists_already(Path(file))
    require_place(file)
    for line in (
        "Board unplugged, on the bench. Copy what is printed on the parts. Enter takes what is in "
        'brackets, "undo" goes back, "end" leaves: the answers are kept.',
        *caution_lines(AccessLevel.DEAD),
    ):
        _say(line)
    kept = _KeptAnswers(Path(f"{file}.answers"))
    interview = kept.interview()
    doubted: set[str] = set()
    before: Question | None = None
    while (question := interview.question) is not None:
        if question is before and question.lines:
            click.echo("> ", nl=False)
        else:
            click.echo()
            _put(question)
        before = question
        line = sys.stdin.readline()
        word = line.strip().lower()
        if not line or word in END:
            click.echo()
            _say(plain(kept.farewell(file)))
            return
        earlier = interview.path()
        try:
            if word in UNDO:
                interview.back()
            elif understood := interview.answer(line):
                _say(plain(f"Read as: {understood}."))
        except InputError as error:
            for problem in str(error).splitlines():
                told, in_file, _ = _IN_FILE.sub("", problem).partition(_OWN_DATA)
                unread = "; ? where it cannot be read" if in_file else ""
                _say(f"Not taken: {told}{unread}", err=True)
            continue
        kept.keep(kept.lines[:-1] if word in UNDO else [*kept.lines, line.rstrip("\n")])
        if word in UNDO:
            _say(plain(interview.path()))
        elif question is not interview.question:
            _show(question, interview, doubted, earlier)
    text = board_text(interview)
    _say_if_live(parse_board(text, file))
    write_new(file, text)
    kept.keep([])
    _say(
        plain(
            f"{file} written. Next, for a faulty board: zcd readings {file}, then zcd diagnose "
            f"{file}. To check the design: zcd check {file}"
        )
    )


class _KeptAnswers:
    """The answers to an interview that is not finished, in a file beside the one to write."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.lines: list[str] = []

    def interview(self) -> Interview:
        """Go on where it was left."""
        from zcd.board.interview import Interview
        from zcd.board.toml_files import read_text
        from zcd.errors import InputError, plain

        interview = Interview()
        if not self.path.exists():
            return interview
        for line in read_text(self.path, "answers, one a line").splitlines():
            try:
                interview.answer(line)
            except InputError:
                break
            self.lines.append(line)
        number = "one answer" if len(self.lines) == 1 else f"{len(self.lines)} answers"
        _say(plain(f"Going on with {number} of {self.path}:"))
        _say(plain(interview.path()))
        return interview

    def keep(self, lines: list[str]) -> None:
        """Write them down; without any there is no file."""
        from zcd.files import write_whole

        self.lines = lines
        if lines:
            write_whole(self.path, "\n".join([*lines, ""]).encode("utf-8"))
        else:
            self.path.unlink(missing_ok=True)

    def farewell(self, file: str) -> str:
        """What there is when a person leaves."""
        if not self.lines:
            return "Nothing was answered: no file was written."
        return f"Answers kept in {self.path}. Go on with: zcd new {file}"


def _show(question: Question, interview: Interview, doubted: set[str], earlier: str) -> None:
    """What the beeper confirms after an answer, the circuit where it is another than earlier, and
    what is odd, once."""
    from zcd.drawing.nets import net_lines
    from zcd.errors import plain

    if beeper := interview.beeper(question):
        _say(beeper)
    if question.lines:
        board = interview.so_far()
        click.echo("\n".join(map(plain, net_lines(board))))
        _say_if_live(board)
    elif (path := interview.path()) != earlier:
        _say(plain(path))
    for doubt in interview.doubts():
        if doubt not in doubted:
            _say(plain(f"Check: {doubt}"))
            doubted.add(doubt)


def _say_if_live(board: Board) -> None:
    """Say it if nothing on the board is isolated from the mains."""
    from zcd.report.cautions import NOT_ISOLATED_TEXT

    if not board.is_isolated:
        _say(f"CAUTION: {NOT_ISOLATED_TEXT}")


def _put(question: Question) -> None:
    """Put a question, with its choices."""
    usual = f" [{question.usual}]" if question.usual else ""
    _say(f"{question.text}{usual}")
    for number, choice in enumerate(question.choices, 1):
        _say(f"  {number}  {choice}")
    click.echo("> ", nl=False)


def _say(text: str, *, err: bool = False) -> None:
    from zcd.report.text import wrapped

    click.echo(wrapped(text, WIDTH), err=err)
