"""The board sheet: a board's fields and, redrawn as one types, what they mean."""

from __future__ import annotations

from functools import lru_cache
from math import isfinite
from typing import Any

import numpy as np
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.diagnosis.meters import Meter, usual_meter
from zcd.diagnosis.node_readings import expected_at_nodes
from zcd.drawing.sketch import sketch_svg
from zcd.drawing.waveform_strip import waveform_strip, waveform_strip_title
from zcd.engine.solve import solve
from zcd.errors import ZcdError
from zcd.report.cautions import DEAD, GENERAL, ISOLATED, LIVE
from zcd.report.of_check import board_line
from zcd.report.of_diagnosis import node_texts
from zcd.report.text import plain, quantity_text
from zcd.sync.lock import judge
from zcd.web import tasks
from zcd.web.board_form import form_words, notes_of, part_fields
from zcd.web.circuit_drawing import CircuitDrawing, circuit_drawing
from zcd.web.circuits import circuits
from zcd.web.fragment_versions import version_of
from zcd.web.resistor_rows import place_of_change
from zcd.web.state import ADD, AT, REMOVE, BoardRequest, PageState
from zcd.web.workers import WorkerPool

NOMINAL, HIGHEST = 100.0, 130.0
"""Middle and upper end of the slider, in per cent of the nominal mains voltage."""
MIN_V = 1e-3
NO_VERDICT = {"busy": False, "problem": "", "verdict": "", "findings": (), "judged": ""}
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
            Route("/", self.page),
            Route("/verdict", self.verdict),
            Route("/board.toml", self.file),
        ]

    def page(self, request: Request) -> Response:
        """The whole sheet; only what changes where the page itself asks."""
        board_request = self.desk.read_address(request)
        again = bool(request.headers.get("hx-request"))
        told = self._board(board_request, request.query_params.get(AT, ""))
        template = "redrawn.html.j2" if again else "board_page.html.j2"
        asked = request.query_params
        focus = place_of_change(board_request.typed, asked.get(ADD, ""), asked.get(REMOVE, ""))
        if not (again or asked or self.desk.board_file):
            told["circuits"] = circuits()
        filled = self.desk.fill(template, request, board_request, again=again, focus=focus, **told)
        filled.headers["HX-Replace-Url"] = f"{request.url.path}?{board_request.carried}".rstrip("?")
        return filled

    def verdict(self, request: Request) -> Response:
        """Whether the board holds, with every rule; or that it is still being worked out."""
        board_request = self.desk.read_address(request)
        words: dict[str, Any] = {**NO_VERDICT, "board": board_request.board}
        if board_request.board is not None:
            task = self.works.ask(tasks.check, board_request.board)
            words |= {"busy": not task.done, "problem": task.problem, **(task.result or {})}
            words["judged"] = version_of(repr(board_request.board))
            if task.result:
                self.desk.judged(board_request.board, passes=task.result["passes"])
        return self.desk.fill("judged.html.j2", request, board_request, again=True, **words)

    def file(self, request: Request) -> Response:
        """The board as a board file."""
        board_request = self.desk.read_address(request)
        if board_request.board is None:
            lines = "\n".join(
                f"{key or 'board'}: {text}" for key, text in board_request.errors.items()
            )
            return Response(lines, 422, media_type="text/plain")
        text = self.desk.board_file_text(board_request)
        headers = {"Content-Disposition": 'attachment; filename="board.toml"'}
        return Response(text, media_type="application/toml", headers=headers)

    def _board(self, board_request: BoardRequest, at: str) -> dict[str, Any]:
        """All that the sheet shows."""
        board = board_request.board
        percent = _percent(at)
        told: dict[str, Any] = {
            "percent": percent, "highest": HIGHEST,
            "cautions": CAUTIONS, "board": None, "notes": {}, **NO_VERDICT,
            "circuits": (),
            **form_words(board_request.typed, board_request.errors),
        }  # fmt: skip
        if board is None:
            return told
        volts = board.mains.rms_v * percent / 100.0
        try:
            title, lanes = _waveform_strip(board, volts)
            drawing = _diagram(board, self.desk.settings.meter)
        except ZcdError as error:
            return {**told, "errors": {"": str(error)}}
        return {
            **told,
            "board": board,
            "notes": notes_of(board, board_request.typed),
            "homes": part_fields(board, board_request.typed),
            "busy": True,
            "judged": version_of(repr(board)),
            "name": plain(board.name),
            "line": board_line(board),
            "diagram": drawing,
            "lanes": Markup(lanes),
            "title": title,
            "volts": quantity_text(volts, "V"),
        }


def _percent(text: str) -> float:
    """Where the slider stands; the nominal mains where it does not say."""
    try:
        percent = float(text)
    except ValueError:
        return NOMINAL
    return min(max(percent, 0.0), HIGHEST) if isfinite(percent) else NOMINAL


@lru_cache(maxsize=64)
def _diagram(board: Board, meter: Meter | None = None) -> CircuitDrawing:
    """The circuit diagram with what a meter shows at each point of a good board."""
    circuit = build_circuit(board)
    expected = expected_at_nodes(board, circuit, meter or usual_meter())
    return circuit_drawing(board, circuit, at_nodes=node_texts(expected, circuit))


@lru_cache(maxsize=512)
def _waveform_strip(board: Board, volts: float) -> tuple[str, str]:
    """One mains period at a mains voltage: in a line of words, and drawn."""
    # the second row keeps the scales where they are while the slider moves
    highest = HIGHEST / 100.0 * board.mains.rms_v
    both = np.array([max(volts, MIN_V), highest])
    solution = solve(build_circuit(board, Conditions(mains_rms_v=both)))
    lock = judge(solution, board)
    return waveform_strip_title(board, solution, lock), sketch_svg(
        waveform_strip(board, solution, lock)
    )
