"""The demo: an invented board with an invented fault, from the first reading to the report."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from zcd.board.files import load_board
from zcd.board.model import Board
from zcd.diagnosis.job import Job, load_job
from zcd.errors import InputError, plain
from zcd.files import make_folder, write_whole
from zcd.report.document import BulletList, Document, Facts, Paragraph, Section, Verdict
from zcd.report.of_check_document import check_answer
from zcd.report.of_diagnosis_answer import answer_document

if TYPE_CHECKING:
    from zcd.diagnosis.case import Case
    from zcd.margin.check import Check


FILES = ("board.toml", "job.toml", "repaired.toml")
DEFAULT_FOLDER = "zcd-demo"
NEXT = (
    "Try next, in that folder: zcd readings board.toml; zcd diagnose board.toml; "
    "zcd substitute board.toml --for OC1; zcd check repaired.toml --was board.toml.",
)
_TEMPLATES = Path(__file__).with_name("templates") / "demo"


@dataclass(frozen=True, slots=True, kw_only=True)
class Demo:
    """The demo's files, written and read back like anybody's.

    Parameters
    ----------
    folder : Path
    job : Job
        The faulty board with what was measured on it.
    repaired : Board
    """

    folder: Path
    job: Job
    repaired: Board


def write_demo(folder: str | None) -> Demo:
    """Write the demo's files into a new folder.

    Parameters
    ----------
    folder : str or None
        Must not exist; None takes the first free of ``zcd-demo``, ``zcd-demo-2`` and so on.

    Returns
    -------
    demo : Demo

    Raises
    ------
    InputError
        If the folder exists or cannot be made.
    """
    path = _free_folder() if folder is None else Path(folder)
    if path.exists():
        raise InputError(f"{path}: found something of that name; allowed: a new folder")
    make_folder(path)
    try:
        for name in FILES:
            write_whole(path / name, (_TEMPLATES / name).read_bytes())
    except InputError:  # a full disk: nothing is left behind, and the name stays free
        take_back(path)
        raise
    return Demo(
        folder=path,
        job=load_job(path / "job.toml"),
        repaired=load_board(path / "repaired.toml"),
    )


def take_back(folder: Path) -> None:
    """Remove what was written, and the folder unless others have put something into it."""
    with suppress(OSError):
        for name in FILES:
            (folder / name).unlink(missing_ok=True)
        folder.rmdir()


def _free_folder() -> Path:
    names = (f"{DEFAULT_FOLDER}-{n}" if n > 1 else DEFAULT_FOLDER for n in count(1))
    return next(path for path in map(Path, names) if not path.exists())


def demo_document(demo: Demo, case: Case, check: Check) -> Document:
    """The demo: the faulty board, then the repaired one, then where it all lies."""
    faulty, repaired = answer_document(case), check_answer(check)
    files = (
        f"In {plain(str(demo.folder))}: board.toml, job.toml (the readings), repaired.toml, "
        "report.html. Board, appliance, fault and readings are invented."
    )
    (found,), (verdict,) = faulty.sections, repaired.sections
    told = [block for block in found.blocks if not isinstance(block, BulletList)][:1]
    judged = [b for b in verdict.blocks if isinstance(b, Verdict | BulletList | Facts)]
    return Document(
        title="THE FAULTY BOARD",
        sections=(
            Section("", (Paragraph(faulty.title), *told, *_bullets(found)), answer=True),
            Section("THE REPAIRED BOARD", (Paragraph(repaired.title), *judged), answer=True),
            Section("THE FILES", (Paragraph(files), *map(Paragraph, NEXT)), answer=True),
        ),
    )


def _bullets(section: Section) -> tuple[BulletList, ...]:
    return tuple(block for block in section.blocks if isinstance(block, BulletList))[:1]
