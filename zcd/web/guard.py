"""The door of the local page: only this machine's own browser, only small requests.

Another page open in the same browser could reach a server on this machine. So a request must name
this server as its host (which a page that re-points its own name cannot) and must not come from
another site; one that changes something must say that it comes from this page. Other programs and
other people of this machine know none of the secrets: the address that opens the page has one, and
leaves another in a cookie that no script can read.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from secrets import compare_digest, token_urlsafe

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOOPBACK = "127.0.0.1"
NAMES = (LOOPBACK, "localhost")
POST = "POST"
METHODS = ("GET", "HEAD", POST)
NOT_ITS_NAME = "this server answers only to its own name"
NOT_ITS_PAGE = "this server answers only its own page"
TOO_LONG = "that is too long"
NOT_OPENED = "this page opens with the address that zcd bench printed: open that one"
OPENING = "/open/"
OPENED = """<!doctype html><html lang="en"><title>zcd</title>
<meta http-equiv="refresh" content="0;url=/"><p><a href="/">The page</a></p></html>
"""
"""A page that goes on by itself: after a redirect from elsewhere a browser would keep the cookie
back."""
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


def _secret() -> str:
    return token_urlsafe(32)


@dataclass(slots=True)
class Secrets:
    """What only those know who may see the page.

    Parameters
    ----------
    address : str
        In the address that is printed.
    once : str
        In the address that a browser is started with; good for one time, as other people of this
        machine may see with what a program was started.
    cookie : str
        What a browser keeps.
    """

    address: str = field(default_factory=_secret, repr=False)
    once: str = field(default_factory=_secret, repr=False)
    cookie: str = field(default_factory=_secret, repr=False)

    def opens(self, path: str) -> bool:
        """Whether a path is that of an address which opens the page."""
        said = path.removeprefix(OPENING)
        if self.once and _same(said, self.once):
            self.once = ""
            return True
        return _same(said, self.address)


def cookie_name(port: int) -> str:
    """Of the cookie: browsers keep one for all ports of a machine."""
    return f"zcd-{port}"


def _same(said: str, secret: str) -> bool:
    return compare_digest(said.encode("utf-8", "replace"), secret.encode())


class Guard:
    """Refuses what does not come from this server's own page.

    Parameters
    ----------
    app : ASGIApp
        What is behind the door.
    port : int
        The server's.
    secrets : Secrets
    """

    def __init__(self, app: ASGIApp, port: int, secrets: Secrets) -> None:
        self.app = app
        self.secrets = secrets
        self.cookie = cookie_name(port)
        self.hosts = tuple(f"{name}:{port}" for name in NAMES)
        self.origins = tuple(f"http://{host}" for host in self.hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # no web sockets here
            return
        answer = self._refusal(scope) or self._opening(scope)
        app = self.app if answer is None else answer

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

    def _opening(self, scope: Scope) -> Response | None:
        """What is answered to those who do not show the cookie, and to those who get it."""
        known = self._shows_cookie(Headers(scope=scope))
        if not scope["path"].startswith(OPENING):
            return None if known else PlainTextResponse(NOT_OPENED, 403)
        if not (self.secrets.opens(scope["path"]) or known):
            return PlainTextResponse(NOT_OPENED, 403)
        result = HTMLResponse(OPENED)
        result.set_cookie(self.cookie, self.secrets.cookie, httponly=True, samesite="strict")
        return result

    def _shows_cookie(self, headers: Headers) -> bool:
        cookies = cookie_parser("; ".join(headers.getlist("cookie")))
        return _same(cookies.get(self.cookie, ""), self.secrets.cookie)


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
