"""The local page: board, readings and repair in the order of the work, and practice beside them.

The page works nothing out: it calls what the command line calls.
"""

from __future__ import annotations

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from zcd.errors import InputError
from zcd.web.board_page import BoardPage
from zcd.web.circuit_drawing import fold_rules
from zcd.web.guard import Guard, Secrets
from zcd.web.job_store import ChangedMeanwhileError
from zcd.web.practice_page import PracticePage
from zcd.web.readings_page import ReadingsPage
from zcd.web.repair_page import RepairPage
from zcd.web.state import HERE, PageState
from zcd.web.ways import Ways
from zcd.web.workers import WorkerPool

MIN_PACKED_BYTES, PACKING = 1000, 7
"""Size from which an answer is packed, and how hard: a millisecond for the largest."""


def make_app(port: int, state: PageState, secrets: Secrets) -> Guard:
    """The application behind the page.

    Parameters
    ----------
    port : int
        On which it will be served, of which its guard must know.
    state : PageState
        What lies on it.
    secrets : Secrets
        Of those who may see it.
    """
    jobs, workers = state.jobs, WorkerPool()
    sheets = (
        BoardPage(state, workers),
        ReadingsPage(state, jobs),
        RepairPage(state, jobs, workers),
        PracticePage(state),
        Ways(state),
    )
    folds = Route("/static/folds.css", lambda _: Response(fold_rules(), media_type="text/css"))

    def refused(_: Request, error: Exception) -> Response:
        changed = isinstance(error, ChangedMeanwhileError)
        return PlainTextResponse(state.gone() or str(error), 409 if changed else 422)

    static = Mount("/static", StaticFiles(directory=HERE / "static"))
    alive = Route("/alive", lambda _: Response(status_code=204))
    routes = [route for sheet in sheets for route in sheet.routes()]
    # a changed circuit, its waveforms and the verdict: 9 kB on the wire
    packed = Middleware(GZipMiddleware, minimum_size=MIN_PACKED_BYTES, compresslevel=PACKING)
    app = Starlette(
        routes=[*routes, alive, folds, static],
        middleware=[packed],
        exception_handlers={InputError: refused},
    )
    return Guard(app, port, secrets)
