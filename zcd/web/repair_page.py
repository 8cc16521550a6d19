"""The repair sheet: what was done, whether it reads and holds as a good board, the end of it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import Any
from urllib.parse import urlencode

from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from zcd.board.preferred import SERIES
from zcd.circuit.build import build_circuit
from zcd.margin.quantities import quantities
from zcd.report.cautions import DEAD, FITTING, GENERAL, ISOLATED, LIVE
from zcd.report.of_changes import changes
from zcd.report.of_check import board_line
from zcd.report.of_diagnosis import compared_sheet
from zcd.report.of_retest_record import retested_line
from zcd.report.text import plain
from zcd.simulation.causes import causes_of
from zcd.substitutes.search import DRIVE
from zcd.web import tasks
from zcd.web.board_form import differing
from zcd.web.job_end import PATIENCE_S, Ending
from zcd.web.job_store import KeptJobs
from zcd.web.repair_request import CHOSEN, OLD, PARTS, Asked, asked_of, drawers, sent
from zcd.web.replaced_parts import fitted
from zcd.web.state import RECORD, Desk
from zcd.web.workers import Work, Works

CAUTIONS = (*GENERAL, *DEAD, *FITTING, *ISOLATED, *LIVE)
KINDS = {".html": "text/html; charset=utf-8", ".pdf": "application/pdf"}
Words = dict[str, Any]

NO_BOARD = "there is no board yet"


class RepairSheet:
    """The third sheet.

    Parameters
    ----------
    desk : Desk
    jobs : KeptJobs
    works : Works
    """

    def __init__(self, desk: Desk, jobs: KeptJobs, works: Works) -> None:
        self.desk = desk
        self.works = works
        self.ending = Ending(works, jobs)

    def routes(self) -> list[Route]:
        """Its addresses."""
        pieces: dict[str, Callable[[Asked], Words]] = {
            "drawer": self._drawer,
            "again": self._again,
            "hold": self._hold,
            "years": self._years,
            "map": self._map,
            "story": self._story,
            "end": self._end,
            "report": self._report,
        }
        return [
            Route("/repair", self.sheet),
            *(Route(f"/repair/{name}", self._piece(name, do)) for name, do in pieces.items()),
            *(Route(f"/repair/report{kind}", self._download(kind)) for kind in KINDS),
            Route("/repair/keep", self._posted("again", self._keep), methods=["POST"]),
            Route("/repair/close", self._posted("end", self._close), methods=["POST"]),
        ]

    def sheet(self, request: Request) -> Response:
        """The whole sheet; what takes long comes piece by piece."""
        asked = asked_of(self.desk, request.query_params)
        board, before = asked.board, asked.before
        words: Words = {"changes": (), "refs": [], "quantities": [], "causes": []}
        if board is not None:
            words = {
                "changes": () if before is None else changes(before, board),
                "refs": _pairs(asked.refs),
                "quantities": [(q.key, q.words) for q in quantities(board).values()],
                "causes": _pairs(c.key for c in causes_of(before or board) if c.key != "healthy"),
            }
        return self._fill("repair_sheet.html.j2", request, asked, **words)

    def _piece(self, name: str, do: Callable[[Asked], Words]) -> Callable[[Request], Response]:
        """One piece of the sheet, ready or still being worked out."""

        def endpoint(request: Request) -> Response:
            asked = asked_of(self.desk, request.query_params)
            words: Words = {"problem": NO_BOARD}
            if asked.board is not None:
                words = do(asked)
            chosen = bool(request.query_params.get(CHOSEN))
            filled = self._fill(f"repair_{name}.html.j2", request, asked, again=chosen, **words)
            if chosen:
                filled.headers["HX-Replace-Url"] = f"/repair?{asked.query}"
            return filled

        return endpoint

    def _posted(self, name: str, do: Callable[[Asked], str]) -> Callable[[Request], Any]:
        """A change that is asked for by a button; the piece is told again."""

        def act(request: Request, texts: dict[str, str]) -> Response:
            asked = asked_of(self.desk, texts)
            words: Words = {"problem": NO_BOARD}
            if asked.board is not None:
                told = do(asked)
                asked = asked_of(self.desk, texts)
                words = self._again(asked) if name == "again" else self._end(asked, PATIENCE_S)
                words["told"] = told
            return self._fill(
                f"repair_{name}.html.j2", request, asked, again=True, written=True, **words
            )

        async def endpoint(request: Request) -> Response:
            return await run_in_threadpool(act, request, await sent(request))

        return endpoint

    def _drawer(self, asked: Asked) -> Words:
        """What may stand in place of a part, each choice a way to the board with it."""
        if not asked.part:
            return {"nothing": True}
        if asked.drawer_problem:
            return {"problem": asked.drawer_problem}
        assert asked.before is not None
        # the part that failed is replaced on the board as it came in
        board = asked.before
        style = asked.style or board.chains[0][0].style
        work = self.works.ask(tasks.from_drawer, board, asked.drawer_place, style, (asked.part,))
        words = _ready(work)
        if "choices" in words:
            words["choices"] = [
                (choice.words, choice.margin, self._with(asked, choice.board))
                for choice in words["choices"]
            ]
        return words

    def _with(self, asked: Asked, board: Any) -> str:
        """The query of this sheet with other parts on the board."""
        assert asked.before is not None
        texts = fitted(asked.looked.base, asked.before, board)
        # the same parts again are the board as it came in, whatever was fitted before
        old = {} if asked.repaired is None else {PARTS: OLD}
        return urlencode({**differing(asked.looked.base, texts), **old, **asked.state})

    def _again(self, asked: Asked) -> Words:
        """The readings after the repair, beside those of a good board."""
        assert asked.board is not None
        job = asked.job
        words: Words = {"told": "", "errors": asked.errors, "expected": None, "retests": ()}
        if job is not None:
            words["retests"] = tuple(map(retested_line, job.retests))
            if job.measured and not asked.measured:
                circuit = build_circuit(asked.board)
                words["expected"] = compared_sheet(job.measured, asked.board, circuit, asked.meter)
        if not asked.measured:
            return {**words, "nothing": True}
        return {**words, **_ready(self.ending.retest(asked))}

    def _hold(self, asked: Asked) -> Words:
        """The verdict, with every rule."""
        return _ready(self.works.ask(tasks.held, asked.board))

    def _years(self, asked: Asked) -> Words:
        """The years, once asked for."""
        return _ready(self.works.ask(tasks.years_ahead, asked.board))

    def _map(self, asked: Asked) -> Words:
        """Where sync is lost."""
        assert asked.board is not None
        known = quantities(asked.board)
        across, up = asked.across, asked.up
        if across not in known or up not in known or across == up:
            return {"problem": "two different quantities make a map"}
        return _ready(self.works.ask(tasks.where_lost, asked.board, across, up))

    def _story(self, asked: Asked) -> Words:
        """Why the flags came: of the cause chosen, else of the one that the readings name."""
        key, severity, words = asked.cause, None, {}
        if not key and asked.job is not None and asked.job.measured:
            work = self.ending.named(asked)
            words = _ready(work)
            if "key" not in words:
                return words
            key, severity = words["key"], words["severity"]
        if not key or asked.before is None:
            return {"nothing": True}
        told = _ready(self.works.ask(tasks.told, asked.before, key, severity))
        return {**told, "named": words.get("conclusion", ""), "part": words.get("part", "")}

    def _end(self, asked: Asked, patience_s: float = 0.2) -> Words:
        """What it was, for the record."""
        if asked.job is None:
            return {"nothing": True}
        words: Words = {"told": "", "faults": asked.faults, "key": ""}
        if asked.job.measured and asked.job.closed is None:
            words = {**words, **_ready(self.ending.named(asked, patience_s))}
        return words

    def _report(self, asked: Asked) -> Words:
        """Whether the report is ready to be taken."""
        kind = asked.kind
        if kind not in KINDS:
            return {"nothing": True}
        return {**_ready(self.ending.report(asked)), "kind": kind, "query": asked.query}

    def _download(self, kind: str) -> Callable[[Request], Response]:
        """The report as a file."""

        def endpoint(request: Request) -> Response:
            asked = asked_of(self.desk, {**request.query_params, "kind": kind})
            if asked.board is None:
                return Response(NO_BOARD, 422, media_type="text/plain")
            work = self.ending.report(asked, patience_s=120.0)
            if not work.done or work.problem:
                return Response(work.problem or "too slow", 500, media_type="text/plain")
            name = f"{asked.looked.job or 'board'}-report{kind}"
            headers = {"Content-Disposition": f'attachment; filename="{_ascii(name)}"'}
            return Response(work.found, media_type=KINDS[kind], headers=headers)

        return endpoint

    def _keep(self, asked: Asked) -> str:
        return self.ending.keep(asked)

    def _close(self, asked: Asked) -> str:
        return self.ending.close(asked)

    def _fill(self, template: str, request: Request, asked: Asked, **words: Any) -> Response:
        board = asked.board
        ground: Words = {
            "asked": asked,
            "name": "" if board is None else plain(board.name),
            "line": "" if board is None else board_line(board),
            "cautions": CAUTIONS,
            "drawers": _pairs((*drawers(self.desk.folder), *SERIES)),
            "drive": DRIVE,
            "problem": "",
            "busy": False,
            "nothing": False,
            "told": "",
            "retests": (),
            "again": False,
            "written": False,
            "record": RECORD,
            "as_it_came": urlencode({**asked.state, PARTS: OLD}),
            "as_kept": urlencode({k: t for k, t in asked.state.items() if k != PARTS}),
            "old": (PARTS, OLD),
        }
        return self.desk.fill(template, request, asked.looked, **{**ground, **words})


def _pairs(values: Iterable[str]) -> list[tuple[str, str]]:
    """Values of a list as they are and as they are shown."""
    return [(value, value) for value in values]


def _ready(work: Work) -> Words:
    """What a template needs of a piece of work: its words, or why there are none yet."""
    if not work.done:
        return {"busy": True}
    if work.problem:
        return {"problem": work.problem}
    words = dict(work.found) if isinstance(work.found, dict) else {}
    for key in ("picture", "pictures"):
        if key in words:
            drawn = words[key]
            one = isinstance(drawn, str)
            words[key] = _drawn(drawn) if one else [_drawn(each) for each in drawn]
    return words


def _drawn(svg: str) -> Markup:
    """A drawing of our own for the page, which allows no style within it: attributes instead."""
    svg = re.sub(r"<style.*?</style>", "", svg[svg.index("<svg") :], flags=re.DOTALL)
    svg = svg.replace("<svg ", '<svg class="picture" stroke-linejoin="round" ', 1)
    return Markup(re.sub(r' style="([^"]*)"', _attributes, svg))


def _attributes(style: re.Match[str]) -> str:
    """What stood in a style, as attributes of the same names."""
    pairs = (part.partition(":") for part in style[1].split(";") if part.strip())
    return "".join(f' {name.strip()}="{value.strip()}"' for name, _, value in pairs)


def _ascii(name: str) -> str:
    """A file name for a header."""
    return "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "-" for c in name)
