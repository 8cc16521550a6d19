"""The door: only this machine's own page gets in, and it can only read."""

from __future__ import annotations

import http.client
import socket

import pytest

from tests.bench.conftest import Server
from zcd.bench.guard import LONGEST_QUERY


def ask(
    server: Server, path: str = "/static/bench.css", method: str = "GET", **headers: str
) -> tuple[int, http.client.HTTPMessage]:
    """Status and headers of an answer; a header `Host` replaces the right one."""
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=30)
    connection.putrequest(method, path, skip_host=True)
    given = {"Host": f"127.0.0.1:{server.port}", **headers}
    for name, value in given.items():
        connection.putheader(name.replace("_", "-"), value)
    connection.endheaders()
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
    for path in ("/static/bench.css", "/", "/verdict", "/board.toml", "/nothing"):
        assert ask(server, path, **headers)[0] == 403


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS", "PATCH"])
def test_nothing_can_be_changed(server: Server, method: str) -> None:
    assert ask(server, "/", method)[0] == 405


def test_sizes_are_limited(server: Server) -> None:
    assert ask(server, "/?name=" + "x" * LONGEST_QUERY)[0] == 414


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
