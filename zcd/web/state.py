"""What the sheets share: the board that is on the bench, its job, and how to fill a sheet.

The page keeps nothing: what was typed, and the name of the job, stand in its address, so that a
reload, or a server started anew, shows the same. What was measured stands in the job's file.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any
from urllib.parse import urlencode

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse

from zcd.board.model import Board
from zcd.board.toml_files import parse_toml, read_text, refuse
from zcd.diagnosis.job import WANTED, board_file_of, job_file_of
from zcd.diagnosis.retest_record import Verdict
from zcd.errors import InputError, invalid_value
from zcd.report.table import FAIL
from zcd.report.text import version_text
from zcd.settings import Settings
from zcd.web.board_form import START, differing, file_of, read, texts_of, typed_over
from zcd.web.fragment_versions import shown_of, version_of
from zcd.web.job_store import JobStore
from zcd.web.resistor_rows import added, removed

HERE = Path(__file__).parent
AT = "at"
JOB = "job"
ADD, REMOVE = "add", "remove"
"""Names under which a row of resistors more or less is asked for."""
RECORD = "record"
"""``off`` where closed jobs are to shift nothing."""
REPAIR = (
    "part", "drawer", "style", "after", "replaced", "by", "across", "up", "cause", "found",
    "repair", "reason", "paper",
)  # fmt: skip
"""Names of the fields of the repair sheet."""
CARRIED = (AT, JOB, RECORD, *REPAIR)
"""What goes from step to step beside the fields of the board."""
TAKEN = "take:"
"""Goes before what is read where, in the name of a field for what it shows after the repair."""
STEPS = {"/": "Board", "/readings": "Readings", "/repair": "Repair"}
"""In the order of the work."""
MAX_VERDICTS = 64
LONGEST_NAME = 100
RETESTED = {
    Verdict.GOOD: "retest passes",
    Verdict.NOT_GOOD: "retest fails",
    Verdict.UNSURE: "retest not sure",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of the work, and how far it is."""

    path: str
    name: str
    state: str
    fails: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardRequest:
    """What a request is about.

    Parameters
    ----------
    base : dict
        Texts of the board file: the job's, else the one that was opened, else one to begin with.
    typed : dict
        What stands in the fields of the board sheet: as typed, else as in the file.
    board : Board or None
        None where the fields describe none.
    errors : dict
        Key of a field -> what is wrong with it; under ``""``: of the whole.
    job : str
        Name of the job that is open; empty: none is.
    beside : dict
        What else the address carries.
    pairs : dict
        All this as an address says it.
    afresh : str
        The query of the same fields without the job; what the repair sheet says goes with the job.
    """

    base: dict[str, str]
    typed: dict[str, str]
    board: Board | None
    errors: dict[str, str]
    job: str
    beside: dict[str, str]
    pairs: dict[str, str]
    afresh: str

    @property
    def carried(self) -> str:
        """The query of an address."""
        return urlencode(self.pairs)

    @property
    def edited(self) -> bool:
        """Whether the fields say something else than the board file."""
        return bool(differing(self.base, self.typed))


@lru_cache(maxsize=64)
def _read(typed: tuple[tuple[str, str], ...]) -> tuple[Board | None, dict[str, str]]:
    """The board that the fields describe: most requests ask for that of the one before."""
    return read(dict(typed))


class PageState:
    """The page's own desk.

    Parameters
    ----------
    file_keys : mapping, optional
        Keys of the board file that was opened.
    board_file : Path, optional
        Where it lies.
    folder : Path
        Of the jobs.
    settings : Settings, optional
        Of the bench.
    """

    def __init__(
        self,
        file_keys: Mapping[str, Any] | None = None,
        board_file: Path | None = None,
        folder: Path = Path(),
        settings: Settings | None = None,
    ) -> None:
        self.base = START if file_keys is None else texts_of(file_keys)
        self.board_file = board_file
        self.folder = folder
        self.settings = settings or Settings()
        self._templates = Environment(
            loader=FileSystemLoader(HERE / "templates"),
            autoescape=True,
            undefined=StrictUndefined,
        )
        self._templates.filters["mark"] = version_of
        self._templates.globals.update(fails=FAIL, version=version_text())
        self.jobs = JobStore(folder, self.settings)
        self._verdicts: OrderedDict[Board, bool] = OrderedDict()

    def read_address(self, request: Request) -> BoardRequest:
        """Read an address."""
        return self.board_request(request.query_params)

    def board_request(self, asked: Mapping[str, str]) -> BoardRequest:
        """Read what an address, or a form, says."""
        job, problem, base = asked.get(JOB, ""), "", self.base
        if job:
            try:
                base = self._base_of(self.job_file(job))
            except InputError as error:
                job, problem = "", str(error)
        typed = typed_over(base, asked)
        for word, edit in ((ADD, added), (REMOVE, removed)):
            if where := asked.get(word, ""):
                typed = edit(typed, where)
        board, errors = _read(tuple(sorted(typed.items())))
        if problem:
            board, errors = None, {"": problem, **errors}
        beside = {k: v for k, v in asked.items() if v and (k in CARRIED or k.startswith(TAKEN))}
        return BoardRequest(
            base=base,
            typed=typed,
            board=board,
            errors=errors,
            job=job,
            beside=beside,
            pairs=differing(base, typed) | beside,
            afresh=urlencode(differing(self.base, dict.fromkeys(self.base, "") | typed)),
        )

    def job_file(self, name: str) -> Path:
        """The file of a job of the folder.

        Raises
        ------
        InputError
            If that is no name of a file in the folder.
        """
        plain = all(kind(name).name == name for kind in (PurePosixPath, PureWindowsPath))
        fits = name.isprintable() and 0 < len(name) <= LONGEST_NAME
        if not (plain and fits) or name.startswith("."):
            raise invalid_value(name[:LONGEST_NAME], 'a name such as "board-job"', JOB)
        return self.folder / f"{name}.toml"

    def board_file_text(self, board_request: BoardRequest) -> str:
        """The board as a board file."""
        import tomlkit

        return tomlkit.dumps(file_of(board_request.typed))

    def judged(self, board: Board, *, passes: bool) -> None:
        """Remember whether a board passes, for the line of steps."""
        self._verdicts[board] = passes
        while len(self._verdicts) > MAX_VERDICTS:
            self._verdicts.popitem(last=False)

    def _steps(self, board_request: BoardRequest) -> tuple[Step, ...]:
        """The steps of the work, each with what is known of it."""
        passes = self._verdicts.get(board_request.board) if board_request.board else None
        states = dict.fromkeys(STEPS, "")
        if board_request.errors:
            states["/"] = "to correct"
        elif passes is not None:
            states["/"] = "passes" if passes else "fails"
        with suppress(InputError):
            if board_request.job:
                job = self.jobs.open(self.job_file(board_request.job)).job
                states["/readings"] = f"{len(job.measured)} taken"
                if job.closed is not None:
                    states["/repair"] = "closed"
                elif job.retests:
                    states["/repair"] = RETESTED[job.retests[-1].verdict]
        return tuple(
            Step(path=path, name=name, state=states[path], fails=states[path].endswith("fails"))
            for path, name in STEPS.items()
        )

    def _base_of(self, job_file: Path) -> dict[str, str]:
        """Texts of the board file that a job is about."""
        result = parse_toml(read_text(job_file, WANTED), job_file.name, WANTED)
        file, lines = job_file_of(result)
        if file is None:
            raise refuse(job_file.name, lines)
        wanted = "a board file, TOML in UTF-8, up to 1 MB"
        board_file = board_file_of(job_file, file.board)
        return texts_of(parse_toml(read_text(board_file, wanted), board_file.name, wanted))

    def fill(
        self, template: str, request: Request, board_request: BoardRequest, **words: Any
    ) -> HTMLResponse:
        """A sheet, or a piece of one; every one knows the way to the others."""
        here = "/" + request.url.path.split("/")[1]
        text = self._templates.get_template(template).render(
            here=here,
            heading=STEPS.get(here, STEPS["/"]),
            steps=self._steps(board_request),
            looked=board_request,
            shown=shown_of(request.headers),
            **words,
        )
        return HTMLResponse(text)
