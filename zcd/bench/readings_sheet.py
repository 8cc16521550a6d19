"""The readings sheet: what was measured, what explains it, what to measure next."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from zcd.bench.desk import Desk
from zcd.diagnosis.record import read_record, search
from zcd.errors import InputError
from zcd.show.cautions import DEAD, GENERAL, ISOLATED, LIVE
from zcd.show.checked.sheets import board_line
from zcd.show.found.job_list import record_sheet
from zcd.show.wording import plain

CAUTIONS = (*GENERAL, *DEAD, *ISOLATED, *LIVE)
FIND = "find"


class ReadingsSheet:
    """The second sheet.

    Parameters
    ----------
    desk : Desk
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def routes(self) -> list[Route]:
        """Its addresses."""
        return [Route("/readings", self.sheet)]

    def sheet(self, request: Request) -> Response:
        """The jobs of the folder."""
        looked = self.desk.look(request)
        board = looked.board
        words, problem, table = request.query_params.get(FIND, ""), "", None
        try:
            record = read_record(self.desk.folder)
            table = record_sheet(search(record, words), len(record))
        except InputError as error:
            problem = str(error)
        return self.desk.fill(
            "readings_sheet.html.j2",
            request,
            looked,
            name="" if board is None else plain(board.name),
            line="" if board is None else board_line(board),
            table=table,
            problem=problem,
            words=words,
            cautions=CAUTIONS,
        )
