"""The command refuses before it serves."""

from __future__ import annotations

import gc
import socket
from collections.abc import Sequence
from pathlib import Path

import pytest
import uvicorn

from zcd.cli import main
from zcd.web.server import serve
from zcd.web.state import PageState


def test_a_port_that_is_taken_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        assert main(["bench", "--no-browser", "--port", str(port)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert f"--port: found {port}, which cannot be had" in err


def test_a_file_that_is_no_board_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "board.toml"
    path.write_text('mains = "lots"\n')
    assert main(["bench", "--no-browser", str(path)]) == 2
    assert "board.toml: mains: found" in capsys.readouterr().err


def test_an_answer_is_sent_without_waiting_for_an_acknowledgement(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """asyncio turns off the gathering of small packets only where a socket says that it is TCP."""
    seen = []

    def run(self: uvicorn.Server, sockets: Sequence[socket.socket]) -> None:
        del self
        seen.extend((door.family, door.type, door.proto) for door in sockets)

    monkeypatch.setattr(uvicorn.Server, "run", run)
    monkeypatch.setattr(gc, "freeze", lambda: None)  # the objects of these tests stay as they are
    serve(0, PageState, lambda *_: None)
    assert seen == [(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)]
