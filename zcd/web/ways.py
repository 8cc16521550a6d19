"""Ways from sheet to sheet that take something along, and those of earlier addresses."""

from __future__ import annotations

from urllib.parse import parse_qsl

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from zcd.web.board_form import typed_over
from zcd.web.posted_form import posted
from zcd.web.state import FIT, JOB, STEPS, WINDOW, PageState

GO, TO = "go", "to"
"""Names of a button's own texts, as a query, and of the step that it leads to."""


class Ways:
    """Where other addresses lead.

    Parameters
    ----------
    state : PageState
    """

    def __init__(self, state: PageState) -> None:
        self.desk = state

    def routes(self) -> list[Route]:
        """Its addresses."""
        return [
            *(Route(f"/{step}", self.earlier) for step in ("", *list(STEPS)[1:])),
            Route("/new", self.new),
            Route("/job/{name}/set", posted(self.set), methods=["POST"]),
            Route("/job/{name}/afresh", posted(self.afresh), methods=["POST"]),
        ]

    def earlier(self, request: Request) -> Response:
        """The board that was opened; or what an address of an earlier version says, as a draft."""
        said = {key: text for key, text in request.query_params.items() if key != WINDOW}
        step = request.url.path.strip("/") or next(iter(STEPS))
        name = said.pop(JOB, "") or self.desk.opened
        if said and not self.desk.drafts.read(name).texts:
            self.desk.edit(name, said)
        elif said and name == self.desk.opened:
            name = self.desk.keep_as_new(said | typed_over(self.desk.base, said))
        return _to(self.desk.unit(name).place, step)

    def new(self, _: Request) -> Response:
        """Another board."""
        return _to(self.desk.unit(self.desk.free_name()).place, "board")

    def set(self, request: Request, said: dict[str, str]) -> Response:
        """Keep what a form and its button say, and go on to a step."""
        said |= parse_qsl(said.pop(GO, ""), keep_blank_values=True)
        unit = self.desk.edit(request.path_params["name"], said)
        to = request.query_params.get(TO, "")
        return _to(unit.place, to if to in STEPS else next(iter(STEPS)))

    def afresh(self, request: Request, said: dict[str, str]) -> Response:
        """A job's edited board as a board of its own; the job's is as in its file again."""
        unit = self.desk.read_address(request)
        name = self.desk.keep_as_new(unit.typed)
        self.desk.edit(unit.name, {FIT: "", WINDOW: said.get(WINDOW, "")})
        return _to(self.desk.unit(name).place, "readings")


def _to(place: str, step: str) -> Response:
    return RedirectResponse(f"{place}/{step}", 303)
