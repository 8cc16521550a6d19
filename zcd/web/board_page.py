"""The board sheet: a board's fields and, redrawn as one types, what they mean."""

from __future__ import annotations

import json
from functools import lru_cache, partial
from math import isfinite
from typing import Any

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.circuit.elements import Circuit
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import Meter, usual_meter
from zcd.diagnosis.node_readings import node_readings
from zcd.diagnosis.readings import Measured
from zcd.drawing.sketch import sketch_svg
from zcd.drawing.waveform_strip import (
    legend_text,
    pulse_text,
    strip_steps,
    waveform_strip,
    waveform_strip_title,
)
from zcd.engine.solve import solve
from zcd.errors import ZcdError, plain
from zcd.report.cautions import DEAD, GENERAL, ISOLATED, LIVE
from zcd.report.of_check import board_line
from zcd.report.of_diagnosis import node_texts
from zcd.report.text import quantity_text
from zcd.sync.lock import judge
from zcd.web import tasks
from zcd.web.board_fields import FIRST
from zcd.web.board_form import form_words, notes_of, part_fields
from zcd.web.circuit_drawing import CircuitDrawing, circuit_drawing
from zcd.web.circuits import circuits
from zcd.web.fragment_versions import version_of
from zcd.web.posted_form import posted
from zcd.web.resistor_rows import place_of_change
from zcd.web.state import ADD, AT, CHOSEN, REMOVE, PageState, Unit
from zcd.web.workers import WorkerPool

FloatArray = NDArray[np.float64]

NOMINAL, HIGHEST = 100.0, 130.0
"""Middle and upper end of the slider, in per cent of the nominal mains voltage."""
MIN_V = 1e-3
NO_VERDICT = {
    "busy": False, "problem": "", "verdict": "", "advice": "", "too_small": (), "findings": (),
    "mark_of_board": "", "circuits": (),
}  # fmt: skip
CAUTIONS = (*GENERAL, *DEAD, *ISOLATED, *LIVE)


class BoardPage:
    """The first sheet.

    Parameters
    ----------
    state : PageState
    workers : WorkerPool
    """

    def __init__(self, state: PageState, workers: WorkerPool) -> None:
        self.desk = state
        self.works = workers

    def routes(self) -> list[Route]:
        """Its addresses."""
        return [
            Route("/job/{name}/board", self.page),
            Route("/job/{name}/board", posted(self.edited), methods=["POST"]),
            Route("/job/{name}/verdict", self.verdict),
            Route("/job/{name}/steps", self.steps),
            Route("/job/{name}/board.toml", self.file),
        ]

    def page(self, request: Request) -> Response:
        """The whole sheet."""
        unit = self.desk.read_address(request)
        told = self._board(unit)
        if not (unit.job or unit.file or unit.edited or unit.errors or unit.beside.get(CHOSEN)):
            told |= {"circuits": circuits(), "busy": False}
        new = not (unit.file or told["circuits"] or unit.typed.get(FIRST[0], ""))
        focus = FIRST[0] if new else ""
        return self.desk.fill("board_page.html.j2", request, unit, again=False, focus=focus, **told)

    def edited(self, request: Request, said: dict[str, str]) -> Response:
        """Keep what was typed; to the page itself, only what that changes."""
        said |= request.query_params
        unit = self.desk.edit(request.path_params["name"], said)
        if not request.headers.get("hx-request"):
            return Response(status_code=204)
        focus = place_of_change(unit.typed, said.get(ADD, ""), said.get(REMOVE, ""))
        told = self._board(unit)
        return self.desk.fill("redrawn.html.j2", request, unit, again=True, focus=focus, **told)

    async def verdict(self, request: Request) -> Response:
        """Whether the board holds, with every rule."""
        unit = await run_in_threadpool(self.desk.read_address, request)
        words: dict[str, Any] = {**NO_VERDICT, "board": unit.board}
        if unit.board is not None:
            task = self.works.ask(tasks.check, unit.board)
            if not await self.works.over(task, request):
                return Response(status_code=204)
            words |= {"problem": task.problem, **(task.result or {})}
            words["mark_of_board"] = version_of(unit.board.contents)
            if task.result:
                self.desk.judged(unit.board, task.result["verdict"], passes=task.result["passes"])
        fill = partial(self.desk.fill, "judged.html.j2", request, unit, again=True, **words)
        return await run_in_threadpool(fill)

    def steps(self, request: Request) -> Response:
        """What stands on the sheet at every step of the slider, for the browser to draw."""
        board = self.desk.read_address(request).board
        if board is None:
            return Response(status_code=204)
        try:
            return Response(_steps(board, self.desk.settings.meter), media_type="application/json")
        except ZcdError:
            return Response(status_code=204)  # what is wrong stands on the sheet

    def file(self, request: Request) -> Response:
        """The board as a board file."""
        unit = self.desk.read_address(request)
        if unit.board is None:
            lines = "\n".join(f"{key or 'board'}: {text}" for key, text in unit.errors.items())
            return Response(lines, 422, media_type="text/plain")
        headers = {"Content-Disposition": 'attachment; filename="board.toml"'}
        text = self.desk.board_file_text(unit)
        return Response(text, media_type="application/toml", headers=headers)

    def _board(self, unit: Unit) -> dict[str, Any]:
        """All that the sheet shows."""
        board = unit.board
        percent = _percent(unit.beside.get(AT, ""))
        told: dict[str, Any] = {
            "percent": percent, "highest": HIGHEST,
            "cautions": CAUTIONS, "board": None, "notes": {}, **NO_VERDICT,
            **form_words(unit.typed, unit.errors),
        }  # fmt: skip
        if board is None:
            return told
        volts = board.mains.rms_v * percent / 100.0
        try:
            strip = _waveform_strip(board, volts)
            drawing = _diagram(board, volts, self.desk.settings.meter)
        except ZcdError as error:
            return {**told, "errors": {"": str(error)}}
        return {
            **told,
            "board": board,
            "notes": notes_of(board, unit.typed),
            "homes": part_fields(board, unit.typed),
            "busy": True,
            "mark_of_board": version_of(board.contents),
            "name": plain(board.name),
            "line": board_line(board),
            "diagram": drawing,
            "legend": legend_text(board),
            **strip,
        }


def _percent(text: str) -> float:
    """Where the slider stands; the nominal mains where it does not say."""
    try:
        percent = float(text)
    except ValueError:
        return NOMINAL
    return min(max(percent, 0.0), HIGHEST) if isfinite(percent) else NOMINAL


def _circuit_at(board: Board, volts: FloatArray) -> Circuit:
    """The circuit at several mains voltages, a row each."""
    return build_circuit(board, Conditions(mains_rms_v=np.maximum(volts, MIN_V)))


@lru_cache(maxsize=64)
def _diagram(board: Board, volts: float, meter: Meter | None = None) -> CircuitDrawing:
    """The circuit diagram with what a meter shows at each point of a good board."""
    circuit = build_circuit(board)
    (texts,) = _node_texts(board, np.array([volts]), meter)
    return circuit_drawing(board, circuit, at_nodes=texts)


def _node_texts(board: Board, volts: FloatArray, meter: Meter | None) -> list[dict[str, str]]:
    """What a meter shows at each point of a good board, at several mains voltages."""
    circuit = _circuit_at(board, volts)
    readings = node_readings(circuit)
    model = MeterModel(board=board, circuit=circuit, meter=meter or usual_meter())
    return [
        node_texts(
            [Measured(reading=r, value=float(v)) for r, v in zip(readings, row, strict=True)],
            circuit,
        )
        for row in model.read(readings)
    ]


@lru_cache(maxsize=8)
def _steps(board: Board, meter: Meter | None) -> bytes:
    """The lanes, their line and the volts of the diagram at every step, as JSON."""
    volts = np.arange(HIGHEST + 1.0) / 100.0 * board.mains.rms_v
    solution = solve(_circuit_at(board, volts))
    lock = judge(solution, board)
    texts = _node_texts(board, volts, meter)
    told = {
        **strip_steps(board, solution, lock),
        "told": [
            lock_line(volts[row], waveform_strip_title(board, solution, lock, row))
            for row in range(volts.size)
        ],
        "nodes": {node: [row[node] for row in texts] for node in texts[0]},
    }
    return json.dumps(told, separators=(",", ":")).encode()


def lock_line(volts: float, title: str) -> str:
    """What the board does at a mains voltage, in one line."""
    return f"At {quantity_text(float(volts), 'V')}: {title}"


@lru_cache(maxsize=512)
def _waveform_strip(board: Board, volts: float) -> dict[str, str]:
    """One mains period at a mains voltage: in lines of words, and drawn."""
    # the second row keeps the scales where they are while the slider moves
    solution = solve(_circuit_at(board, np.array([volts, HIGHEST / 100.0 * board.mains.rms_v])))
    lock = judge(solution, board)
    svg = sketch_svg(waveform_strip(board, solution, lock))
    return {
        "title": lock_line(volts, waveform_strip_title(board, solution, lock)),
        "pulse": pulse_text(lock),
        "lanes": Markup(svg.replace("<svg ", '<svg preserveAspectRatio="none" ', 1)),
    }
