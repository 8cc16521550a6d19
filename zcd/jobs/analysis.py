"""What commands and page work out from a job, with a progress bar."""

from __future__ import annotations

from typing import TYPE_CHECKING

from zcd.diagnosis.case import Case
from zcd.diagnosis.job_history import with_experience

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from zcd.board.model import Board
    from zcd.diagnosis.fault_dictionary import Atlas
    from zcd.diagnosis.job import Job
    from zcd.diagnosis.job_history import Experience
    from zcd.diagnosis.rank import Diagnosis
    from zcd.diagnosis.readings import Measured, Reading
    from zcd.diagnosis.retest import Retest


def atlas_of(job: Job) -> Atlas:
    """The atlas of a job's board and meter."""
    from zcd.diagnosis.fault_dictionary import make_atlas

    return make_atlas(job.board, job.meter, stored=True)


def diagnosed(
    atlas: Atlas,
    measured: Sequence[Measured],
    skipped: Sequence[Reading] = (),
    flags: Sequence[str] = (),
) -> Diagnosis:
    """Diagnose with a progress bar."""
    from zcd.diagnosis.rank import diagnose
    from zcd.progress import progress_bar

    with progress_bar(len(atlas.readings)) as begin:
        found = diagnose(atlas, measured, skipped, begin, flags)
    atlas.keep()
    return found


def tested_again(
    atlas: Atlas, measured: Sequence[Measured], before: Sequence[Measured], flags: Sequence[str]
) -> Retest:
    """Judge readings after a repair with a progress bar."""
    from zcd.diagnosis.retest import retest
    from zcd.progress import progress_bar

    with progress_bar(len(measured)) as begin:
        found = retest(atlas, measured, before, flags, begin)
    atlas.keep()
    return found


def retest_kept(
    about: Job, found: Retest, by: str, replaced: Sequence[str], board_file: Path | None
) -> None:
    """Keep a retest of today in the job file that it is about."""
    from datetime import date

    from zcd.jobs.retests import board_name_for, keep_retest, retested

    board = board_name_for(about, board_file)
    keep_retest(about, retested(found, date.today(), by=by, replaced=replaced, board=board))


def captured(csv: str, board: Board) -> tuple[Measured, ...]:
    """An oscilloscope's capture as readings."""
    from zcd.diagnosis.capture import load_capture
    from zcd.diagnosis.capture_measurements import find_traces, readings_of

    return readings_of(find_traces(load_capture(csv), board))


def prepared(atlas: Atlas) -> None:
    """Predict all readings with a progress bar, so that each answer is judged at once."""
    from zcd.progress import progress_bar

    with progress_bar(len(atlas.readings)) as begin:
        atlas.prepare(atlas.readings, begin)
    atlas.keep()


def experienced(job: Job, file: str) -> Experience:
    """What the closed jobs beside a job or board file say of its board."""
    from pathlib import Path

    from zcd.diagnosis.job_history import experience, read_record

    return experience(read_record(Path(file).parent), job.board.name, without=job.file)


def case_of(job: Job, known: Experience | None) -> Case:
    """What was found on a board from the readings of its job."""
    known = known if known is not None and known.jobs else None
    atlas = atlas_of(job)
    if known is not None:
        atlas = with_experience(atlas, known)
    found = diagnosed(atlas, job.measured, job.skipped, job.flags)
    return Case(job=job, atlas=atlas, diagnosis=found, known=known)
