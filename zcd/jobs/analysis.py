"""What commands and page work out from a job, with a progress bar."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from zcd.diagnosis.case import Case
from zcd.diagnosis.job_history import with_fault_statistics

if TYPE_CHECKING:
    from collections.abc import Sequence

    from zcd.board.model import Board
    from zcd.diagnosis.fault_dictionary import FaultDictionary
    from zcd.diagnosis.job import Job
    from zcd.diagnosis.job_history import FaultStatistics
    from zcd.diagnosis.rank import Diagnosis
    from zcd.diagnosis.readings import Measured, Reading
    from zcd.diagnosis.retest import Retest


def fault_dictionary_of(job: Job) -> FaultDictionary:
    """The fault dictionary of a job's board and meter."""
    from zcd.diagnosis.fault_dictionary import make_fault_dictionary

    return make_fault_dictionary(job.board, job.meter, stored=True)


def diagnosed(
    dictionary: FaultDictionary,
    measured: Sequence[Measured],
    skipped: Sequence[Reading] = (),
    flags: Sequence[str] = (),
) -> Diagnosis:
    """Diagnose with a progress bar."""
    from zcd.diagnosis.rank import diagnose
    from zcd.progress import progress_bar

    with progress_bar(len(dictionary.readings)) as begin:
        result = diagnose(dictionary, measured, skipped, begin, flags)
    dictionary.keep()
    return result


def tested_again(
    dictionary: FaultDictionary,
    measured: Sequence[Measured],
    about: Job | None,
) -> Retest:
    """Judge readings after a repair with a progress bar; `about` says what was before it."""
    from zcd.diagnosis.retest import retest
    from zcd.progress import progress_bar

    before = () if about is None else about.measured
    with progress_bar(len(measured)) as begin:
        result = retest(dictionary, measured, before, progress=begin)
    dictionary.keep()
    return result if about is None else replace(result, flags_before=tuple(about.flags))


def retest_kept(about: Job, retest: Retest, by: str, replaced: Sequence[str], board: str) -> None:
    """Keep a retest of today in the job file that it is about."""
    from datetime import date

    from zcd.jobs.retests import keep_retest, retest_record_of

    keep_retest(
        about, retest_record_of(retest, date.today(), by=by, replaced=replaced, board=board)
    )


def captured(csv: str, board: Board) -> tuple[Measured, ...]:
    """An oscilloscope's capture as readings."""
    from zcd.diagnosis.capture import load_capture
    from zcd.diagnosis.capture_measurements import find_traces, readings_of

    return readings_of(find_traces(load_capture(csv), board))


def prepared(dictionary: FaultDictionary) -> None:
    """Predict all readings with a progress bar, so that each answer is judged at once."""
    from zcd.progress import progress_bar

    with progress_bar(len(dictionary.readings)) as begin:
        dictionary.prepare(dictionary.readings, begin)
    dictionary.keep()


def fault_statistics_of(job: Job, file: str) -> FaultStatistics:
    """What the closed jobs beside a job or board file say of its board."""
    from pathlib import Path

    from zcd.diagnosis.job_history import fault_statistics, read_job_history

    return fault_statistics(read_job_history(Path(file).parent), job.board.name, without=job.file)


def case_of(job: Job, statistics: FaultStatistics | None) -> Case:
    """What was found on a board from the readings of its job."""
    statistics = statistics if statistics is not None and statistics.jobs else None
    dictionary = fault_dictionary_of(job)
    if statistics is not None:
        dictionary = with_fault_statistics(dictionary, statistics)
    result = diagnosed(dictionary, job.measured, job.skipped, job.flags)
    return Case(job=job, atlas=dictionary, diagnosis=result, known=statistics)
