"""The door: only this machine's own page gets in, and only it changes anything."""

from __future__ import annotations

import asyncio
import http.client
import socket
from urllib.parse import quote

import pytest
from starlette.responses import PlainTextResponse
from starlette.types import Message

from tests.web.conftest import Server
from zcd.web.guard import LARGEST_BODY_BYTES, LONGEST_QUERY, NOT_OPENED, Guard, Secrets
from zcd.web.posted_form import LONGEST_SAID, MAX_FIELDS


def ask(
    server: Server,
    path: str = "/static/bench.css",
    method: str = "GET",
    body: bytes = b"",
    **headers: str,
) -> tuple[int, http.client.HTTPMessage]:
    """Status and headers of an answer; a header `Host` replaces the right one."""
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=30)
    connection.putrequest(method, path, skip_host=True)
    given = {"Host": f"127.0.0.1:{server.port}", "Cookie": server.cookie, **headers}
    if body:
        given["Content-Length"] = str(len(body))
    for name, value in given.items():
        connection.putheader(name.replace("_", "-"), value)
    connection.endheaders(body or None)
    response = connection.getresponse()
    response.read()
    connection.close()
    return response.status, response.headers


def test_its_own_page_gets_in(server: Server) -> None:
    own = f"http://127.0.0.1:{server.port}"
    assert ask(server)[0] == 200
    assert ask(server, Host=f"localhost:{server.port}")[0] == 200
    assert ask(server, Origin=own, Sec_Fetch_Site="same-origin")[0] == 200
    assert ask(server, Sec_Fetch_Site="none")[0] == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "rebound.example"},
        {"Host": "127.0.0.1"},
        {"Host": "127.0.0.1:1"},
        {"Host": "127.0.0.1.rebound.example"},
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},
    ],
)
def test_others_do_not(server: Server, headers: dict[str, str]) -> None:
    for path in ("/static/bench.css", "/", "/job/bench/board", "/job/bench/verdict", "/nothing"):
        assert ask(server, path, **headers)[0] == 403


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "PATCH"])
def test_only_what_the_page_does_can_be_asked(server: Server, method: str) -> None:
    assert ask(server, "/", method)[0] == 405


def test_a_change_must_say_that_it_comes_from_the_page(server: Server) -> None:
    """RFC 6454, section 7: the Origin of a request; a form of another page has another, or null."""
    own = f"http://127.0.0.1:{server.port}"
    for path in ("answer", "begin", "undo", "meter", "set", "afresh"):
        place = f"/job/bench/{path}"
        assert ask(server, place, "POST", Content_Length="0")[0] == 403
        assert ask(server, place, "POST", Content_Length="0", Origin="null")[0] == 403
        assert ask(server, place, "GET", Origin=own)[0] == 405
    board = "/job/bench/board"
    assert ask(server, board, "POST", Content_Length="0")[0] == 403
    assert ask(server, board, "POST", Content_Length="0", Origin="null")[0] == 403
    assert ask(server, "/", "POST", Origin=own, Content_Length="0")[0] == 405
    assert ask(server, "/job/bench/begin", "POST", Origin=own, Content_Length="0")[0] == 422


def test_what_is_malformed_is_refused(server: Server) -> None:
    own = f"http://127.0.0.1:{server.port}"
    kind = "application/x-www-form-urlencoded"
    for body, status in (
        (b"name=" + b"x" * (LONGEST_SAID + 1), 400),
        (b"&".join(b"k%d=1" % k for k in range(MAX_FIELDS + 1)), 400),
        (b"name=..%2Fescaped", 422),
        (b"name=%00", 422),
    ):
        got = ask(server, "/job/bench/begin", "POST", body, Origin=own, Content_Type=kind)
        assert got[0] == status
    for job in ("../x", "C:x", ".hidden", "no-such-job"):
        path = f"/job/{quote(job, safe='')}/answer"
        # a path that leaves the folder is none of the page's
        got = ask(server, path, "POST", b"say=1", Origin=own, Content_Type=kind)[0]
        assert got == (404 if "/" in job else 422)
    cut = b'--x\r\nContent-Disposition: form-data; name="file"; filename="c.csv"\r\n\r\n1,2'
    broken = ask(server, "/job/bench/begin", "POST", cut, Origin=own,
                 Content_Type="multipart/form-data")  # fmt: skip
    assert broken[0] == 400


def test_sizes_are_limited(server: Server) -> None:
    assert ask(server, "/?name=" + "x" * LONGEST_QUERY)[0] == 414
    own = f"http://127.0.0.1:{server.port}"
    for length in (str(LARGEST_BODY_BYTES + 1), "-1", "many", ""):
        got = ask(server, "/job/bench/answer", "POST", Origin=own, Content_Length=length)
        assert got[0] in (400, 413)  # the server's own parser refuses what is no number


def test_files_outside_its_folder_are_not_there(server: Server) -> None:
    for path in ("/static/../app.py", "/static/%2e%2e/app.py", "/static//etc/passwd"):
        assert ask(server, path)[0] == 404


def test_nothing_may_be_loaded_or_framed(server: Server) -> None:
    """Content Security Policy Level 3: what is not named is refused."""
    _, headers = ask(server)
    policy = headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert headers["X-Content-Type-Options"] == "nosniff"


def test_it_listens_on_this_machine_alone(server: Server) -> None:
    """No address of this machine but the loopback one answers."""
    name = socket.gethostname()
    others = {info[4][0] for info in socket.getaddrinfo(name, None, socket.AF_INET)}
    for address in others - {"127.0.0.1"}:
        with pytest.raises(OSError, match=r"refused|unreachable|timed out"):
            socket.create_connection((str(address), server.port), timeout=2.0)
    assert server.address.startswith("http://127.0.0.1:")


@pytest.mark.parametrize(
    "cookie", ["", "zcd=1", "zcd-{port}=", "zcd-{port}=wrong", "zcd-1={value}"]
)
def test_who_does_not_know_the_secret_gets_nothing(server: Server, cookie: str) -> None:
    """Neither the page nor its static files, nor a change; one line says what to do."""
    value = server.cookie.partition("=")[2]
    said = cookie.format(port=server.port, value=value)
    own = f"http://127.0.0.1:{server.port}"
    for path in ("/", "/jobs", "/job/bench/board", "/readings", "/repair", "/alive",
                 "/static/bench.css", "/nothing", "/open/", "/open/wrong"):  # fmt: skip
        status, headers = ask(server, path, Cookie=said)
        assert status == 403, path
        assert "Set-Cookie" not in headers
    post = {"Origin": own, "Content_Length": "0", "Cookie": said}
    assert ask(server, "/job/bench/begin", "POST", **post)[0] == 403
    with (
        socket.create_connection(("127.0.0.1", server.port), timeout=30) as line,
        line.makefile("rb") as answer,
    ):
        line.sendall(f"GET / HTTP/1.0\r\nHost: 127.0.0.1:{server.port}\r\n\r\n".encode())
        assert answer.read().endswith(f"\r\n\r\n{NOT_OPENED}".encode())


def test_scripts_and_other_sites_do_not_get_the_cookie() -> None:
    """RFC 6265bis, sections 4.1.2.6 and 4.1.2.7: HttpOnly, SameSite=Strict."""
    secrets = Secrets()
    guard = Guard(PlainTextResponse("inside"), 8471, secrets)
    told: list[Message] = []

    async def send(message: Message) -> None:
        told.append(message)

    async def receive() -> Message:
        return {"type": "http.request"}

    scope = {"type": "http", "method": "GET", "path": f"/open/{secrets.address}",
             "query_string": b"", "headers": [(b"host", b"127.0.0.1:8471")]}  # fmt: skip
    asyncio.run(guard(scope, receive, send))
    kept = dict(told[0]["headers"])[b"set-cookie"].decode()
    assert kept.startswith(f"zcd-8471={secrets.cookie};")
    assert {"HttpOnly", "SameSite=strict", "Path=/"} <= set(kept.split("; "))


def test_the_address_a_browser_is_started_with_opens_once() -> None:
    """Others may read the command line of a browser."""
    secrets = Secrets()
    once, printed = secrets.once, secrets.address
    assert len({once, printed, secrets.cookie}) == 3
    assert secrets.opens(f"/open/{once}")
    assert not secrets.opens(f"/open/{once}")
    assert not secrets.opens("/open/")
    assert secrets.opens(f"/open/{printed}")
    assert secrets.opens(f"/open/{printed}")
