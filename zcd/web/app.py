"""The local page: three sheets in the order of the work, the board, the readings, the repair.

The page works nothing out: it calls what the command line calls.
"""

from __future__ import annotations

from starlette.applications import Starlette
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from zcd.web.board_page import BoardPage
from zcd.web.guard import Guard, Secrets
from zcd.web.readings_page import ReadingsPage
from zcd.web.repair_page import RepairPage
from zcd.web.state import HERE, PageState
from zcd.web.workers import WorkerPool


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
    )
    static = Mount("/static", StaticFiles(directory=HERE / "static"))
    alive = Route("/alive", lambda _: Response(status_code=204))
    routes = [route for sheet in sheets for route in sheet.routes()]
    return Guard(Starlette(routes=[*routes, alive, static]), port, secrets)
