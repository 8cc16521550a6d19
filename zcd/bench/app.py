"""The local page: a board's fields on one side, what they mean on the other, redrawn as one types.

The page works nothing out: it calls what the command line calls. It keeps nothing either; what was
typed stands in its address, so that a reload, or a server started anew, shows the same.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from functools import lru_cache
from hashlib import sha256
from math import isfinite
from pathlib import Path
from typing import Any

import numpy as np
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from zcd.bench.fields import START, all_fields, groups, long_form, merged, read, shown
from zcd.bench.guard import Guard
from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.points import expected_at_nodes
from zcd.engine.solve import solve
from zcd.errors import ZcdError
from zcd.margin.check import check
from zcd.margin.spread import with_spread
from zcd.show.cautions import DEAD, GENERAL, ISOLATED, LIVE
from zcd.show.checked.sheets import (
    FAILS,
    assumptions_sheet,
    board_line,
    failed_lines,
    headroom_sheet,
    levels_sheet,
    resistors_sheet,
    rules_sheet,
)
from zcd.show.checked.spread_sheets import spread_sheets
from zcd.show.draw.lanes import lanes_sketch, lanes_title
from zcd.show.draw.schematic import schematic
from zcd.show.draw.sketch import sketch_svg
from zcd.show.found.findings import node_texts
from zcd.show.wording import SourceNotes, plain, quantity_text, verdict_text, version_text
from zcd.sync.lock import judge

HERE = Path(__file__).parent
NOMINAL, HIGHEST = 100.0, 130.0
"""Middle and upper end of the slider, in per cent of the nominal mains voltage."""
LEAST_V = 1e-3
AT = "at"
JUDGED = "judged"
"""Names of what is asked beside the fields: where the slider stands, and which board was judged."""
CAUTIONS = (*GENERAL, *DEAD, *ISOLATED, *LIVE)


class Page:
    """The page of one board file, or of none yet.

    Parameters
    ----------
    found : mapping
        Keys of the board file that was opened.
    """

    def __init__(self, found: Mapping[str, Any] | None = None) -> None:
        self.base = long_form(START if found is None else found)
        self._words = Environment(
            loader=FileSystemLoader(HERE / "templates"), autoescape=True, undefined=StrictUndefined
        )
        self._one_at_a_time = threading.Lock()

    def start(self, request: Request) -> Response:
        """The whole page; only what changes where the page itself asks."""
        again = bool(request.headers.get("hx-request"))
        told = self._board(self._typed(request), request.query_params.get(AT, ""))
        judged = request.query_params.get(JUDGED, "")
        stale = bool(judged) and judged != _mark(told["board"])
        template = "redrawn.html.j2" if again else "page.html.j2"
        return self._fill(template, again=again, stale=stale, **told)

    def verdict(self, request: Request) -> Response:
        """Whether the board holds, with every rule."""
        board, errors = read(self.base, self._typed(request))
        if board is None:
            return self._fill("verdict.html.j2", verdict=None, errors=errors)
        with self._one_at_a_time:
            try:
                found = with_spread(check(board))
            except ZcdError as error:
                return self._fill("verdict.html.j2", verdict=None, errors={"": str(error)})
        notes = SourceNotes()
        sheets = (
            rules_sheet(found, notes),
            levels_sheet(found),
            resistors_sheet(found),
            headroom_sheet(found),
            *spread_sheets(found, notes),
            assumptions_sheet(board, notes),
        )
        return self._fill(
            "verdict.html.j2",
            line=board_line(board),
            judged=_mark(board),
            verdict=verdict_text(found),
            passes=found.passes,
            failed=failed_lines(found),
            sheets=sheets,
            notes=notes,
            errors={},
            fails=FAILS,
        )

    def file(self, request: Request) -> Response:
        """The board as a board file."""
        import tomlkit

        typed = self._typed(request)
        board, errors = read(self.base, typed)
        if board is None:
            lines = "\n".join(f"{key or 'board'}: {text}" for key, text in errors.items())
            return Response(lines, 422, media_type="text/plain")
        text = tomlkit.dumps(merged(self.base, typed))
        headers = {"Content-Disposition": 'attachment; filename="board.toml"'}
        return Response(text, media_type="application/toml", headers=headers)

    def _typed(self, request: Request) -> dict[str, str]:
        """What stands in the fields: as typed, else as in the file."""
        typed = {k: v for k, v in request.query_params.items() if k in all_fields()}
        from_file = {k: shown(self.base, f) or "" for k, f in all_fields().items()}
        return {**from_file, **typed}

    def _board(self, typed: Mapping[str, str], at: str) -> dict[str, Any]:
        """All that the board sheet shows."""
        board, errors = read(self.base, typed)
        locked = [k for k, f in all_fields().items() if shown(self.base, f) is None]
        percent = _percent(at)
        told: dict[str, Any] = {
            "percent": percent, "highest": HIGHEST,
            "typed": typed, "errors": errors, "locked": locked, "groups": groups(),
            "version": version_text(), "cautions": CAUTIONS, "board": None,
        }  # fmt: skip
        if board is None:
            return told
        volts = board.mains.rms_v * percent / 100.0
        try:
            title, lanes = _lanes(board, volts)
            drawing = _diagram(board)
        except ZcdError as error:
            return {**told, "errors": {"": str(error)}}
        return {
            **told,
            "board": board,
            "name": plain(board.name),
            "line": board_line(board),
            "diagram": Markup(drawing),
            "lanes": Markup(lanes),
            "title": title,
            "volts": quantity_text(volts, "V"),
        }

    def _fill(self, template: str, **words: Any) -> HTMLResponse:
        return HTMLResponse(self._words.get_template(template).render(**words))


def _mark(board: Board | None) -> str:
    """A short text that differs from board to board."""
    return sha256(repr(board).encode("utf-8")).hexdigest()[:16]


def _percent(text: str) -> float:
    """Where the slider stands; the nominal mains where it does not say."""
    try:
        percent = float(text)
    except ValueError:
        return NOMINAL
    return min(max(percent, 0.0), HIGHEST) if isfinite(percent) else NOMINAL


@lru_cache(maxsize=64)
def _diagram(board: Board) -> str:
    """The circuit diagram with what a meter shows at each point of a good board."""
    circuit = build_circuit(board)
    expected = expected_at_nodes(board, circuit, usual_meter())
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


def make_app(port: int, found: Mapping[str, Any] | None = None) -> Guard:
    """The application behind the page.

    Parameters
    ----------
    port : int
        On which it will be served, of which its guard must know.
    found : mapping, optional
        Keys of the board file to open.
    """
    page = Page(found)
    routes = [
        Route("/", page.start),
        Route("/verdict", page.verdict),
        Route("/board.toml", page.file),
        Mount("/static", StaticFiles(directory=HERE / "static")),
    ]
    return Guard(Starlette(routes=routes), port)
