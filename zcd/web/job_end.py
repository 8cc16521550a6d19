"""The end of a job: the retest kept, the report, the job closed."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import date
from itertools import count
from pathlib import Path

from zcd.circuit.build import build_circuit
from zcd.diagnosis.faults import faults_of
from zcd.errors import InputError
from zcd.files import write_new
from zcd.jobs.closing import close_job, find_fault
from zcd.jobs.retests import board_name_for, keep_retest
from zcd.web import tasks
from zcd.web.board_form import file_of
from zcd.web.job_store import KeptJobs
from zcd.web.repair_request import Asked
from zcd.web.workers import Work, Works

PATIENCE_S = 60.0
NO_JOB = "found no job; allowed: a job, which the readings sheet begins"


class Ending:
    """What ends a job.

    Parameters
    ----------
    works : Works
    jobs : KeptJobs
    """

    def __init__(self, works: Works, jobs: KeptJobs) -> None:
        self.works = works
        self.jobs = jobs

    def retest(self, asked: Asked, patience_s: float = 0.2) -> Work:
        """How the board reads after the repair."""
        before = () if asked.job is None else asked.job.measured
        return self.works.ask(
            tasks.read_again,
            asked.board,
            asked.meter,
            asked.measured,
            before,
            patience_s=patience_s,
        )

    def named(self, asked: Asked, patience_s: float = 0.2) -> Work:
        """What the readings before the repair say."""
        stamp = tasks.stamp_of(asked.folder) if asked.counts else ""
        return self.works.ask(tasks.named, asked.job, asked.counts, stamp, patience_s=patience_s)

    def report(self, asked: Asked, patience_s: float = 0.2) -> Work:
        """The report."""
        stamp = tasks.stamp_of(asked.folder)
        return self.works.ask(
            tasks.reported,
            asked.job,
            asked.board,
            asked.counts,
            stamp,
            asked.kind,
            asked.paper,
            asked.meter,
            patience_s=patience_s,
        )

    def keep(self, asked: Asked) -> str:
        """Write the retest into the job's file; what came of it, in words."""
        job = asked.job
        try:
            if job is None or job.file is None:
                raise InputError(NO_JOB)
            if not asked.measured:
                raise InputError("found no reading; allowed: at least one, after the repair")
            work = self.retest(asked, PATIENCE_S)
            if not work.done or work.problem:
                raise InputError(work.problem or "the retest took too long")
            replaced = tuple(t.strip() for t in asked.texts["replaced"].split(",") if t.strip())
            with self.jobs.claimed(job.file, asked.seen):
                board_file, made = self._board_file(asked, job.file)
                kept = replace(
                    work.found["kept"],
                    taken=date.today(),
                    by=asked.texts["by"].strip(),
                    replaced=replaced,
                    board=board_name_for(job, board_file),
                )
                try:
                    keep_retest(job, kept)
                except InputError:
                    if made and board_file is not None:
                        board_file.unlink(missing_ok=True)  # it belongs to no retest
                    raise
        except InputError as error:
            return str(error)
        return f"Kept in {job.file.name}."

    def _board_file(self, asked: Asked, job_file: Path) -> tuple[Path | None, bool]:
        """The file of the repaired board, and whether it was made: where the board changed."""
        import tomlkit

        assert asked.job is not None
        if not asked.looked.edited:
            return asked.job.board_file, False
        if asked.on_repaired:
            return asked.repaired, False
        text = tomlkit.dumps(file_of(asked.looked.typed))
        stem = job_file.stem.removesuffix("-job")
        names = (f"{stem}-repaired{'' if n == 1 else f'-{n}'}.toml" for n in count(1))
        for path in map(job_file.with_name, names):
            if not os.path.lexists(path):
                return write_new(path, text), True
            if path.is_file() and path.read_text(encoding="utf-8", errors="replace") == text:
                return path, False
        raise AssertionError("there is always another name")

    def close(self, asked: Asked) -> str:
        """Write into the job's file what it was; what came of it, in words."""
        job = asked.job
        try:
            if job is None or job.file is None:
                raise InputError(NO_JOB)
            faults = faults_of(build_circuit(job.board))
            fault = find_fault(faults, asked.texts["found"])
            done = asked.texts["repair"].strip()
            with self.jobs.claimed(job.file, asked.seen) as opened:
                now = opened.job
                if now.closed is None or (now.found, now.repair) != (fault.key, done):
                    close_job(now, fault, done, date.today())
        except InputError as error:
            return str(error).replace("--found", "What it was")
        return ""
