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
from zcd.report.of_retest_record import not_ready_line
from zcd.web import tasks
from zcd.web.board_form import file_of
from zcd.web.drafts import CHANGED
from zcd.web.job_store import JobStore
from zcd.web.repair_request import RepairRequest
from zcd.web.workers import Task, WorkerPool

PATIENCE_S = 60.0
NO_JOB = "found no job; allowed: a job, which the readings sheet begins"


class JobEnd:
    """What ends a job.

    Parameters
    ----------
    workers : WorkerPool
    jobs : JobStore
    """

    def __init__(self, workers: WorkerPool, jobs: JobStore) -> None:
        self.works = workers
        self.jobs = jobs

    def retest(self, repair_request: RepairRequest, patience_s: float = 0.0) -> Task:
        """How the board reads after the repair."""
        before = () if repair_request.job is None else repair_request.job.measured
        return self.works.ask(
            tasks.retest,
            repair_request.board,
            repair_request.meter,
            repair_request.measured,
            before,
            patience_s=patience_s,
        )

    def named(self, repair_request: RepairRequest, patience_s: float = 0.0) -> Task:
        """What the readings before the repair say."""
        stamp = tasks.stamp_of(repair_request.folder) if repair_request.counts else ""
        return self.works.ask(
            tasks.diagnose, repair_request.job, repair_request.counts, stamp, patience_s=patience_s
        )

    def report(self, repair_request: RepairRequest, patience_s: float = 0.0) -> Task:
        """The report."""
        stamp = tasks.stamp_of(repair_request.folder)
        return self.works.ask(
            tasks.report,
            repair_request.job,
            repair_request.board,
            repair_request.counts,
            stamp,
            repair_request.kind,
            repair_request.paper,
            repair_request.meter,
            patience_s=patience_s,
        )

    def keep(self, repair_request: RepairRequest) -> str:
        """Write the retest into the job's file; what came of it, in words."""
        job = repair_request.job
        try:
            if job is None or job.file is None:
                raise InputError(NO_JOB)
            _require_shown(repair_request)
            if not repair_request.measured:
                raise InputError("found no reading; allowed: at least one, after the repair")
            task = self.retest(repair_request, PATIENCE_S)
            if not task.done or task.problem:
                raise InputError(task.problem or "the retest took too long")
            replaced = tuple(
                t.strip() for t in repair_request.texts["replaced"].split(",") if t.strip()
            )
            with self.jobs.claimed(job.file, repair_request.expected_version):
                board_file, made = self._board_file(repair_request, job.file)
                kept = replace(
                    task.result["kept"],
                    taken=date.today(),
                    by=repair_request.texts["by"].strip(),
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

    def _board_file(
        self, repair_request: RepairRequest, job_file: Path
    ) -> tuple[Path | None, bool]:
        """The file of the repaired board, and whether it was made: where the board changed."""
        import tomlkit

        assert repair_request.job is not None
        if not repair_request.unit.edited:
            return repair_request.job.board_file, False
        if repair_request.on_repaired:
            return repair_request.repaired, False
        text = tomlkit.dumps(file_of(repair_request.unit.typed))
        stem = job_file.stem.removesuffix("-job")
        names = (f"{stem}-repaired{'' if n == 1 else f'-{n}'}.toml" for n in count(1))
        for path in map(job_file.with_name, names):
            if not os.path.lexists(path):
                return write_new(path, text), True
            if path.is_file() and path.read_text(encoding="utf-8", errors="replace") == text:
                return path, False
        raise AssertionError("there is always another name")

    def close(self, repair_request: RepairRequest) -> str:
        """Write into the job's file what it was; what came of it, in words."""
        job = repair_request.job
        try:
            if job is None or job.file is None:
                raise InputError(NO_JOB)
            _require_shown(repair_request)
            faults = faults_of(build_circuit(job.board))
            fault = find_fault(faults, repair_request.texts["found"])
            done = repair_request.texts["repair"].strip()
            if not_ready_line(job.retests):
                reason = " ".join(repair_request.texts["reason"].split())
                if not reason:
                    raise InputError("The last retest failed: say why the job is closed.")
                done = f"{done}; closed after a failed retest: {reason}".removeprefix("; ")
            with self.jobs.claimed(job.file, repair_request.expected_version) as open_job:
                now = open_job.job
                if now.closed is None or (now.found, now.repair) != (fault.key, done):
                    close_job(now, fault, done, date.today())
        except InputError as error:
            return str(error).replace("--found", "What it was")
        return ""


def _require_shown(repair_request: RepairRequest) -> None:
    """Refuse what is said of another board than the sheet is about by now."""
    if repair_request.expected_board != repair_request.shown:
        raise InputError(CHANGED)
