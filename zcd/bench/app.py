"""The local page: three sheets in the order of the work, the board, the readings, the repair.

The page works nothing out: it calls what the command line calls.
"""

from __future__ import annotations

from starlette.applications import Starlette
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from zcd.bench.board_sheet import BoardSheet
from zcd.bench.desk import HERE, Desk
from zcd.bench.guard import Guard
from zcd.bench.kept_jobs import KeptJobs
from zcd.bench.readings_sheet import ReadingsSheet
from zcd.bench.repair_sheet import RepairSheet
from zcd.bench.works import Works


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
