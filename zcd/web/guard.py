"""The door of the local page: only this machine's own browser, only small requests.

Another page open in the same browser could reach a server on this machine. So a request must name
this server as its host (which a page that re-points its own name cannot) and must not come from
another site; one that changes something must say that it comes from this page.
"""

from __future__ import annotations

from collections.abc import Iterable

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOOPBACK = "127.0.0.1"
NAMES = (LOOPBACK, "localhost")
POST = "POST"
METHODS = ("GET", "HEAD", POST)
NOT_ITS_NAME = "this server answers only to its own name"
NOT_ITS_PAGE = "this server answers only its own page"
TOO_LONG = "that is too long"
LARGEST_BODY_BYTES = 20_000_000
"""Of a capture; what else is posted is far smaller."""
LONGEST_QUERY = 8_000
OWN_SITES = ("same-origin", "none")
"""What a browser says of where a request comes from: this page, or a person's own typing."""
SAFE_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
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

        await app(scope, _limited(receive), safe_send)

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        """Why a request is refused; None: it is not."""
        headers, method = Headers(scope=scope), scope["method"]
        length = headers.get("content-length", "")
        fits = length.isdecimal() and len(length) < 20 and int(length) <= LARGEST_BODY_BYTES
        rules = (
            (headers.getlist("host") in ([host] for host in self.hosts), 403, NOT_ITS_NAME),
            (_all_in(headers.getlist("origin"), self.origins), 403, NOT_ITS_PAGE),
            (_all_in(headers.getlist("sec-fetch-site"), OWN_SITES), 403, NOT_ITS_PAGE),
            (method in METHODS, 405, f"allowed: {', '.join(METHODS)}"),
            (method != POST or bool(headers.getlist("origin")), 403, NOT_ITS_PAGE),
            (len(scope["query_string"]) <= LONGEST_QUERY, 414, TOO_LONG),
            (method != POST or fits, 413, TOO_LONG),
        )
        broken = next((rule for rule in rules if not rule[0]), None)
        return None if broken is None else PlainTextResponse(broken[2], broken[1])


def _limited(receive: Receive) -> Receive:
    """The same, but not for ever: a body ends where it may be no longer."""
    taken = 0

    async def limited() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        return message if taken <= LARGEST_BODY_BYTES else {"type": "http.disconnect"}

    return limited


def _all_in(value: Iterable[str], allowed: Iterable[str]) -> bool:
    return set(value) <= set(allowed)
