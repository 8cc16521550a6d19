"""The door of the local page: only this machine's own browser, only small requests.

Another page open in the same browser could reach a server on this machine. So a request must name
this server as its host (which a page that re-points its own name cannot), must not come from
another site, and may only read.
"""

from __future__ import annotations

from collections.abc import Iterable

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOOPBACK = "127.0.0.1"
NAMES = (LOOPBACK, "localhost")
METHODS = ("GET", "HEAD")
LONGEST_QUERY = 8_000
OWN_SITES = ("same-origin", "none")
"""What a browser says of where a request comes from: this page, or a person's own typing."""
SAFE_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class Guard:
    """Refuses what does not come from this server's own page.

    Parameters
    ----------
    app : ASGIApp
        What is behind the door.
    port : int
        The server's.
    """

    def __init__(self, app: ASGIApp, port: int) -> None:
        self.app = app
        self.hosts = tuple(f"{name}:{port}" for name in NAMES)
        self.origins = tuple(f"http://{host}" for host in self.hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # no web sockets here
            return
        refused = self._refusal(scope)
        app = self.app if refused is None else refused

        async def safe_send(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in SAFE_HEADERS.items():
                    headers[name] = value
            await send(message)

        await app(scope, receive, safe_send)

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        """Why a request is refused; None: it is not."""
        headers = Headers(scope=scope)
        if headers.getlist("host") not in ([host] for host in self.hosts):
            return PlainTextResponse("this server answers only to its own name", 403)
        if not _all_in(headers.getlist("origin"), self.origins):
            return PlainTextResponse("this server answers only its own page", 403)
        if not _all_in(headers.getlist("sec-fetch-site"), OWN_SITES):
            return PlainTextResponse("this server answers only its own page", 403)
        if scope["method"] not in METHODS:
            return PlainTextResponse("this server only shows", 405, {"Allow": ", ".join(METHODS)})
        if len(scope["query_string"]) > LONGEST_QUERY:
            return PlainTextResponse("that is too long", 414)
        return None


def _all_in(found: Iterable[str], allowed: Iterable[str]) -> bool:
    return set(found) <= set(allowed)
