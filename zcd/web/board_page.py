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
from zcd.drawing.schematic import schematic
from zcd.drawing.sketch import sketch_svg
from zcd.drawing.waveform_strip import lanes_sketch, lanes_title
from zcd.engine.solve import solve
from zcd.errors import ZcdError
from zcd.report.cautions import DEAD, GENERAL, ISOLATED, LIVE
from zcd.report.of_check import board_line
from zcd.report.of_diagnosis import node_texts
from zcd.report.text import plain, quantity_text
from zcd.sync.lock import judge
from zcd.web import tasks
from zcd.web.board_form import form_words
from zcd.web.fragment_versions import mark_of
from zcd.web.resistor_rows import place_of_change
from zcd.web.state import ADD, AT, REMOVE, Desk, Looked
from zcd.web.workers import Works

NOMINAL, HIGHEST = 100.0, 130.0
"""Middle and upper end of the slider, in per cent of the nominal mains voltage."""
LEAST_V = 1e-3
NO_VERDICT = {"busy": False, "problem": "", "verdict": "", "failed": (), "judged": ""}
CAUTIONS = (*GENERAL, *DEAD, *ISOLATED, *LIVE)


class BoardSheet:
    """The first sheet.

    Parameters
    ----------
    desk : Desk
    works : Works
    """

    def __init__(self, desk: Desk, works: Works) -> None:
        self.desk = desk
        self.works = works

    def routes(self) -> list[Route]:
        """Its addresses."""
        return [
            Route("/", self.sheet),
            Route("/verdict", self.verdict),
            Route("/board.toml", self.file),
        ]

    def sheet(self, request: Request) -> Response:
        """The whole sheet; only what changes where the page itself asks."""
        looked = self.desk.look(request)
        again = bool(request.headers.get("hx-request"))
        told = self._board(looked, request.query_params.get(AT, ""))
        template = "redrawn.html.j2" if again else "board_sheet.html.j2"
        asked = request.query_params
        focus = place_of_change(looked.typed, asked.get(ADD, ""), asked.get(REMOVE, ""))
        filled = self.desk.fill(template, request, looked, again=again, focus=focus, **told)
        filled.headers["HX-Replace-Url"] = f"{request.url.path}?{looked.carried}".rstrip("?")
        return filled

    def verdict(self, request: Request) -> Response:
        """Whether the board holds, with every rule; or that it is still being worked out."""
        looked = self.desk.look(request)
        words: dict[str, Any] = {**NO_VERDICT, "board": looked.board}
        if looked.board is not None:
            work = self.works.ask(tasks.held, looked.board)
            words |= {"busy": not work.done, "problem": work.problem, **(work.found or {})}
            words["judged"] = mark_of(repr(looked.board))
        return self.desk.fill("judged.html.j2", request, looked, again=True, **words)

    def file(self, request: Request) -> Response:
        """The board as a board file."""
        looked = self.desk.look(request)
        if looked.board is None:
            lines = "\n".join(f"{key or 'board'}: {text}" for key, text in looked.errors.items())
            return Response(lines, 422, media_type="text/plain")
        text = self.desk.board_file_text(looked)
        headers = {"Content-Disposition": 'attachment; filename="board.toml"'}
        return Response(text, media_type="application/toml", headers=headers)

    def _board(self, looked: Looked, at: str) -> dict[str, Any]:
        """All that the sheet shows."""
        board = looked.board
        percent = _percent(at)
        told: dict[str, Any] = {
            "percent": percent, "highest": HIGHEST,
            "cautions": CAUTIONS, "board": None, **NO_VERDICT,
            **form_words(looked.typed, looked.errors),
        }  # fmt: skip
        if board is None:
            return told
        volts = board.mains.rms_v * percent / 100.0
        try:
            title, lanes = _lanes(board, volts)
            drawing = _diagram(board, self.desk.settings.meter)
        except ZcdError as error:
            return {**told, "errors": {"": str(error)}}
        return {
            **told,
            "board": board,
            "busy": True,
            "judged": mark_of(repr(board)),
            "name": plain(board.name),
            "line": board_line(board),
            "diagram": Markup(drawing),
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
def _diagram(board: Board, meter: Meter | None = None) -> str:
    """The circuit diagram with what a meter shows at each point of a good board."""
    circuit = build_circuit(board)
    expected = expected_at_nodes(board, circuit, meter or usual_meter())
    return sketch_svg(schematic(board, circuit, at_nodes=node_texts(expected, circuit)))


@lru_cache(maxsize=512)
def _lanes(board: Board, volts: float) -> tuple[str, str]:
    """One mains period at a mains voltage: in a line of words, and drawn."""
    # the second row keeps the scales where they are while the slider moves
    highest = HIGHEST / 100.0 * board.mains.rms_v
    both = np.array([max(volts, LEAST_V), highest])
    solution = solve(build_circuit(board, Conditions(mains_rms_v=both)))
    lock = judge(solution, board)
    return lanes_title(board, solution, lock), sketch_svg(lanes_sketch(board, solution, lock))
