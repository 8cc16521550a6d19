"""The readings sheet: what was measured, what explains it, what to measure next."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from zcd.diagnosis.job import Log
from zcd.diagnosis.job_history import Experience, with_experience
from zcd.diagnosis.rank import Diagnosis, diagnose
from zcd.diagnosis.reading_syntax import parse_place
from zcd.errors import InputError, ZcdError, refusal
from zcd.jobs.conversation import UNDO, Answers, parse_flags, place_of
from zcd.jobs.job_file import JobDocument
from zcd.report.cautions import DEAD, GENERAL, ISOLATED, LIFTED, LIVE
from zcd.report.of_check import board_line
from zcd.report.text import plain
from zcd.web.captures import captured_readings, keep_capture
from zcd.web.fault_dictionaries import Atlases, Known
from zcd.web.job_store import GONE_ON, ChangedMeanwhileError, KeptJobs, Opened
from zcd.web.meter_fields import meter_fields, written_meter
from zcd.web.new_job import begin_job, begin_words
from zcd.web.posted_form import LONGEST_SAID, Message, message_of
from zcd.web.readings_view import jobs_words, talk_words
from zcd.web.state import JOB, RECORD, Desk, Looked

CAUTIONS = (*GENERAL, *DEAD, *ISOLATED, *LIVE, *LIFTED)
FIND = "find"
ANOTHER, CAPTURE, NEXT = "another", "capture", "next"
"""Where an answer was typed, where that is not the line of a reading."""
Act = Callable[[Answers, Message, Log], None]
"""What a form asks for; last the log that its page showed."""


class ReadingsSheet:
    """The second sheet.

    Parameters
    ----------
    desk : Desk
    jobs : KeptJobs
    """

    def __init__(self, desk: Desk, jobs: KeptJobs) -> None:
        self.desk = desk
        self.jobs = jobs
        self.atlases = Atlases()
        self._one_at_a_time = threading.Lock()

    def routes(self) -> list[Route]:
        """Its addresses."""
        acts: dict[str, Act] = {
            "answer": _answered,
            "undo": _taken_back,
            "flags": _flagged,
        }
        return [
            Route("/readings", self.sheet),
            Route("/readings/begin", self._posted(self._begin), methods=["POST"]),
            Route("/readings/capture", self._posted(self._take_capture), methods=["POST"]),
            Route("/readings/meter", self._posted(self._set_meter), methods=["POST"]),
            *(
                Route(f"/readings/{name}", self._posted(partial(self._act, act)), methods=["POST"])
                for name, act in acts.items()
            ),
        ]

    def _posted(self, do: Callable[[Request, Message], Response]) -> Callable[[Request], Any]:
        """A change that is asked for by a form."""

        def done(request: Request, message: Message) -> Response:
            try:
                return do(request, message)
            except InputError as error:  # the job cannot be read by now
                looked = self.desk.look(request)
                return self._list(request, looked, problem=str(error), status=422)

        async def endpoint(request: Request) -> Response:
            message = await message_of(request)
            return await run_in_threadpool(done, request, message)

        return endpoint

    def sheet(self, request: Request) -> Response:
        """The jobs of the folder; or a job's readings, if one is open."""
        looked = self.desk.look(request)
        if not looked.job:
            return self._list(request, looked)
        try:
            opened = self.jobs.open(self.desk.job_file(looked.job))
        except InputError as error:
            return self._list(request, looked, problem=str(error))
        return self._talk(request, looked, opened)

    def _list(
        self,
        request: Request,
        looked: Looked,
        *,
        problem: str = "",
        begin: Mapping[str, str] | None = None,
        status: int = 200,
    ) -> Response:
        """The jobs of the folder, and how to begin one."""
        words = request.query_params.get(FIND, "")[:LONGEST_SAID]
        board = looked.board
        filled = self.desk.fill(
            "readings_sheet.html.j2",
            request,
            looked,
            name="" if board is None else plain(board.name),
            line="" if board is None else board_line(board),
            problem=problem,
            begin=begin or begin_words(self.desk, looked),
            cautions=CAUTIONS,
            words=words,
            **jobs_words(self.jobs, words),
        )
        filled.status_code = status
        return filled

    def _begin(self, request: Request, message: Message) -> Response:
        """A new job on the board that the fields describe."""
        looked = self.desk.look(request)
        name = message.said("name")
        try:
            file = begin_job(self.desk, self.jobs, looked, name)
        except InputError as error:
            words = {**begin_words(self.desk, looked), "name": name, "error": str(error)}
            return self._list(request, looked, begin=words, status=422)
        return RedirectResponse(f"/readings?{urlencode({JOB: file.stem})}", 303)

    def _set_meter(self, request: Request, message: Message) -> Response:
        """What the technician's meter is."""
        looked = self.desk.look(request)
        texts = {key: message.said(key) for key in meter_fields()}
        table, errors = written_meter(texts)
        if table is None and looked.job:
            opened = self.jobs.open(self.desk.job_file(looked.job))
            return self._talk(request, looked, opened, meter=(texts, errors))
        return self._changed(
            request, looked, message, lambda _, document: document.write_meter(table or {})
        )

    def _take_capture(self, request: Request, message: Message) -> Response:
        """An oscilloscope's capture, as readings."""

        def change(opened: Opened, document: JobDocument) -> None:
            if not message.file:
                raise refusal(message.file_name, "an oscilloscope's CSV", "capture")
            job, file = opened.job, message.file
            taken = captured_readings(file, message.file_name, job.board)
            kept = keep_capture(file, document.path)
            try:
                document.write([*job.log, *taken], job.flags)
            except InputError:
                kept.unlink(missing_ok=True)  # it belongs to no reading
                raise

        return self._changed(request, self.desk.look(request), message, change)

    def _act(self, act: Act, request: Request, message: Message) -> Response:
        """One step of the conversation."""

        def change(opened: Opened, document: JobDocument) -> None:
            job = opened.job
            answers = Answers(opened.circuit, list(job.log), job.flags)
            act(answers, message, self.jobs.log_seen(message.said("seen"), opened))
            if (tuple(answers.log), answers.flags) != (job.log, job.flags):
                document.write(answers.log, answers.flags)

        return self._changed(request, self.desk.look(request), message, change)

    def _changed(
        self,
        request: Request,
        looked: Looked,
        message: Message,
        change: Callable[[Opened, JobDocument], None],
    ) -> Response:
        """Change the job, and show what that makes of it."""
        if not looked.job:
            return self._list(request, looked, status=422)
        file = self.desk.job_file(looked.job)
        where = message.said("where")
        whole = where in ("", ANOTHER, CAPTURE)
        try:
            opened = self.jobs.change(file, message.said("seen"), change)
        except ChangedMeanwhileError as error:
            untaken = " ".join(message.said(key) for key in ("at", "say")).strip()
            return self._talk(
                request, looked, self.jobs.open(file), told=str(error), untaken=untaken
            )
        except InputError as error:
            errors = {where or "whole": str(error)}
            return self._talk(
                request, looked, self.jobs.open(file), errors=errors, pieces=not whole,
                untaken=message.said("say"), where=where,
            )  # fmt: skip
        return self._talk(
            request, looked, opened, pieces=not whole, where=where, at=message.said("at")
        )

    def _talk(
        self, request: Request, looked: Looked, opened: Opened, *, pieces: bool = False, **told: Any
    ) -> Response:
        """A job's readings, and what they say."""
        job = opened.job
        known = self.atlases.of(job.board, job.meter)
        experience = self.jobs.experience(opened)
        counts = request.query_params.get(RECORD) != "off"
        words = {"ready": False, "known": known, "opened": opened, "experience": experience}
        if known.atlas is not None:
            try:
                found = self._diagnosis(known, opened, experience if counts else None)
                words |= talk_words(known, opened, found, experience, counts)
            except ZcdError as error:
                known.problem = str(error)
        defaults: dict[str, Any] = {"errors": {}, "told": "", "untaken": "", "where": "", "at": ""}
        defaults |= {"meter": (opened.meter, {}), **told}
        again = bool(request.headers.get("hx-request"))
        template = "talk.html.j2" if again else "readings_sheet.html.j2"
        filled = self.desk.fill(
            "answered.html.j2" if again and pieces and words["ready"] else template,
            request,
            looked,
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

    def _diagnosis(self, known: Known, opened: Opened, experience: Experience | None) -> Diagnosis:
        """The same as the command line's."""
        assert known.atlas is not None
        atlas, job = known.atlas, opened.job
        with self._one_at_a_time:
            if experience is not None:
                atlas = with_experience(atlas, experience)
            found = diagnose(atlas, job.measured, job.skipped, None, job.flags)
            known.atlas.keep()
        return found


def _answered(answers: Answers, message: Message, seen: Log) -> None:
    """A value for the reading of a line, a whole reading, or that it cannot be taken."""
    before = list(answers.log)
    _answer(answers, message)
    later = before[len(seen) :] if tuple(before[: len(seen)]) == seen else []
    if message.said("where") not in (NEXT, ANOTHER) or len(answers.log) <= len(before):
        return
    new = answers.log[-1]
    if new in later:
        answers.log = before  # the same form sent twice
    elif place_of(new) in map(place_of, later):
        raise ChangedMeanwhileError(GONE_ON)


def _answer(answers: Answers, message: Message) -> None:
    at, said = message.said("at"), message.said("say")
    if not at:
        if not said or not answers.take(said, None):
            raise refusal(said, 'a reading such as "ohm R2 62k"')
        return
    reading = parse_place(at, answers.circuit)
    if not said and message.said("where") != NEXT:
        answers.forget(reading)
        return
    before, count = answers.last(reading), len(answers.log)
    if said.lower() in UNDO or not answers.take(said, reading):
        raise refusal(said, "what the meter shows")
    again = len(answers.log) > count and before == answers.log[-1]
    if again and message.said("where") != NEXT:
        answers.log.pop()  # which only says the same again, and was not asked to


def _taken_back(answers: Answers, message: Message, seen: Log) -> None:
    del message
    if tuple(answers.log) == seen:
        answers.take(UNDO[0], None)
    elif tuple(answers.log) != seen[:-1]:  # which is asked for twice
        raise ChangedMeanwhileError(GONE_ON)


def _flagged(answers: Answers, message: Message, seen: Log) -> None:
    del seen
    said = message.said("flags")
    answers.flags = parse_flags(said.split()) if said else ()
