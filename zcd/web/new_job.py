"""Beginning a job: its file, and a board file where the board has none yet."""

from __future__ import annotations

import os
import re
from itertools import count
from pathlib import Path

from zcd.errors import InputError, refusal
from zcd.files import replace_whole
from zcd.web.job_store import KeptJobs
from zcd.web.state import Desk, Looked

ENDING = "-job"


def begin_words(desk: Desk, looked: Looked) -> dict[str, str]:
    """What the form says: a name that is free, and the board file that the job will be about."""
    own = _own_file(desk, looked)
    if own is not None:
        stem = own.stem
    else:
        name = "" if looked.board is None else looked.board.name
        stem = re.sub(r"[^0-9A-Za-z]+", "-", name).strip("-").lower()[:40]
    stem = (stem or "bench").removesuffix("-board")
    names = (f"{stem}{ENDING}{'' if n == 1 else f'-{n}'}" for n in count(1))
    free = next(n for n in names if not os.path.lexists(desk.job_file(n)))
    return {"name": free, "error": "", "file": "" if own is None else own.name}


def _own_file(desk: Desk, looked: Looked) -> Path | None:
    """The board file that was opened, if the fields still say the same."""
    return None if looked.edited or looked.job else desk.board_file


def begin_job(desk: Desk, jobs: KeptJobs, looked: Looked, name: str) -> Path:
    """Write the files of a new job.

    Parameters
    ----------
    desk : Desk
    jobs : KeptJobs
    looked : Looked
        Says which board it is about.
    name : str
        Of the job.

    Returns
    -------
    Path
        The job file.

    Raises
    ------
    InputError
        If there is no board, the name is taken, or a file cannot be written.
    """
    if looked.board is None:
        raise InputError("found no board in the fields of the board sheet; allowed: one")
    file, board_file = desk.job_file(name), _own_file(desk, looked)
    made = None
    if board_file is None:
        board_file = file.with_name(f"{file.stem.removesuffix(ENDING)}-board.toml")
        for path in (file, board_file):
            if os.path.lexists(path):
                raise refusal(path.name, "the name of a new file", "name")
        replace_whole(board_file, None, desk.board_file_text(looked).encode("utf-8"))
        made = board_file
    try:
        jobs.begin(file, looked.board, board_file)
    except InputError:
        if made is not None and not os.path.lexists(file):
            made.unlink(missing_ok=True)
        raise
    return file
