"""The repair sheet: whether the repaired board will do."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from zcd.bench.desk import Desk
from zcd.show.cautions import DEAD, FITTING, GENERAL
from zcd.show.checked.sheets import board_line
from zcd.show.wording import plain

CAUTIONS = (*GENERAL, *DEAD, *FITTING)


class RepairSheet:
    """The third sheet.

    Parameters
    ----------
    desk : Desk
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def routes(self) -> list[Route]:
        """Its addresses."""
        return [Route("/repair", self.sheet)]

    def sheet(self, request: Request) -> Response:
        """The whole sheet."""
        looked = self.desk.look(request)
        board = looked.board
        return self.desk.fill(
            "repair_sheet.html.j2",
            request,
            looked,
            name="" if board is None else plain(board.name),
            line="" if board is None else board_line(board),
            cautions=CAUTIONS,
        )
