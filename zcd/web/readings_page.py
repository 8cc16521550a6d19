"""The readings sheet: what was measured, what explains it, what to measure next."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import partial
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from zcd.diagnosis.job import Log
from zcd.diagnosis.job_history import FaultStatistics, with_fault_statistics
from zcd.diagnosis.rank import Diagnosis, diagnose
from zcd.diagnosis.reading_syntax import parse_place
from zcd.errors import InputError, ZcdError, invalid_value, plain
from zcd.jobs.conversation import UNDO, Answers, parse_flags, place_of
from zcd.jobs.job_file import JobFileWriter
from zcd.report.cautions import DEAD, GENERAL, ISOLATED, LIFTED, LIVE
from zcd.report.of_check import board_line
from zcd.web.captures import captured_readings, keep_capture
from zcd.web.fault_dictionaries import PreparedBoard
from zcd.web.job_store import GONE_ON, ChangedMeanwhileError, JobStore, OpenJob
from zcd.web.meter_fields import meter_fields, written_meter
from zcd.web.new_job import begin_job, begin_words
from zcd.web.posted_form import LONGEST_SAID, PostedForm, message_of
from zcd.web.readings_view import FLAG_CHOICES, jobs_words, talk_words
from zcd.web.state import RECORD, PageState, Unit

CAUTIONS = (*GENERAL, *DEAD, *ISOLATED, *LIVE, *LIFTED)
FIND = "find"
PLACE = ("function", "red", "black")
"""Names under which a reading at two points is chosen."""
ANOTHER, CAPTURE, CHIP, NEXT = "another", "capture", "chip", "next"
"""Where an answer was typed, where that is not the line of a reading."""
Act = Callable[[Answers, PostedForm, Log], None]
"""What a form asks for; last the log that its page showed."""


class ReadingsPage:
    """The second sheet.

    Parameters
    ----------
    state : PageState
    jobs : JobStore
    """

    def __init__(self, state: PageState, jobs: JobStore) -> None:
        self.desk = state
        self.jobs = jobs
        self._one_at_a_time = threading.Lock()

    def routes(self) -> list[Route]:
        """Its addresses."""
        acts: dict[str, Act] = {"answer": _answered, "undo": _taken_back, "flags": _flagged}
        changes: dict[str, Callable[[Request, PostedForm], Response]] = {
            "begin": self._begin,
            "capture": self._take_capture,
            "meter": self._set_meter,
            "record": self._count,
            **{name: partial(self._act, act) for name, act in acts.items()},
        }
        return [
            Route("/jobs", self.jobs_page),
            Route("/job/{name}/readings", self.page),
            *(
                Route(f"/job/{{name}}/{name}", self._posted(do), methods=["POST"])
                for name, do in changes.items()
            ),
        ]

    def _posted(self, do: Callable[[Request, PostedForm], Response]) -> Callable[[Request], Any]:
        """A change that is asked for by a form."""

        def done(request: Request, message: PostedForm) -> Response:
            try:
                return do(request, message)
            except ChangedMeanwhileError:
                raise
            except InputError as error:  # the job cannot be read by now
                if request.headers.get("hx-request"):
                    raise
                unit = self.desk.read_address(request)
                return self._list(request, unit, problem=str(error), status=422)

        async def endpoint(request: Request) -> Response:
            message = await message_of(request)
            return await run_in_threadpool(done, request, message)

        return endpoint

    def jobs_page(self, request: Request) -> Response:
        """The jobs of the folder."""
        return self._list(request, self.desk.unit(self.desk.opened))

    async def page(self, request: Request) -> Response:
        """The jobs of the folder; or a job's readings, for which the page itself then waits."""
        if request.headers.get("hx-request"):
            prepared = await run_in_threadpool(self._prepared, request)
            if prepared is not None and not await prepared.made(request):
                return Response(status_code=204)
        return await run_in_threadpool(self.filled, request)

    def _prepared(self, request: Request) -> PreparedBoard | None:
        unit = self.desk.read_address(request)
        if not unit.job:
            return None
        with suppress(InputError):
            job = self.jobs.open(self.desk.job_file(unit.job)).job
            return self.desk.dictionaries.of(job.board, job.meter)
        return None

    def filled(self, request: Request) -> Response:
        """The same, as far as it is."""
        unit = self.desk.read_address(request)
        if not unit.job:
            return self._list(request, unit)
        try:
            open_job = self.jobs.open(self.desk.job_file(unit.job))
        except InputError as error:
            return self._list(request, unit, problem=str(error))
        return self._talk(request, unit, open_job)

    def _list(
        self,
        request: Request,
        unit: Unit,
        *,
        problem: str = "",
        begin: Mapping[str, str] | None = None,
        status: int = 200,
    ) -> Response:
        """The jobs of the folder, and how to begin one."""
        words = request.query_params.get(FIND, "")[:LONGEST_SAID]
        gone = self.desk.gone()
        board = unit.board
        filled = self.desk.fill(
            "readings_page.html.j2",
            request,
            unit,
            name="" if board is None else plain(board.name),
            line="" if board is None else board_line(board),
            problem="" if gone else problem,
            flag_choices=FLAG_CHOICES,
            begin=begin or begin_words(self.desk, unit),
            cautions=CAUTIONS,
            words=words,
            drafts=self.desk.other_drafts(unit),
            **jobs_words(self.jobs, words, gone),
        )
        filled.status_code = status
        return filled

    def _begin(self, request: Request, message: PostedForm) -> Response:
        """A new job on the board that the fields describe."""
        unit = self.desk.read_address(request)
        name = message.said("name")
        try:
            flags = message.said("flags")
            file = begin_job(self.desk, self.jobs, unit, name, *_flags_of(flags, {}))
        except InputError as error:
            words = {**begin_words(self.desk, unit), "name": name, "flags": flags}
            words["error"] = self.desk.gone() or str(error)
            return self._list(request, unit, begin=words, status=422)
        return RedirectResponse(f"{self.desk.unit(file.stem).place}/readings", 303)

    def _set_meter(self, request: Request, message: PostedForm) -> Response:
        """What the technician's meter is."""
        unit = self.desk.read_address(request)
        texts = {key: message.said(key) for key in meter_fields()}
        table, errors = written_meter(texts)
        if table is None and unit.job:
            open_job = self.jobs.open(self.desk.job_file(unit.job))
            return self._talk(request, unit, open_job, meter=(texts, errors))
        return self._changed(
            request, unit, message, lambda _, writer: writer.write_meter(table or {})
        )

    def _take_capture(self, request: Request, message: PostedForm) -> Response:
        """An oscilloscope's capture, as readings."""

        def change(open_job: OpenJob, writer: JobFileWriter) -> None:
            if not message.file:
                raise invalid_value(message.file_name, "an oscilloscope's CSV", "capture")
            job, file = open_job.job, message.file
            taken = captured_readings(file, message.file_name, job.board)
            kept = keep_capture(file, writer.path)
            try:
                writer.write([*job.log, *taken], job.flags)
            except InputError:
                kept.unlink(missing_ok=True)  # it belongs to no reading
                raise

        return self._changed(request, self.desk.read_address(request), message, change)

    def _count(self, request: Request, message: PostedForm) -> Response:
        """Whether closed jobs shift what is likely."""
        unit = self.desk.edit(request.path_params["name"], message.texts)
        if not unit.job:
            return self._list(request, unit, status=422)
        return self._talk(request, unit, self.jobs.open(self.desk.job_file(unit.job)))

    def _act(self, act: Act, request: Request, message: PostedForm) -> Response:
        """One step of the conversation."""

        def change(open_job: OpenJob, writer: JobFileWriter) -> None:
            job = open_job.job
            answers = Answers(open_job.circuit, list(job.log), job.flags, job.codes)
            act(answers, message, self.jobs.log_of_version(message.said("seen"), open_job))
            told = tuple(answers.log), answers.flags, answers.codes
            if told != (job.log, job.flags, job.codes):
                writer.codes = answers.codes
                writer.write(answers.log, answers.flags)

        return self._changed(request, self.desk.read_address(request), message, change)

    def _changed(
        self,
        request: Request,
        unit: Unit,
        message: PostedForm,
        change: Callable[[OpenJob, JobFileWriter], None],
    ) -> Response:
        """Change the job, and show what that makes of it."""
        if not unit.job:
            raise InputError(f"{unit.name}: its job file is gone; restore it, or begin another job")
        file = self.desk.job_file(unit.job)
        where = message.said("where")
        whole = where in ("", ANOTHER, CAPTURE, CHIP)
        try:
            open_job = self.jobs.change(file, message.said("seen"), change)
        except ChangedMeanwhileError as error:
            untaken = " ".join(filter(None, map(message.said, ("at", *PLACE, "say", "shown"))))
            return self._talk(request, unit, self.jobs.open(file), told=str(error), untaken=untaken)
        except InputError as error:
            errors = {"whole" if where in ("", CHIP) else where: str(error)}
            return self._talk(
                request, unit, self.jobs.open(file), errors=errors, pieces=not whole,
                untaken=message.said("say"), where=where,
            )  # fmt: skip
        return self._talk(
            request, unit, open_job, pieces=not whole, where=where, at=message.said("at")
        )

    def _talk(
        self,
        request: Request,
        unit: Unit,
        open_job: OpenJob,
        *,
        pieces: bool = False,
        **told: Any,
    ) -> Response:
        """A job's readings, and what they say."""
        job = open_job.job
        prepared = self.desk.dictionaries.of(job.board, job.meter)
        statistics = self.jobs.fault_statistics(open_job)
        counts = unit.beside.get(RECORD) != "off"
        words = {"ready": False, "known": prepared, "opened": open_job}
        if prepared.dictionary is not None:
            try:
                result = self._diagnosis(prepared, open_job, statistics if counts else None)
                words |= talk_words(prepared, open_job, result, statistics, counts)
            except ZcdError as error:
                prepared.problem = str(error)
        defaults: dict[str, Any] = {"errors": {}, "told": "", "untaken": "", "where": "", "at": ""}
        defaults |= {"meter": (open_job.meter, {}), **told}
        again = bool(request.headers.get("hx-request"))
        template = "readings.html.j2" if again else "readings_page.html.j2"
        filled = self.desk.fill(
            "answered.html.j2" if again and pieces and words["ready"] else template,
            request,
            unit,
            job.board,
            cautions=CAUTIONS,
            meter_fields=meter_fields(),
            name=plain(job.board.name),
            line=board_line(job.board),
            again=again,
            pieces=pieces,
            **(defaults | words),
        )
        if again:
            # by name: what a waiting request aimed at may have been replaced meanwhile
            whole = not (pieces and words["ready"])
            filled.headers["HX-Retarget"] = "#talk"
            filled.headers["HX-Reswap"] = "outerHTML" if whole else "none"
        return filled

    def _diagnosis(
        self, prepared: PreparedBoard, open_job: OpenJob, statistics: FaultStatistics | None
    ) -> Diagnosis:
        """The same as the command line's."""
        assert prepared.dictionary is not None
        dictionary, job = prepared.dictionary, open_job.job
        with self._one_at_a_time:
            if statistics is not None:
                dictionary = with_fault_statistics(dictionary, statistics)
            result = diagnose(dictionary, job.measured, job.skipped, None, job.flags)
            prepared.dictionary.keep()
        return result


def _answered(answers: Answers, message: PostedForm, expected_version: Log) -> None:
    """A value for the reading of a line, a whole reading, or that it cannot be taken."""
    before = list(answers.log)
    _answer(answers, message)
    later = (
        before[len(expected_version) :]
        if tuple(before[: len(expected_version)]) == expected_version
        else []
    )
    if message.said("where") not in (NEXT, ANOTHER) or len(answers.log) <= len(before):
        return
    new = answers.log[-1]
    if new in later:
        answers.log = before  # the same form sent twice
    elif place_of(new) in map(place_of, later):
        raise ChangedMeanwhileError(GONE_ON)


def _answer(answers: Answers, message: PostedForm) -> None:
    at, said = message.said("at"), message.said("say")
    if not said and (shown := message.said("shown")):
        said = " ".join((*(message.said(key) for key in PLACE), shown))
    if not at:
        if not said or not answers.take(said, None):
            raise invalid_value(said, 'a reading such as "ohm R2 62k"')
        return
    reading = parse_place(at, answers.circuit)
    if not said and message.said("where") != NEXT:
        answers.forget(reading)
        return
    if message.said("where") == CHIP:
        answers.forget(reading)  # corrected, not read once more
    before, count = answers.last(reading), len(answers.log)
    if said.lower() in UNDO or not answers.take(said, reading):
        raise invalid_value(said, "what the meter shows")
    again = len(answers.log) > count and before == answers.log[-1]
    if again and message.said("where") != NEXT:
        answers.log.pop()  # which only says the same again, and was not asked to


def _taken_back(answers: Answers, message: PostedForm, expected_version: Log) -> None:
    del message
    if tuple(answers.log) == expected_version:
        answers.take(UNDO[0], None)
    elif tuple(answers.log) != expected_version[:-1]:  # which is asked for twice
        raise ChangedMeanwhileError(GONE_ON)


def _flagged(answers: Answers, message: PostedForm, expected_version: Log) -> None:
    del expected_version
    answers.flags, answers.codes = _flags_of(message.said("flags"), answers.codes)


def _flags_of(said: str, codes: Mapping[str, str]) -> tuple[tuple[str, ...], Mapping[str, str]]:
    return parse_flags(said.split(), codes) if said else ((), codes)
