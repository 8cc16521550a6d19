"""The local page: three sheets in the order of the work, the board, the readings, the repair.

The page works nothing out: it calls what the command line calls.
"""

from __future__ import annotations

from starlette.applications import Starlette
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from zcd.web.board_page import BoardSheet
from zcd.web.guard import Guard
from zcd.web.job_store import KeptJobs
from zcd.web.readings_page import ReadingsSheet
from zcd.web.repair_page import RepairSheet
from zcd.web.state import HERE, Desk
from zcd.web.workers import Works


def make_app(port: int, desk: Desk) -> Guard:
    """The application behind the page.

    Parameters
    ----------
    port : int
        On which it will be served, of which its guard must know.
    desk : Desk
        What lies on it.
    """
    jobs, works = KeptJobs(desk.folder, desk.settings), Works()
    sheets = (BoardSheet(desk, works), ReadingsSheet(desk, jobs), RepairSheet(desk, jobs, works))
    static = Mount("/static", StaticFiles(directory=HERE / "static"))
    alive = Route("/alive", lambda _: Response(status_code=204))
    routes = [route for sheet in sheets for route in sheet.routes()]
    return Guard(Starlette(routes=[*routes, alive, static]), port)
