"""Beginning a job: its file, and a board file where the board has none yet."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from contextlib import suppress
from itertools import count
from pathlib import Path

from zcd.errors import InputError, invalid_value
from zcd.files import replace_whole
from zcd.web.board_form import typed_over
from zcd.web.job_store import JobStore
from zcd.web.state import PageState, Unit

ENDING = "-job"
REFUSED = re.compile(
    r'.*[<>:"/\\|?*].*|.*[. ]|(?:con|prn|aux|nul|(?:com|lpt)[\d¹²³])(?:\..*)?', re.IGNORECASE
)
"""Names of files that Windows refuses: its documentation, "Naming Files, Paths, and Namespaces"."""


def begin_words(state: PageState, unit: Unit) -> dict[str, str]:
    """What the form says: a name that is free, and the board file that the job will be about."""
    own = _own_file(unit)
    if own is not None:
        stem = own.stem
    else:
        name = "" if unit.board is None else unit.board.name
        stem = re.sub(r"[^0-9A-Za-z]+", "-", name).strip("-").lower()[:40]
    stem = (stem or "bench").removesuffix("-board")
    names = (f"{stem}{ENDING}{'' if n == 1 else f'-{n}'}" for n in count(1))
    free = next(n for n in names if not os.path.lexists(state.job_file(n)))
    return {"name": free, "error": "", "flags": "", "file": "" if own is None else own.name}


def _own_file(unit: Unit) -> Path | None:
    """The board file that was opened, if the fields still say the same."""
    return None if unit.edited or unit.job else unit.file


def begin_job(
    state: PageState,
    jobs: JobStore,
    unit: Unit,
    name: str,
    flags: tuple[str, ...] = (),
    codes: Mapping[str, str] | None = None,
) -> Path:
    """Write the files of a new job.

    Parameters
    ----------
    state : PageState
    jobs : JobStore
    unit : Unit
        Says which board it is about.
    name : str
        Of the job.
    flags : tuple of str
        What the controller reports.
    codes : mapping, optional
        What the appliance shows for them.

    Returns
    -------
    Path
        The job file.

    Raises
    ------
    InputError
        If there is no board, the name is taken, or a file cannot be written.
    """
    if unit.board is None:
        raise InputError("found no board in the fields of the board sheet; allowed: one")
    if REFUSED.fullmatch(name):
        raise invalid_value(name, 'a name that Windows takes too, such as "board-job"', "name")
    file, board_file = state.job_file(name), _own_file(unit)
    made = None
    if board_file is None:
        board_file = file.with_name(f"{file.stem.removesuffix(ENDING)}-board.toml")
        for path in (file, board_file):
            if os.path.lexists(path):
                raise invalid_value(path.name, "the name of a new file", "name")
        replace_whole(board_file, None, state.board_file_text(unit).encode("utf-8"))
        made = board_file
    try:
        jobs.begin(file, unit.board, board_file, flags, codes or {})
    except InputError:
        if made is not None and not os.path.lexists(file):
            made.unlink(missing_ok=True)
        raise
    with suppress(InputError):
        draft = state.drafts.read(unit.name)
        if unit.typed == typed_over(unit.base, draft.texts):
            state.drafts.remove(unit.name, draft)
    return file
