"""Boards and jobs as a command is given them: a file, or "-" for what comes on standard input."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

from zcd.cli.command import settings
from zcd.errors import InputError

if TYPE_CHECKING:
    from zcd.board.model import Board
    from zcd.diagnosis.job import Job

DASH = "-"
NAME = "standard input"


def board_given(file: str) -> Board:
    """The board of a file, or the one on standard input."""
    from dataclasses import replace
    from shlex import quote

    from zcd.board.files import load_board, parse_board

    if file == DASH:
        return parse_board(_typed(), NAME)
    return replace(load_board(file), file=quote(file))


def job_given(file: str) -> Job:
    """The job of a job or board file, or one about the board on standard input."""
    from dataclasses import replace
    from shlex import quote

    from zcd.diagnosis.job import Job, load_job
    from zcd.diagnosis.meters import usual_meter

    if file != DASH:
        job = load_job(file, settings().meter)
        return replace(job, board=replace(job.board, file=quote(file)))
    return Job(board=board_given(file), meter=settings().meter or usual_meter())


def keys_given(file: str) -> tuple[dict[str, Any], str]:
    """Keys and values, and the text, of a board file or of the one on standard input; it describes
    a board."""
    from pathlib import Path

    from zcd.board.files import BOARD_FILE, board_from_dict
    from zcd.board.toml_files import parse_toml, read_text
    from zcd.files import file_name

    name = NAME if file == DASH else file_name(Path(file))
    text = _typed() if file == DASH else read_text(Path(file), BOARD_FILE)
    result = parse_toml(text, name, BOARD_FILE)
    board_from_dict(result, name)
    return result, text


def require_file(file: str, instead: str) -> None:
    """Refuse standard input where something is kept beside the board.

    Parameters
    ----------
    file : str
        As given.
    instead : str
        What to do, in words.

    Raises
    ------
    InputError
        If it is the dash.
    """
    if file == DASH:
        raise InputError(f"{NAME}: nothing can be kept beside a board without a file: {instead}")


def _typed() -> str:
    """The text on standard input, judged like that of a file."""
    from zcd.board.files import BOARD_FILE
    from zcd.board.toml_files import LARGEST_FILE_BYTES, decoded

    stream = getattr(sys.stdin, "buffer", None)
    if stream is None:  # a stream of text that stands in for it
        return sys.stdin.read(LARGEST_FILE_BYTES)
    data = stream.read(LARGEST_FILE_BYTES + 1)
    if len(data) > LARGEST_FILE_BYTES:
        raise InputError(
            f"{NAME}: found more than {LARGEST_FILE_BYTES} bytes; allowed: {BOARD_FILE}"
        )
    return decoded(data, NAME, BOARD_FILE)
