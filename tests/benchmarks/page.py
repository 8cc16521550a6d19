"""Jobs of the page: what an edit and a step of the slider cost its server."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count

from starlette.requests import Request

from zcd.bench.board_sheet import BoardSheet
from zcd.bench.desk import Desk


def page_jobs() -> dict[str, Callable[[], object]]:
    """Jobs by name; each answers something that was not asked before."""
    board, fresh = BoardSheet(Desk()), count()

    def ask(query: str) -> bytes:
        scope = {
            "type": "http",
            "method": "GET",
            "path": "/",
            "query_string": query.encode(),
            "headers": [(b"hx-request", b"true")],
        }
        return bytes(board.sheet(Request(scope)).body)

    return {
        "page: an edit of the board": lambda: ask(f"output.pull_up={10_000 + next(fresh)}"),
        "page: a step of the slider": lambda: ask(f"at={50.0 + 0.01 * next(fresh)}"),
        "page: nothing new": lambda: ask(""),
    }
