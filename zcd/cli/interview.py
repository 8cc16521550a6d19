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
    from zcd.board.interview import Interview, board_text
    from zcd.diagnosis.readings import AccessLevel
    from zcd.errors import InputError
    from zcd.files import exists_already, require_place, write_new
    from zcd.report.cautions import caution_lines
    from zcd.report.text import plain

    if os.path.lexists(file):
        raise exists_already(Path(file))
    require_place(file)
    for line in (
        "Board unplugged, on the bench. Copy what is printed on the parts. Enter takes what is in "
        'brackets, "undo" goes back, "end" leaves without a file.',
        *caution_lines(AccessLevel.DEAD),
    ):
        _say(line)
    interview = Interview()
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
            _say("No file was written.")
            return
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
        if word in UNDO:
            _say(plain(interview.path()))
        elif question is not interview.question:
            _show(question, interview, doubted)
    text = board_text(interview)
    parse_board(text, file)
    write_new(file, text)
    _say(
        plain(
            f"{file} written. Next, for a faulty board: zcd readings {file}, then zcd diagnose "
            f"{file}. To check the design: zcd check {file}"
        )
    )


def _show(question: Question, interview: Interview, doubted: set[str]) -> None:
    """What the beeper confirms after an answer, the circuit so far, and what is odd, once."""
    from zcd.drawing.nets import net_lines
    from zcd.report.text import plain

    if beeper := interview.beeper(question):
        _say(beeper)
    if question.lines:
        click.echo("\n".join(map(plain, net_lines(interview.so_far()))))
    else:
        _say(plain(interview.path()))
    for doubt in interview.doubts():
        if doubt not in doubted:
            _say(plain(f"Check: {doubt}"))
            doubted.add(doubt)


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
