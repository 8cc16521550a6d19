"""What a request of the repair sheet is about."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from zcd.arguments import PAPERS
from zcd.board.files import load_board
from zcd.board.model import Board
from zcd.board.preferred import SERIES
from zcd.board.toml_files import parse_toml, read_text
from zcd.circuit.build import build_circuit
from zcd.diagnosis.faults import faults_of
from zcd.diagnosis.job import WANTED, Job
from zcd.diagnosis.meters import Meter, usual_meter
from zcd.diagnosis.reading_syntax import parse_reading
from zcd.diagnosis.readings import Measured, Reading
from zcd.errors import InputError
from zcd.settings import Settings
from zcd.substitutes.search import DRIVE, replaceable_refs
from zcd.web.board_form import differing, read, texts_of
from zcd.web.fragment_versions import version_of
from zcd.web.resistor_rows import Texts
from zcd.web.state import RECORD, REPAIR, TAKEN, PageState, Unit

PARTS, OLD = "parts", "old"
"""Says that the sheet is about the board as it came in, whatever was fitted since."""
NARROW = "narrow"
"""Name under which a phone says that it is one."""
USUAL = {"drawer": "E24", "across": "mains"}
LONGEST_TEXT, LONGEST_READINGS = 200, 1500
MAX_DRAWERS, MOST_TAKEN = 50, 60


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairRequest:
    """A request.

    Parameters
    ----------
    unit : Unit
        Its board is that after the repair.
    before : Board or None
        As the board came in: that of the job, else as in the file that was opened.
    job : Job or None
    texts : dict
        What stands in the fields of the sheet, or the usual where nothing does.
    taken : dict
        The same of the fields for readings to repeat.
    measured : tuple of Measured
        Readings after the repair, of lines that can be read.
    errors : dict
        What is wrong with the others, under ``after``.
    folder : Path
    counts : bool
        Whether closed jobs shift what is likely.
    kind : str
        Of the report.
    narrow : bool
        Whether it is for a phone.
    version : str
        Of the job's file as it stands; empty: there is none.
    expected_version : str
        Of the file that the page shows.
    expected_board : str
        Mark of the board that the page shows.
    repaired : Path or None
        Board file of the last retest, where that is another one than the job's.
    kept : Board or None
        What is in it.
    lost : str
        Why there is none though the retest names one; else empty.
    as_it_came : bool
        Whether the sheet is about the board as it came in though it was repaired since.
    settings : Settings
        Of the bench.
    good : mapping
        Reading -> what it shows on a good board, where that was worked out for this one.
    """

    unit: Unit
    before: Board | None
    job: Job | None
    texts: dict[str, str]
    taken: dict[str, str]
    measured: tuple[Measured, ...]
    errors: dict[str, str]
    folder: Path
    counts: bool
    kind: str
    narrow: bool
    version: str
    expected_version: str
    expected_board: str
    repaired: Path | None = None
    kept: Board | None = None
    lost: str = ""
    as_it_came: bool = False
    settings: Settings
    good: Mapping[Reading, str]

    @property
    def board(self) -> Board | None:
        """After the repair: as the fields say."""
        return self.unit.board

    @property
    def as_printed(self) -> bool:
        """Whether a job with something found is looked at before any repair."""
        job, repaired = self.job, self.told or self.texts["replaced"]
        return job is not None and bool(job.measured or job.found) and not (repaired or job.retests)

    @property
    def on_repaired(self) -> bool:
        """Whether that is the board of the last retest."""
        return self.kept is not None and self.board == self.kept

    @property
    def meter(self) -> Meter:
        """The job's."""
        return (self.settings.meter or usual_meter()) if self.job is None else self.job.meter

    @property
    def part(self) -> str:
        """To be replaced; empty: none was chosen."""
        return self.texts["part"] if self.texts["part"] in (*self.refs, DRIVE) else ""

    @property
    def refs(self) -> tuple[str, ...]:
        """Parts of the board as it came in that may be replaced."""
        return () if self.before is None else replaceable_refs(self.before)[:-1]

    @property
    def faults(self) -> tuple[str, ...]:
        """Keys of the faults that the board may have had."""
        return () if self.before is None else tuple(
            fault.key for fault in faults_of(build_circuit(self.before))
        )  # fmt: skip

    @property
    def drawer_problem(self) -> str:
        """Why it cannot be looked into."""
        if self.texts["drawer"] in (*drawers(self.folder), *SERIES):
            return ""
        return "found no such drawer; allowed: a file named like drawer.toml in the jobs' folder"

    @property
    def drawer_place(self) -> str:
        """Where it is."""
        drawer = self.texts["drawer"]
        return drawer if drawer in SERIES else str(self.folder / drawer)

    @property
    def up(self) -> str:
        """Quantity of the map, bottom to top."""
        from zcd.margin.quantities import usual_up

        return self.texts["up"] or ("" if self.board is None else usual_up(self.board))

    @property
    def paper(self) -> str:
        """Of the report."""
        return self.texts["paper"] if self.texts["paper"] in PAPERS else self.settings.paper

    @property
    def told(self) -> Texts:
        """How the board differs from its file."""
        return self.unit.told

    @property
    def shown(self) -> str:
        """Mark of the board: what is kept of a job must be about the board that its page shows."""
        return version_of(repr(sorted(self.told.items())))


def repair_request_of(
    state: PageState, unit: Unit, said: Mapping[str, str] | None = None
) -> RepairRequest:
    """Read a request: what is in the draft, and the fields that a form sent."""
    job, problem, mark = None, "", ""
    said = {**unit.beside, **(said or {})}
    if unit.job:
        try:
            open_job = state.jobs.open(state.job_file(unit.job))
            job, mark = open_job.job, open_job.version
        except InputError as error:
            problem = str(error)
    repaired, kept, lost, as_it_came = None, None, "", said.get(PARTS) == OLD
    if job is not None:
        repaired, kept, told, lost = _repaired(job, unit.base)
        if told and not (as_it_came or unit.edited):
            # the bench goes on with the board that was kept
            unit = state.unit(unit.name, unit.beside | told)
    longest = {"after": LONGEST_READINGS}
    texts = {
        key: said.get(key, "")[: longest.get(key, LONGEST_TEXT)] or USUAL.get(key, "")
        for key in REPAIR
    }
    taken = {k: t.strip() for k, t in said.items() if k.startswith(TAKEN) and t.strip()}
    lines = [f"{k.removeprefix(TAKEN)} {t}" for k, t in list(taken.items())[:MOST_TAKEN]]
    measured, wrong = _readings([*lines, *texts["after"].splitlines()], unit.board)
    return RepairRequest(
        unit=unit,
        before=read(unit.base)[0],
        job=job,
        texts=texts,
        taken=taken,
        measured=measured,
        errors={k: t for k, t in (("after", wrong), ("", problem)) if t},
        folder=state.folder,
        counts=said.get(RECORD) != "off",
        kind=said.get("kind", ""),
        narrow=bool(said.get(NARROW)),
        version=mark,
        expected_version=said.get("seen", ""),
        expected_board=said.get("shown", ""),
        repaired=repaired,
        kept=kept,
        lost=lost,
        as_it_came=as_it_came,
        settings=state.settings,
        good={}
        if unit.board is None or job is None
        else state.dictionaries.good(unit.board, job.meter),
    )


def _repaired(job: Job, base: Texts) -> tuple[Path | None, Board | None, Texts, str]:
    """Of the last retest: board file, board, how it differs from the job's; or why it is lost."""
    if job.file is None or not job.retests or not job.retests[-1].board:
        return None, None, {}, ""
    file = job.file.parent / job.retests[-1].board
    try:
        board = load_board(file)
        texts = texts_of(parse_toml(read_text(file, WANTED), file.name, WANTED))
    except InputError as error:
        return None, None, {}, str(error)
    return file, board, differing(base, dict.fromkeys(base, "") | texts), ""


def _readings(lines: Sequence[str], board: Board | None) -> tuple[tuple[Measured, ...], str]:
    """Readings, and what is wrong with those that cannot be read."""
    result: list[Measured] = []
    wrong: list[str] = []
    if board is not None:
        circuit = build_circuit(board)
        for line in filter(None, map(str.strip, lines)):
            try:
                result.append(parse_reading(line, circuit, line[:LONGEST_TEXT]))
            except InputError as error:
                wrong.append(str(error))
    return tuple(result), "; ".join(wrong)


def drawers(folder: Path) -> tuple[str, ...]:
    """Drawer files of a folder, by their names."""
    try:
        return tuple(sorted(p.name for p in folder.glob("*drawer*.toml")))[:MAX_DRAWERS]
    except OSError:
        return ()
