"""The repair sheet: what was done, whether it reads and holds as a good board, the end of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import suppress
from typing import Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from zcd.board.preferred import SERIES
from zcd.drawing.canvas import NARROW_IN, WIDTH_IN
from zcd.errors import InputError, plain
from zcd.margin.quantities import quantities
from zcd.report.cautions import DEAD, FITTING, GENERAL, ISOLATED, LIVE
from zcd.report.of_changes import changes, part_texts
from zcd.report.of_check import board_line
from zcd.report.of_retest_record import closed_text, not_ready_line, retest_record_line
from zcd.simulation.causes import causes_of
from zcd.substitutes.search import DRIVE
from zcd.web import tasks
from zcd.web.board_form import differing
from zcd.web.job_end import PATIENCE_S, JobEnd
from zcd.web.job_store import JobStore
from zcd.web.pictures import page_picture
from zcd.web.posted_form import posted, sent
from zcd.web.repair_request import (
    LONGEST_TEXT,
    NARROW,
    OLD,
    PARTS,
    RepairRequest,
    drawers,
    repair_request_of,
)
from zcd.web.repeated_readings import to_add, to_repeat
from zcd.web.replaced_parts import fitted
from zcd.web.state import FIT, PageState
from zcd.web.workers import Task, WorkerPool

CAUTIONS = (*GENERAL, *DEAD, *FITTING, *ISOLATED, *LIVE)
KINDS = {".html": "text/html; charset=utf-8", ".pdf": "application/pdf"}
TemplateContext = dict[str, Any]

PIECES = "repair_pieces.html.j2"
NO_BOARD = "there is no board yet"


class RepairPage:
    """The third sheet.

    Parameters
    ----------
    state : PageState
    jobs : JobStore
    workers : WorkerPool
    """

    def __init__(self, state: PageState, jobs: JobStore, workers: WorkerPool) -> None:
        self.desk = state
        self.works = workers
        self.ending = JobEnd(workers, jobs)

    def routes(self) -> list[Route]:
        """Its addresses."""
        pieces: dict[str, Callable[[RepairRequest], TemplateContext]] = {
            "drawer": self._drawer,
            "again": self._again,
            "hold": self._hold,
            "years": self._years,
            "map": self._map,
            "story": self._story,
            "end": self._end,
            "report": self._report,
        }
        place = "/job/{name}/repair"
        return [
            Route(place, self.page),
            *(
                Route(f"{place}/{name}", self._piece(name, do), methods=["GET", "POST"])
                for name, do in pieces.items()
            ),
            *(Route(f"{place}/report{kind}", self._download(kind)) for kind in KINDS),
            Route(f"{place}/keep", self._posted("again", self.ending.keep), methods=["POST"]),
            Route(f"{place}/close", self._posted("end", self._close), methods=["POST"]),
        ]

    def page(self, request: Request) -> Response:
        """The whole sheet; what takes long comes piece by piece."""
        repair_request = repair_request_of(self.desk, self.desk.read_address(request))
        board, before = repair_request.board, repair_request.before
        words: TemplateContext = {
            "changes": (), "refs": [], "quantities": [], "causes": [], "to_repeat": (), "step": 1,
        }  # fmt: skip
        if board is not None:
            words = {
                "changes": () if before is None else changes(before, board),
                "to_repeat": to_repeat(repair_request),
                "replaced": repair_request.texts["replaced"] or _replaced(repair_request),
                "step": _open_step(repair_request),
                "refs": _pairs(repair_request.refs),
                "quantities": [(q.key, q.words) for q in quantities(board).values()],
                "causes": _pairs(c.key for c in causes_of(before or board) if c.key != "healthy"),
            }
        return self._fill("repair_page.html.j2", request, repair_request, **words)

    def _piece(
        self, name: str, do: Callable[[RepairRequest], TemplateContext]
    ) -> Callable[[Request], Any]:
        """One piece of the sheet, when it is ready; a form is kept first."""

        def piece(request: Request) -> Response | Task:
            unit = self.desk.read_address(request)
            said = {
                "kind": request.query_params.get("kind", ""),
                NARROW: request.headers.get(NARROW, ""),
            }
            repair_request = repair_request_of(self.desk, unit, said)
            words: TemplateContext = {"problem": NO_BOARD}
            if repair_request.board is not None:
                words = do(repair_request)
            task: Task | None = words.get("waits_for")
            return task or self._fill(
                PIECES,
                request,
                repair_request,
                piece_name=name,
                again=request.method == "POST",
                **words,
            )

        async def endpoint(request: Request) -> Response:
            if request.method == "POST":
                name, said = request.path_params["name"], await sent(request)
                await run_in_threadpool(self.desk.edit, name, said)
            while isinstance(result := await run_in_threadpool(piece, request), Task):
                if not await self.works.over(result, request):
                    return Response(status_code=204)
            return result

        return endpoint

    def _posted(self, name: str, do: Callable[[RepairRequest], str]) -> Callable[[Request], Any]:
        """A change that is asked for by a button; the piece is told again."""

        def act(request: Request, texts: dict[str, str]) -> Response:
            unit = self.desk.read_address(request)
            repair_request = repair_request_of(self.desk, unit, texts)
            words: TemplateContext = {"problem": NO_BOARD}
            if repair_request.board is not None:
                told = do(repair_request)
                repair_request = repair_request_of(self.desk, unit, texts)
                words = (
                    self._again(repair_request, PATIENCE_S)
                    if name == "again"
                    else self._end(repair_request, PATIENCE_S)
                )
                words["told"] = told
            words |= {"piece_name": name, "again": True, "written": True}
            return self._fill(PIECES, request, repair_request, **words)

        return posted(act)

    def _drawer(self, repair_request: RepairRequest) -> TemplateContext:
        """What to fit in place of a part, each choice a way to the board with it."""
        if not repair_request.part:
            return self._unchosen(repair_request)
        if repair_request.drawer_problem:
            return {"problem": repair_request.drawer_problem}
        assert repair_request.before is not None
        # the part that failed is replaced on the board as it came in
        board = repair_request.before
        drawer, style = repair_request.drawer_place, board.chains[0][0].style
        words = _ready(
            self.works.ask(tasks.substitute, board, drawer, style, (repair_request.part,))
        )
        if "choices" in words:
            words["choices"] = [
                (line, self._with(repair_request, board)) for line, board in words["choices"]
            ]
        printed = part_texts(board).get(repair_request.part, "")
        same = f"{repair_request.part} {printed}".strip()
        printed_again = {"replaced": same.replace(",", ""), PARTS: OLD, FIT: ""}
        return {**words, "same": same, "as_printed": urlencode(printed_again)}

    def _unchosen(self, repair_request: RepairRequest) -> TemplateContext:
        """The part that the readings name, where nobody has chosen one yet."""
        job = repair_request.job
        if job is None or not job.measured or job.closed is not None:
            return {"nothing": True}
        named = _ready(self.ending.named(repair_request))
        if "part" not in named or named["part"] not in repair_request.refs:
            return {"nothing": True, **{k: v for k, v in named.items() if k == "waits_for"}}
        return {"named": named["conclusion"], "named_part": named["part"]}

    def _with(self, repair_request: RepairRequest, board: Any) -> str:
        """What a button says that puts other parts on the board."""
        assert repair_request.before is not None
        base = repair_request.unit.base
        told = differing(base, fitted(base, repair_request.before, board))
        # the same parts again are the board as it came in, whatever was fitted before
        old = {} if repair_request.repaired is None else {PARTS: OLD}
        return urlencode({FIT: urlencode(told), **old})

    def _again(self, repair_request: RepairRequest, patience_s: float = 0.0) -> TemplateContext:
        """The readings after the repair, beside those of a good board."""
        assert repair_request.board is not None
        job = repair_request.job
        words: TemplateContext = {
            "told": "",
            "errors": repair_request.errors,
            "retests": () if job is None else tuple(map(retest_record_line, job.retests)),
        }
        if not repair_request.measured:
            return {**words, "nothing": True}
        words |= _ready(self.ending.retest(repair_request, patience_s))
        if "kept" in words:
            words["to_repeat"] = to_repeat(repair_request)
            words["to_add"] = to_add(repair_request, words["missing"])
            words["results"] = {each.reading: each for each in words["kept"].readings}
        return words

    def _hold(self, repair_request: RepairRequest) -> TemplateContext:
        """The verdict, with every rule; on a repaired board, what the repair changed."""
        board, before = repair_request.board, repair_request.before
        was = () if before is None or before == board else (before,)
        return _ready(self.works.ask(tasks.check, board, *was))

    def _years(self, repair_request: RepairRequest) -> TemplateContext:
        """The years, once asked for."""
        return _ready(self.works.ask(tasks.outlook, repair_request.board, repair_request.narrow))

    def _map(self, repair_request: RepairRequest) -> TemplateContext:
        """Where sync is lost."""
        assert repair_request.board is not None
        known = quantities(repair_request.board)
        across, up = repair_request.texts["across"], repair_request.up
        if across not in known or up not in known or across == up:
            return {"problem": "two different quantities make a map"}
        width_in = NARROW_IN if repair_request.narrow else WIDTH_IN
        return _ready(self.works.ask(tasks.loss_map, repair_request.board, across, up, width_in))

    def _story(self, repair_request: RepairRequest) -> TemplateContext:
        """Why the flags came: of the cause chosen, else of the one that the readings name."""
        key, severity, words = repair_request.texts["cause"], None, {}
        if not key and repair_request.job is not None and repair_request.job.measured:
            task = self.ending.named(repair_request)
            words = _ready(task)
            if "key" not in words:
                return words
            key, severity = words["key"], words["severity"]
        if not key or repair_request.before is None:
            return {"nothing": True}
        before, narrow = repair_request.before, repair_request.narrow
        told = _ready(self.works.ask(tasks.story, before, key, severity, narrow))
        return {**told, "named": words.get("conclusion", "")}

    def _end(self, repair_request: RepairRequest, patience_s: float = 0.0) -> TemplateContext:
        """What it was, for the record."""
        if repair_request.job is None:
            return {"nothing": True}
        job = repair_request.job
        words: TemplateContext = {
            "told": "",
            "closed": "" if job.closed is None else closed_text(job.closed, job.retests),
            "faults": repair_request.faults,
            "key": "",
            "failed": not_ready_line(repair_request.job.retests),
            "done": repair_request.texts["repair"] or _done(repair_request),
        }
        if repair_request.job.measured and repair_request.job.closed is None:
            words = {**words, **_ready(self.ending.named(repair_request, patience_s))}
        return words

    def _report(self, repair_request: RepairRequest) -> TemplateContext:
        """Whether the report is ready to be taken."""
        kind = repair_request.kind
        if kind not in KINDS:
            return {"nothing": True}
        return {
            **_ready(self.ending.report(repair_request)),
            "kind": kind,
        }

    def _download(self, kind: str) -> Callable[[Request], Response]:
        """The report as a file."""

        def endpoint(request: Request) -> Response:
            unit = self.desk.read_address(request)
            repair_request = repair_request_of(self.desk, unit, {"kind": kind})
            if repair_request.board is None:
                return Response(NO_BOARD, 422, media_type="text/plain")
            task = self.ending.report(repair_request, patience_s=120.0)
            if not task.done or task.problem:
                return Response(task.problem or "too slow", 500, media_type="text/plain")
            name = f"{repair_request.unit.job or 'board'}-report{kind}"
            headers = {"Content-Disposition": f'attachment; filename="{_ascii(name)}"'}
            return Response(task.result, media_type=KINDS[kind], headers=headers)

        return endpoint

    def _close(self, repair_request: RepairRequest) -> str:
        told, drafts = self.ending.close(repair_request), self.desk.drafts
        if not told and (repair_request.on_repaired or not repair_request.told):
            with suppress(InputError):  # all that it says is in files by now
                drafts.remove(repair_request.unit.name, drafts.read(repair_request.unit.name))
        return told

    def _fill(
        self, template: str, request: Request, repair_request: RepairRequest, **words: Any
    ) -> Response:
        board = repair_request.board
        ground: TemplateContext = {
            "asked": repair_request,
            "name": "" if board is None else plain(board.name),
            "line": "" if board is None else board_line(board),
            "cautions": CAUTIONS,
            "drawers": _pairs((*drawers(self.desk.folder), *SERIES)),
            "drive": DRIVE,
            "problem": "",
            "nothing": False,
            "told": "",
            "retests": (),
            "to_repeat": (),
            "to_add": (),
            "results": {},
            "again": False,
            "written": False,
            "as_it_came": urlencode({FIT: "", PARTS: OLD}),
            "as_kept": urlencode({FIT: "", PARTS: ""}),
        }
        words = {**ground, **words}
        return self.desk.fill(template, request, repair_request.unit, board, **words)


def _replaced(repair_request: RepairRequest) -> str:
    """What was replaced, as far as the parts say it."""
    before, board = repair_request.before, repair_request.board
    lines = () if before is None or board is None else changes(before, board)
    return ", ".join(line.replace(",", "") for line in lines)


def _done(repair_request: RepairRequest) -> str:
    """What was done: as the last retest says, else as the parts do."""
    job = repair_request.job
    kept = job.retests[-1].replaced if job is not None and job.retests else ()
    said = ", ".join(kept) or repair_request.texts["replaced"] or _replaced(repair_request)
    return f"replaced: {said}"[:LONGEST_TEXT] if said else ""


def _open_step(repair_request: RepairRequest) -> int:
    """The step of the repair at which the work is."""
    job = repair_request.job
    if job is not None and (job.closed is not None or job.retests):
        return 4
    fitted_now = bool(_replaced(repair_request) or repair_request.texts["replaced"])
    return 3 if fitted_now or repair_request.measured else 1


def _pairs(values: Iterable[str]) -> list[tuple[str, str]]:
    """Values of a list as they are and as they are shown."""
    return [(value, value) for value in values]


def _ready(task: Task) -> TemplateContext:
    """What a template needs of a piece of work: its words, or why there are none; or the work."""
    if not task.done:
        return {"waits_for": task}
    if task.problem:
        return {"problem": task.problem}
    words = dict(task.result) if isinstance(task.result, dict) else {}
    for key in ("picture", "pictures"):
        if key in words:
            drawn = words[key]
            one = isinstance(drawn, str)
            words[key] = page_picture(drawn) if one else [page_picture(each) for each in drawn]
    return words


def _ascii(name: str) -> str:
    """A file name for a header."""
    return "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "-" for c in name)
