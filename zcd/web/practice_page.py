"""The sheet of practice: a hidden fault, a bench to measure it on, and a look back.

Every button says a line, as one would type it at the terminal.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from secrets import randbelow
from typing import Any

from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.circuit.points import point_text
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.reading_syntax import show_measured
from zcd.diagnosis.readings import Power, parts_over
from zcd.errors import InputError, invalid_value
from zcd.practice.exercise import LEVELS, MOST_SEED, example_keys, require_number
from zcd.practice.session import Session, reading_text
from zcd.report.cautions import DEAD, GENERAL, ISOLATED, LIFTED, LIVE
from zcd.report.html import fragment_html
from zcd.report.of_diagnosis import node_texts, part_texts
from zcd.report.of_practice import begin_lines, bench_state, progress_line, review_document
from zcd.web.board_form import file_of
from zcd.web.circuit_drawing import CircuitDrawing, circuit_drawing
from zcd.web.exercises import Exercises, OpenExercise
from zcd.web.job_store import ChangedMeanwhileError
from zcd.web.posted_form import PostedForm, message_of
from zcd.web.readings_view import probe_words
from zcd.web.state import PageState, Unit

CAUTIONS = (*GENERAL, *DEAD, *ISOLATED, *LIVE, *LIFTED)
BOARD = "board"
UNDER_WAY = "An exercise is under way: finish it or give it up"
HINT, ONE_END = "hint", "lifted"
BEGIN = {BOARD: "", "level": "1", "seed": "", "record": ""}
"""Fields of the form that begins an exercise."""


class PracticePage:
    """The sheet beside the three of the work.

    Parameters
    ----------
    state : PageState
    """

    def __init__(self, state: PageState) -> None:
        self.desk = state
        self.exercises = Exercises(state.folder, state.settings.meter or usual_meter())

    def routes(self) -> list[Route]:
        """Its addresses."""
        return [
            Route("/practice", self.page),
            Route("/practice/drawn", self.drawn),
            Route("/practice/begin", self.begin, methods=["POST"]),
            Route("/practice/say", self.say, methods=["POST"]),
            Route("/practice/review", self.review, methods=["POST"]),
        ]

    def page(self, request: Request) -> Response:
        """The exercise under way; else how to begin one."""
        return self._filled(request, request.query_params.get(BOARD, ""))

    def drawn(self, request: Request) -> Response:
        """The circuit, which follows an answer: it takes longer than a meter."""
        opened = self.exercises.current()
        if opened is None or opened.session.over:
            return Response(status_code=204)
        return self._fill("practice_answered.html.j2", request, diagram=_drawn(opened))

    async def begin(self, request: Request) -> Response:
        """Hide a fault."""
        message = await message_of(request)
        return await run_in_threadpool(self._begun, request, message)

    async def say(self, request: Request) -> Response:
        """Do one step; a hint waits for what an expert knows."""
        message = await message_of(request)
        if message.said("say") == HINT and not await self._knows(request):
            return Response(status_code=204)
        return await run_in_threadpool(self._said, request, message)

    async def review(self, request: Request) -> Response:
        """Look back on the exercise."""
        if not await self._knows(request):
            return Response(status_code=204)
        return await run_in_threadpool(self._looked_back, request)

    async def _knows(self, request: Request) -> bool:
        prepared = await run_in_threadpool(self.exercises.prepared)
        return prepared is None or await prepared.made(request)

    def _begun(self, request: Request, message: PostedForm) -> Response:
        said = {key: message.said(key) for key in BEGIN}
        try:
            level = require_number(said["level"], "level")
            seed = require_number(said["seed"] or randbelow(MOST_SEED + 1), "seed")
            keys = example_keys(seed)
            if said[BOARD]:
                unit = self.desk.unit(said[BOARD])
                if unit.board is None:
                    raise InputError(f"{said[BOARD]}: its fields need correction first")
                keys = file_of(unit.typed)
            self.exercises.begin(keys, level, seed, said["record"])
        except InputError as error:
            problem = "" if self.desk.gone() else str(error)
            return self._filled(request, said[BOARD], said, problem)
        return RedirectResponse("/practice", 303)

    def _said(self, request: Request, message: PostedForm) -> Response:
        try:
            opened = self.exercises.current()
            line = message.said("say")
            if not line and opened is not None:
                line = _line_of(opened.session, message)
            opened = self.exercises.say(line, message.said("seen"))
        except ChangedMeanwhileError:
            raise
        except InputError as error:
            told = self.desk.gone() or str(error)
            return self._fill("practice_answered.html.j2", request, told=told)
        if opened.session.over:
            return self._filled(request, again=True)
        return self._fill("practice_answered.html.j2", request, **_answer_words(opened))

    def _looked_back(self, request: Request) -> Response:
        try:
            document = review_document(self.exercises.look_back(), full=True)
        except ChangedMeanwhileError:
            raise
        except InputError as error:
            return self._fill("practice_review.html.j2", request, problem=str(error))
        return self._fill(
            "practice_review.html.j2", request, problem="", review=Markup(fragment_html(document))
        )

    def _filled(
        self,
        request: Request,
        board: str = "",
        begin: Mapping[str, str] | None = None,
        problem: str = "",
        *,
        again: bool = False,
    ) -> Response:
        """The sheet, or all of what is on it."""
        words: dict[str, Any] = {"over": False, "running": False, "again": again}
        try:
            opened = self.exercises.current()
        except InputError as error:
            opened, problem = None, str(error)
        if opened is not None:
            words |= {"running": not opened.session.over, "over": opened.session.over}
            words |= _words(opened)
            if board and not problem and not opened.session.over:
                problem = f"{UNDER_WAY}, then begin one on this board"
        unit = self.desk.unit(board or self.desk.opened)
        filled = self._fill(
            "practice_sheet.html.j2" if again else "practice_page.html.j2",
            request,
            unit,
            problem=problem,
            begin=begin or self._usual_begin(unit, opened, given=bool(board)),
            levels=LEVELS,
            most_seed=MOST_SEED,
            **words,
        )
        filled.status_code = 422 if problem and begin else 200
        return filled

    def _usual_begin(
        self, unit: Unit, opened: OpenExercise | None, *, given: bool
    ) -> Mapping[str, str]:
        """What stands in the fields of a new exercise: as in the one before."""
        board = unit.name if given or unit.file else ""
        if opened is None:
            return {**BEGIN, BOARD: board}
        level = str(opened.session.exercise.level)
        return {**BEGIN, BOARD: board, "level": level, "record": opened.record}

    def _fill(
        self, template: str, request: Request, unit: Unit | None = None, **words: Any
    ) -> Response:
        usual: dict[str, Any] = {
            "heading": "Practice",
            "cautions": CAUTIONS,
            "told": "",
            "again": True,
        }
        unit = unit or self.desk.unit(self.desk.opened)
        return self.desk.fill(template, request, unit, **(usual | words))


def _line_of(session: Session, message: PostedForm) -> str:
    """The line that chosen function and points make."""
    function, red, black, how = map(message.said, ("function", "red", "black", "how"))
    if how != ONE_END:
        return " ".join(filter(None, (function, red, black, how)))
    circuit = session.bench.circuit
    part = parts_over(circuit, circuit.node(red), circuit.node(black))
    if "," in part:
        one = part.split(", ")[-1]
        raise InputError(
            f'found {part} between these points; allowed: one of them, "{function} {one} lifted"'
        )
    if not part:
        points = f"{point_text(red, circuit)} and {point_text(black, circuit)}"
        raise invalid_value(points, "the two ends of one part, of which one is lifted")
    return f"{function} {part} {ONE_END}"


def _words(opened: OpenExercise) -> dict[str, Any]:
    """What the sheet shows of an exercise."""
    session, exercise = opened.session, opened.session.exercise
    circuit = session.bench.circuit
    title, hidden, complaint, _, caution = begin_lines(exercise)
    return {
        "of_board": exercise.board,
        "exercise": title,
        "complaint_words": f"{hidden} {complaint}",
        "caution": caution,
        "mark": opened.mark,
        **probe_words(circuit),
        "hows": _hows(session),
        "parts": session.parts,
        "diagram": _drawn(opened),
        **_answer_words(opened),
    }


def _answer_words(opened: OpenExercise) -> dict[str, Any]:
    """What a step changes of that, but for the picture."""
    session, bench = opened.session, opened.session.bench
    word, state, cautions = bench_state(bench)
    taken = [(reading_text(m.reading, bench.circuit), show_measured(m, 4)) for m in bench.measured]
    return {
        "answers": opened.answers,
        "live": bench.plugged,
        "word": word,
        "state": state,
        "short_cautions": cautions,
        "progress": progress_line(session),
        "taken": taken,
    }


@lru_cache(maxsize=8)
def _fit(board: Board) -> str:
    """How much room its drawing needs with readings all over: so none changes the layout."""
    circuit = build_circuit(board)
    at_nodes = dict.fromkeys(circuit.nodes, "AC 999 mV")
    return circuit_drawing(board, circuit, at_nodes=at_nodes).layouts[0][0]


def _drawn(opened: OpenExercise) -> CircuitDrawing:
    """The board as it was designed, with what was read, and where the probes are."""
    session, board = opened.session, opened.session.exercise.board
    circuit, measured = build_circuit(board), session.bench.measured
    probes = (measured[-1].reading.red, measured[-1].reading.black) if measured else None
    drawing = circuit_drawing(
        board,
        circuit,
        probes=probes,
        at_nodes=node_texts(measured, circuit),
        at_parts=part_texts(measured, circuit),
    )
    widest, *_, last = drawing.layouts
    return replace(drawing, layouts=((_fit(board), widest[1]), last))


def _hows(session: Session) -> list[tuple[str, str]]:
    """States of the board and the part in which a reading may be taken."""
    hows = [("", "the usual"), ("tapped", "board tapped"), (ONE_END, "one end lifted")]
    if session.exercise.board.is_isolated:
        hows.append((str(Power.BENCH), "on bench supply"))
    if "K1.contact" in session.bench.circuit:
        hows.append((str(Power.OFF), "relay off"))
    return hows
