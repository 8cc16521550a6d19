"""Addresses of the local page, nearly as it writes them itself, asked without a server."""

from __future__ import annotations

import asyncio
from collections.abc import Collection
from functools import cache
from html import escape
from typing import Any
from urllib.parse import urlencode

from hypothesis import strategies as st
from starlette.types import Message

from tests.fuzz.commands import bench
from tests.fuzz.hostile import PLAUSIBLE, TEXTS
from zcd.web.app import make_app
from zcd.web.board_fields import single_fields
from zcd.web.guard import Guard, Secrets, cookie_name
from zcd.web.state import ADD, AT, JOB, REMOVE, PageState

PORT = 8471
SECRETS = Secrets()
EARLIER = ("/", "/readings", "/repair")
"""Addresses of earlier versions, which say all that was typed."""
STEPS = ("board", "board", "board.toml", "readings", "repair")
PATHS = (*EARLIER, *(f"/job/bench/{step}" for step in STEPS), "/jobs", "/nothing")
ROWS = ("chain.resistors.1", "chain.resistors.2.ref", "chain.resistors.0", "chain.resistors.99",
        "chain.parallel.1.1", "chain.return_resistors.1", "chain.resistors.1.tolerance",
        "chain.resistors.-1", "chain.resistors.x", "chain", "mains", "", "__class__")  # fmt: skip
OTHERS = (AT, JOB, ADD, REMOVE, "judged", "find", "nonsense")
texts = st.one_of(
    st.sampled_from([str(each) for each in PLAUSIBLE]),
    st.sampled_from(TEXTS),
    st.sampled_from(("job", "closed", "board", "../board", "chain.resistors", "chain.parallel.1",
                     "3: 5 % 180 deg, 5: 2 %", "3:", ":::", "3: 5 %, 3: 5 %", "100k,,", ",", "50",
                     "-1", "1e400")),
    st.text(max_size=20),
)  # fmt: skip
addresses = st.tuples(
    st.sampled_from(PATHS),
    st.dictionaries(
        st.one_of(
            st.sampled_from(sorted(single_fields())),
            st.sampled_from(ROWS),
            st.sampled_from(OTHERS),
        ),
        texts,
        max_size=5,
    ),
)


@cache
def _app() -> Guard:
    return make_app(PORT, PageState(folder=bench()), SECRETS)


async def answer(
    app: Guard, path: str, query: bytes, kind: str = "", body: bytes | None = None
) -> tuple[int, bytes]:
    """Status and body of one answer, plain words as a browser shows them.

    A message with a body of some kind is posted.
    """
    own = f"127.0.0.1:{PORT}".encode()
    cookie = f"{cookie_name(PORT)}={SECRETS.cookie}".encode()
    headers = [(b"host", own), (b"cookie", cookie)]
    if body is not None:
        headers += [
            (b"origin", b"http://" + own),
            (b"content-type", kind.encode()),
            (b"content-length", str(len(body)).encode()),
        ]
    scope: dict[str, Any] = {
        "type": "http", "http_version": "1.1", "method": "GET" if body is None else "POST",
        "path": path, "root_path": "", "raw_path": path.encode(), "query_string": query,
        "scheme": "http", "headers": headers, "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", PORT),
    }  # fmt: skip
    told: list[Message] = []

    async def receive() -> Message:
        return {"type": "http.request", "body": body or b"", "more_body": False}

    async def send(message: Message) -> None:
        told.append(message)

    await app(scope, receive, send)
    named = dict(told[0]["headers"])
    # what is refused in plain words must not be taken for a page by a browser that guesses
    text = named.get(b"content-type", b"").startswith(b"text/plain")
    assert not text or named[b"x-content-type-options"] == b"nosniff"
    whole = b"".join(each.get("body", b"") for each in told[1:])
    return told[0]["status"], escape(whole.decode("utf-8")).encode() if text else whole


def ask(given: tuple[str, dict[str, str]]) -> int:
    """Type into a board and ask for an address; the answer must be a page, or say why it is none.

    An address of an earlier version becomes a draft, of which the page at that step is asked for.
    """
    path, typed = given
    for draft in bench().glob("*.draft"):
        draft.unlink()
    query = urlencode(typed, errors="surrogatepass").encode()
    if path.startswith("/job/"):
        kind = "application/x-www-form-urlencoded"
        status, body = asyncio.run(answer(_app(), "/job/bench/board", b"", kind, query))
        assert status in (200, 204, 413, 422), status
    status, body = asyncio.run(answer(_app(), path, query))
    if status == 303:
        assert path in EARLIER
        (draft,) = (*bench().glob("*.draft"), None)[:1]
        name = "bench" if draft is None else draft.stem
        step = path.strip("/") or "board"
        status, body = asyncio.run(answer(_app(), f"/job/{name}/{step}", b""))
    assert status in (200, 404, 414, 422), status
    if not path.endswith("board.toml"):
        require_plain_page(body, typed.values())
    return status


def require_plain_page(body: bytes, typed: Collection[str]) -> None:
    """Refuse a page in which hostile text is more than text, or a number is none; what was typed
    is shown again in its field, or said to be none."""
    text = body.decode("utf-8")
    if "nan" in typed:
        text = text.replace(">nan<", "><").replace(">nan: found ", ">")
    assert "<b>&amp;</b>" not in text, "hostile text is not shown as text"
    assert ">nan" not in text


def page_text(path: str) -> str:
    """The page at an address."""
    return asyncio.run(answer(_app(), path, b""))[1].decode("utf-8")
