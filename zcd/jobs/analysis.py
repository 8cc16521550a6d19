"""What commands and page work out from a job, with a progress bar."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from zcd.diagnosis.fault_dictionary import FaultDictionary
    from zcd.diagnosis.job import Job
    from zcd.diagnosis.job_history import FaultStatistics
    from zcd.diagnosis.rank import Diagnosis
    from zcd.diagnosis.readings import Measured, Reading


def fault_dictionary_of(job: Job, statistics: FaultStatistics | None = None) -> FaultDictionary:
    """The fault dictionary of a job's board and meter, its priors as closed jobs shift them."""
    from zcd.diagnosis.fault_dictionary import make_fault_dictionary
    from zcd.diagnosis.job_history import with_fault_statistics

    dictionary = make_fault_dictionary(job.board, job.meter, stored=True)
    return with_fault_statistics(dictionary, statistics)


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


def prepared(dictionary: FaultDictionary) -> None:
    """Predict all readings with a progress bar, so that each answer is judged at once."""
    from zcd.progress import progress_bar

    with progress_bar(len(dictionary.readings)) as begin:
        dictionary.prepare(dictionary.readings, begin)
    dictionary.keep()
