"""What the sheets share: the job or board on the bench, what was typed of it, how to fill a sheet.

An address names a job, or a board that is none yet, and a step of the work. What was typed and is
in neither file is in a draft beside them, so that a reload, or a server started anew, shows the
same.
"""

from __future__ import annotations

import os
import re
from collections import OrderedDict
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import count
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any
from urllib.parse import parse_qsl, quote

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape
from starlette.requests import Request
from starlette.responses import HTMLResponse

from zcd.board.files import BOARD_FILE, board_from_dict
from zcd.board.model import Board
from zcd.board.toml_files import parse_toml, read_text, refuse
from zcd.diagnosis.job import WANTED, board_file_of, job_file_of
from zcd.diagnosis.retest_record import Verdict
from zcd.errors import InputError, invalid_value
from zcd.report.cautions import NOT_ISOLATED_TEXT, cautions_on
from zcd.report.of_check_answer import CLEAN, TYPICAL
from zcd.report.of_diagnosis_text import fault_words
from zcd.report.table import FAIL
from zcd.report.text import version_text
from zcd.settings import Settings
from zcd.web.board_form import START, differing, file_of, known, read, texts_of, typed_over
from zcd.web.drafts import Drafts
from zcd.web.fault_dictionaries import FaultDictionaries
from zcd.web.fragment_versions import shown_of, version_of
from zcd.web.job_store import ChangedMeanwhileError, JobStore
from zcd.web.resistor_rows import Texts, added, removed

HERE = Path(__file__).parent
AT = "at"
JOB = "job"
ADD, REMOVE = "add", "remove"
"""Names under which a row of resistors more or less is asked for."""
FIT = "fit"
"""Name under which other parts are put on the board: all that differs from its file, as a query."""
WINDOW = "window"
"""Name under which a page says which window it is, and which draft it shows."""
CHOSEN = "chosen"
"""Says that the circuit to begin with was chosen."""
RECORD = "record"
"""``off`` where closed jobs are to shift nothing."""
REPAIR = (
    "part", "drawer", "after", "replaced", "by", "across", "up", "cause", "found",
    "repair", "reason", "paper", "parts",
)  # fmt: skip
"""Names of the fields of the repair sheet."""
BESIDE = (AT, CHOSEN, RECORD, *REPAIR)
"""What a draft holds beside the fields of the board."""
TAKEN = "take:"
"""Goes before what is read where, in the name of a field for what it shows after the repair."""
STEPS = {"board": "Board", "readings": "Readings", "repair": "Repair"}
"""In the order of the work."""
BENCH = "bench"
"""Name of a board that has no other yet."""
STEP_OF_COMMAND = {"zcd check": "step 2", "add --outlook": "see the years ahead, step 3"}
"""Where the page has what a command tells."""
BETWEEN = {TYPICAL: "warning", CLEAN: "warning", "DEPENDS": "depends"}
"""What the bar says of a board that passes, by how its verdict begins."""
MAX_VERDICTS, MAX_DRAFTS = 64, 50
LONGEST_NAME = 100
BOARD_KEYS = {"mains", "chain", "circuit", "optocoupler"}
"""Of a file that has one, the page says what is wrong with the board."""
WITH_UNIT = re.compile(r"(?:[\d.]+ to )?[\d.]+ (?:%|°C|[GMkmµnp]?(?:Ω|(?:V|A|W|F|Hz|s|h)\b))")
"""A figure and its unit, which stay on one line."""
RETESTED = {
    Verdict.GOOD: "retest passes",
    Verdict.NOT_GOOD: "retest fails",
    Verdict.UNSURE: "retest not sure",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of the work, and how far it is."""

    key: str
    name: str
    state: str
    fails: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A job, or a board that is none yet, with what was typed of it.

    Parameters
    ----------
    name : str
    base : dict
        Texts of its board file; else of one to begin with.
    typed : dict
        What stands in the fields of the board sheet: as typed, else as in the file.
    board : Board or None
        None where the fields describe none.
    errors : dict
        Key of a field -> what is wrong with it; under ``""``: of the whole.
    job : str
        Its name; empty: it is none yet.
    beside : dict
        What else was typed.
    file : Path or None
        Its board file.
    unsaved : str
        Why what was typed last is in no draft; empty: it is in one.
    """

    name: str
    base: Texts
    typed: Texts
    board: Board | None
    errors: dict[str, str]
    job: str
    beside: Texts
    file: Path | None
    unsaved: str = ""

    @property
    def place(self) -> str:
        """Its address, without a step."""
        return f"/job/{quote(self.name, safe='')}"

    @property
    def told(self) -> Texts:
        """What the fields say otherwise than the board file."""
        return differing(self.base, self.typed)

    @property
    def edited(self) -> bool:
        """Whether they do."""
        return bool(self.told)


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
        self._templates.filters |= {
            "mark": version_of,
            "as_words": _as_words,
            "as_said": fault_words,
        }
        self._templates.globals.update(fails=FAIL, version=version_text())
        self.jobs = JobStore(folder, self.settings)
        self.drafts = Drafts(folder)
        self.dictionaries = FaultDictionaries()
        self.opened = self._opened(file_keys is not None)
        self._verdicts: OrderedDict[Board, str] = OrderedDict()

    def _opened(self, given: bool) -> str:
        """Name of the board that the page was opened with."""
        if self.board_file is None:  # what came through a pipe is no board of an earlier draft
            return self.free_name(BENCH, drafts=given)
        stem = self.board_file.stem
        with suppress(InputError):
            here = self.job_file(stem)
            same = os.path.lexists(here) and os.path.samefile(here, self.board_file)
            return stem if same else self.free_name(stem, drafts=False)
        return self.free_name(BENCH, drafts=False)

    def free_name(self, stem: str = BENCH, *, drafts: bool = True) -> str:
        """A name that no file of the folder has, and no draft either."""
        names = (f"{stem}{'' if n == 1 else f'-{n}'}" for n in count(1))
        places = (self.job_file, self.drafts.path) if drafts else (self.job_file,)
        return next(n for n in names if not any(os.path.lexists(place(n)) for place in places))

    def read_address(self, request: Request) -> Unit:
        """What an address is about."""
        return self.unit(request.path_params["name"])

    def unit(
        self, name: str, texts: Mapping[str, str] | None = None, typed: Texts | None = None
    ) -> Unit:
        """A job or board as its draft has it, or other texts; `typed`: its fields, empty ones too.

        Raises
        ------
        InputError
            If that is no name of a file in the folder.
        """
        base, job, file, problem = self._file_of(name)
        if texts is None:
            try:
                texts = self.drafts.read(name).texts
            except InputError as error:
                texts, problem = {}, problem or str(error)
        typed = typed_over(base, texts) if typed is None else typed
        board, errors = _read(tuple(sorted(typed.items())))
        if problem:
            board, errors = None, {"": problem, **errors}
        return Unit(
            name=name, base=base, typed=typed, board=board, errors=errors, job=job,
            beside=_beside(texts), file=file,
        )  # fmt: skip

    def edit(self, name: str, said: Mapping[str, str]) -> Unit:
        """Keep what a window typed, and what comes of it.

        Raises
        ------
        ChangedMeanwhileError
            If another window has typed since.
        InputError
            If that is no name.
        """
        base = self._file_of(name)[0]
        unsaved, edited = "", None

        def change(before: Texts) -> Texts:
            nonlocal edited
            edited = _edited(base, before, said)
            return differing(base, edited) | _beside({**before, **said})

        try:
            self.drafts.change(name, said.get(WINDOW, ""), change)
        except ChangedMeanwhileError:
            raise
        except InputError as error:
            unsaved = self.gone() or str(error)
        unit = self.unit(name, said if unsaved else None, edited)
        return replace(unit, unsaved=unsaved)

    def keep_as_new(self, texts: Texts) -> str:
        """Name of a new draft of a board with these texts."""
        board = {key: text for key, text in texts.items() if known(key)}
        said = differing(START, dict.fromkeys(START, "") | board) | _beside(texts)
        for name in self.drafts.names():
            with suppress(InputError):
                if self.drafts.read(name).texts == said and self._file_of(name)[0] == START:
                    return name
        name = self.free_name()
        self.edit(name, said)
        return name

    def other_drafts(self, here: Unit) -> list[Unit]:
        """Boards that were typed and are no jobs yet."""
        units: list[Unit] = []
        for name in self.drafts.names()[:MAX_DRAFTS]:
            with suppress(InputError):
                units.append(self.unit(name))
        return [unit for unit in units if not unit.job and unit.name != here.name]

    def gone(self) -> str:
        """What to do where the folder of the jobs is no longer there; else empty."""
        if self.folder.is_dir():
            return ""
        return (
            f'the folder "{self.folder.resolve().name}" is gone, so nothing is saved. Restore it, '
            "or start zcd bench again with --jobs and another folder"
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

    def _file_of(self, name: str) -> tuple[Texts, str, Path | None, str]:
        """Texts of a board file, the job that it is of, where it lies, and what is wrong."""
        file = self.job_file(name)
        if name == self.opened:
            return self.base, "", self.board_file, ""
        if not os.path.lexists(file):
            return START, "", None, self.gone()
        try:
            keys = parse_toml(read_text(file, WANTED), file.name, WANTED)
            job, lines = job_file_of(keys)
            if job is not None:
                board_file = board_file_of(file, job.board)
                keys = parse_toml(read_text(board_file, BOARD_FILE), board_file.name, BOARD_FILE)
                return texts_of(keys), name, board_file, ""
            try:
                board_from_dict(keys, file.name)
            except InputError as error:
                if not BOARD_KEYS & keys.keys():
                    raise refuse(file.name, lines) from error
                texts = texts_of(keys)  # what is wrong is told beside its field, if it has one
                return texts, "", file, "" if read(texts)[1] else str(error)
            return texts_of(keys), "", file, ""
        except InputError as error:
            return START, "", None, str(error)

    def board_file_text(self, unit: Unit) -> str:
        """The board as a board file."""
        import tomlkit

        return tomlkit.dumps(file_of(unit.typed))

    def judged(self, board: Board, verdict: str, *, passes: bool) -> None:
        """Remember whether a board passes, for the line of steps."""
        word = next((BETWEEN[start] for start in BETWEEN if verdict.startswith(start)), "passes")
        self._verdicts[board] = word if passes else "fails"
        while len(self._verdicts) > MAX_VERDICTS:
            self._verdicts.popitem(last=False)

    def _steps(self, unit: Unit) -> tuple[Step, ...]:
        """The steps of the work, each with what is known of it."""
        states = dict.fromkeys(STEPS, "")
        if unit.errors:
            states["board"] = "to correct"
        elif unit.board is not None:
            states["board"] = self._verdicts.get(unit.board, "")
        with suppress(InputError):
            if unit.job:
                job = self.jobs.open(self.job_file(unit.job)).job
                states["readings"] = f"{len(job.measured)} taken"
                if job.closed is not None:
                    states["repair"] = "closed"
                elif job.retests:
                    states["repair"] = RETESTED[job.retests[-1].verdict]
        return tuple(
            Step(key=key, name=name, state=states[key], fails=states[key].endswith("fails"))
            for key, name in STEPS.items()
        )

    def fill(
        self,
        template: str,
        request: Request,
        unit: Unit,
        of_board: Board | None = None,
        **words: Any,
    ) -> HTMLResponse:
        """A sheet, or a piece of one; every one knows the way to the others, and says first of all
        if its board is not isolated."""
        board = of_board or unit.board
        last = request.url.path.removeprefix(f"/job/{unit.name}/").split("/")[0]
        here = {"verdict": "board"}.get(last, last if last in STEPS or not last else "readings")
        usual = {
            "here": here,
            "heading": STEPS.get(here, "Jobs"),
            "steps": self._steps(unit),
            "looked": unit,
            "window": self.drafts.window(unit.name),
            "gone": self.gone(),
            "shown": shown_of(request.headers),
            "not_isolated": "" if board is None or board.is_isolated else NOT_ISOLATED_TEXT,
        }
        words["cautions"] = cautions_on(board, words.get("cautions", ()))
        return HTMLResponse(self._templates.get_template(template).render(usual | words))


def _as_words(text: str) -> Markup:
    """A text as a page says it: a step in place of a command, figure and unit on one line."""
    for command, step in STEP_OF_COMMAND.items():
        text = text.replace(command, step)
    return Markup(WITH_UNIT.sub(r'<span class="unit">\g<0></span>', str(escape(text))))


def _beside(texts: Mapping[str, str]) -> Texts:
    """What of some texts is no field of the board."""
    return {k: t for k, t in texts.items() if t and (k in BESIDE or k.startswith(TAKEN))}


def _edited(base: Texts, before: Texts, said: Mapping[str, str]) -> Texts:
    """The fields of the board after an edit."""
    if FIT in said:
        return typed_over(base, dict(parse_qsl(said[FIT], keep_blank_values=True)))
    typed = typed_over(base, before)
    if any(map(known, said)):
        typed = typed_over(typed, said)
    for word, edit in ((ADD, added), (REMOVE, removed)):
        if where := said.get(word, ""):
            typed = edit(typed, where)
    return typed
