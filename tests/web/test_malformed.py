"""What no browser sends: broken, cut, foreign and endless messages, on a bare connection."""

from __future__ import annotations

import socket
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from logging import ERROR, LogRecord
from pathlib import Path
from time import monotonic, sleep

import pytest
from h11 import LocalProtocolError

from tests.web.conftest import SERVE, Server
from tests.web.test_page import FILE, HOSTILE
from zcd.web.server import LONGEST_MESSAGE_S, MOST_WAITING, _is_news

FORM = "application/x-www-form-urlencoded"
PARTS = "multipart/form-data; boundary=x"
ANSWER, CAPTURE = "/job/a/answer", "/job/a/capture"


@pytest.fixture(scope="module")
def bench() -> Iterator[Server]:
    """A server with one job, whose file nothing here may change; what it says goes to a file."""
    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryFile("w+") as said:
        (Path(folder) / "board.toml").write_text(FILE, encoding="utf-8")
        (Path(folder) / "a.toml").write_text(f'board = "board.toml"\nnote = {HOSTILE!r}\n')
        (Path(folder) / '<b>"&.toml').write_text("nonsense")
        before = {p: p.read_bytes() for p in Path(folder).iterdir()}
        running = Server(Path(folder), said=said)
        running.start()
        yield running
        running.kill()
        assert {p: p.read_bytes() for p in Path(folder).iterdir()} == before
        said.seek(0)
        assert "Traceback" not in said.read()


def send(bench: Server, data: bytes, *, leave: bool = False) -> bytes:
    """All that comes back for some bytes; the line may be cut by the other side."""
    result = b""
    with socket.create_connection(("127.0.0.1", bench.port), timeout=60) as line:
        try:
            line.sendall(data)
            if leave:
                line.shutdown(socket.SHUT_WR)
            while more := line.recv(65536):
                result += more
        except OSError:  # reset, or closed already
            pass
    return result


def message(bench: Server, start: str, body: bytes = b"", *more: str) -> bytes:
    own = f"127.0.0.1:{bench.port}"
    lines = [f"{start} HTTP/1.1", f"Host: {own}", f"Origin: http://{own}", "Connection: close"]
    lines += [f"Cookie: {bench.cookie}"]
    lines += more or (f"Content-Length: {len(body)}",)
    return "\r\n".join((*lines, "", "")).encode("latin-1") + body


def post(bench: Server, body: bytes, kind: str = FORM, to: str = ANSWER) -> bytes:
    length = f"Content-Length: {len(body)}"
    return send(bench, message(bench, f"POST {to}", body, f"Content-Type: {kind}", length))


def part(head: str, body: bytes, *more: str) -> bytes:
    lines = ("--x", f"Content-Disposition: form-data; {head}", *more, "", "")
    return "\r\n".join(lines).encode("latin-1") + body + b"\r\n"


END = b"--x--\r\n"
FILE_PART = part('name="file"; filename="c.csv"', b"1,2")


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (b"say=\xff\xfe%ff%fe", FORM),
        (b"\xff=1&%ff=2", FORM),
        (b"say=%00%01%1b%5b2J", FORM),
        (b"say=%2BADw-b%2BAD4-", f"{FORM}; charset=utf-7"),
        (part('name="say"', b"1", "Content-Type: text/plain; charset=nonsense") + END, PARTS),
        (part('name="\xff"', b"\xff\xfe") + END, f"{PARTS}; charset=nonsense"),
        (b'{"say": "1 V"}', "application/json"),
        (b"1 V", ""),
    ],
)
def test_other_encodings_are_no_answer(bench: Server, body: bytes, kind: str) -> None:
    """The page comes back, with nothing taken; the fixture looks at the file."""
    assert post(bench, body, kind).startswith(b"HTTP/1.1 200")


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (b"--x\r\n\r\n1\r\n" + END, PARTS),
        (b"--x\r\nContent-Disposition: form-data\r\n\r\n1\r\n" + END, PARTS),
        (FILE_PART * 2 + END, PARTS),
        (b"".join(part(f'name="k{n}"', b"1") for n in range(2000)) + END, PARTS),
        (part('name="say"', b"1", *(f"X-{n}: 1" for n in range(2000))) + END, PARTS),
        (b"x", "multipart/form-data; boundary="),
        (b"x", "multipart/form-data; boundary=" + "x" * 5000),
    ],
)
def test_what_is_no_form_is_refused(bench: Server, body: bytes, kind: str) -> None:
    assert post(bench, body, kind, CAPTURE)[:12] in (b"HTTP/1.1 400", b"")


def test_lengths_that_are_not_so_are_refused(bench: Server) -> None:
    """RFC 9112, section 6.3: two lengths that differ are an error; so is a body that breaks off."""
    to, kind = f"POST {ANSWER}", f"Content-Type: {FORM}"
    many = (kind, "Content-Length: 5", "Content-Length: 4")
    assert send(bench, message(bench, to, b"say=1", *many)).startswith(b"HTTP/1.1 400")
    cut = message(bench, to, b"say=1", kind, "Content-Length: 400")
    assert b" 200 " not in send(bench, cut, leave=True)[:20]
    endless = b"".join(b"10000\r\n" + b"x" * 65536 + b"\r\n" for _ in range(320))
    pieces = message(bench, to, endless, kind, "Transfer-Encoding: chunked")
    assert b" 200 " not in send(bench, pieces)[:20]


@pytest.mark.parametrize(
    "pieces", [b"zz\r\nabc\r\n", b"-1\r\n", b"f" * 24 + b"\r\n", b"5\r\nsay=1XX\r\n0\r\n\r\n"]
)
def test_pieces_that_are_none_are_refused(bench: Server, pieces: bytes) -> None:
    """RFC 9112, section 7.1: with the head or after it; the fixture looks at what is said of it."""
    lines = f"Content-Type: {FORM}", "Transfer-Encoding: chunked"
    head = message(bench, f"POST {ANSWER}", b"", *lines)
    assert send(bench, head + pieces).startswith(b"HTTP/1.1 4")
    with socket.create_connection(("127.0.0.1", bench.port), timeout=60) as line:
        line.sendall(message(bench, f"POST {ANSWER}", b"", *lines, "Content-Length: 5"))
        sleep(0.1)
        line.sendall(pieces)
        assert line.recv(100).startswith(b"HTTP/1.1 4")


def test_a_fault_of_ours_is_told_in_full() -> None:
    """Only what follows from a message that was given up is not told a second time."""
    for error, told in (
        (LocalProtocolError("can't handle event type Response when state=MUST_CLOSE"), False),
        (LocalProtocolError("Too little data for declared Content-Length"), True),
        (ValueError("state=MUST_CLOSE"), True),
    ):
        words = "Exception in ASGI application"
        record = LogRecord("uvicorn.error", ERROR, "", 0, words, (), (type(error), error, None))
        assert _is_news(record) is told


@pytest.mark.parametrize(
    "data",
    [
        b"hello\r\n\r\n",
        bytes.fromhex("16030100c8010000c403030000"),  # RFC 8446: how TLS would begin
        b"GET / HTTP/1.1\r\nX: " + b"x" * 300_000 + b"\r\n\r\n",
        b"GET /" + b"x" * 300_000 + b" HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.0\r\n\r\n",
    ],
)
def test_what_is_no_message_is_refused(bench: Server, data: bytes) -> None:
    assert send(bench, data, leave=True)[:11] in (b"HTTP/1.1 40", b"")


def test_web_sockets_are_not_spoken_here(bench: Server) -> None:
    """RFC 6455, section 4.2.2: only 101 opens one."""
    asked = message(bench, "GET /", b"", "Connection: Upgrade, close", "Upgrade: websocket",
                    "Sec-WebSocket-Version: 13",
                    "Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==")  # fmt: skip
    assert send(bench, asked)[:12] not in (b"HTTP/1.1 101", b"HTTP/1.1 500")


@pytest.mark.parametrize("path", ["/%00", "/static/%00", "/static/" + "a" * 3000, "/static/%ff"])
def test_odd_paths_are_not_there(bench: Server, path: str) -> None:
    assert send(bench, message(bench, f"GET {path}")).startswith(b"HTTP/1.1 404")


def test_hostile_words_come_back_as_text(bench: Server) -> None:
    """In a field, a capture and its name, a job's note, and the name of a file."""
    hostile = HOSTILE.replace('"', "").encode()
    named = part(f'name="file"; filename="{hostile.decode()}.csv"', hostile * 3) + END
    for result in (
        post(bench, named, PARTS, CAPTURE),
        post(bench, part('name="say"', hostile) + END, PARTS),
        send(bench, message(bench, "GET /jobs")),
        send(bench, message(bench, "GET /job/a/readings")),
    ):
        assert result.startswith(b"HTTP/1.1 200")
        assert b"&lt;" in result
        assert not any(raw in result for raw in (b"<script>document", b"<img src", b'<b>"'))


def test_more_fields_than_the_sheet_has_are_refused(bench: Server) -> None:
    body = "&".join(f"f{n}=1" for n in range(600)).encode()
    for to in ("repair/keep", "repair/close", "board", "set"):
        assert post(bench, body, to=f"/job/a/{to}").startswith(b"HTTP/1.1 400"), to


def test_half_open_lines_stop_nobody(bench: Server) -> None:
    """More lines than a program may have open, each with half a message, and the page answers."""
    half = message(bench, "GET /alive")[:-2]
    unsaid = [socket.create_connection(("127.0.0.1", bench.port), timeout=60) for _ in range(10)]
    lines = []
    try:
        for _ in range(MOST_WAITING + 100):
            line = socket.create_connection(("127.0.0.1", bench.port), timeout=60)
            line.sendall(half)
            lines.append(line)
        began = monotonic()
        assert send(bench, message(bench, "GET /alive")).startswith(b"HTTP/1.1 204")
        assert monotonic() - began < 5.0
        with suppress(ConnectionResetError):
            assert unsaid[0].recv(1) == b""  # the oldest were given up
        # the newest goes on where it was
        lines[-1].sendall(b"\r\n")
        assert lines[-1].recv(100).startswith(b"HTTP/1.1 204")
    finally:
        for line in (*unsaid, *lines):
            line.close()


def test_a_message_without_end_is_given_up(tmp_path: Path) -> None:
    """By a server that waits a twentieth as long as usual, and not before."""
    longest_s = LONGEST_MESSAGE_S / 20.0
    hasty = f"from zcd.web import server; server.LONGEST_MESSAGE_S = {longest_s}; {SERVE}"
    running = Server(tmp_path, code=hasty)
    running.start()
    try:
        with socket.create_connection(("127.0.0.1", running.port), timeout=60) as line:
            began = monotonic()
            line.sendall(message(running, "GET /alive")[:-2])
            with suppress(ConnectionResetError):
                assert line.recv(1) == b""
            assert 0.9 * longest_s < monotonic() - began < longest_s + 15.0
    finally:
        running.kill()
