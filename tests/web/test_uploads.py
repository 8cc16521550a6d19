"""A large capture is taken in a moment, and holds up nobody else."""

from __future__ import annotations

from pathlib import Path
from threading import Event, Thread
from time import monotonic

from tests.web.conftest import Server
from tests.web.test_malformed import END, PARTS, message, part, post, send
from tests.web.test_page import FILE
from zcd.jobs.job_file import version_of

JOB = 'board = "board.toml"\n'
LONGEST_ANSWER_RATIO = 0.6
"""Of another page meanwhile, over the time that the upload takes; one that is held up has 1."""


def test_an_upload_of_11_mb_holds_up_no_other_answer(tmp_path: Path) -> None:
    (tmp_path / "board.toml").write_text(FILE, encoding="utf-8")
    (tmp_path / "a.toml").write_text(JOB, encoding="utf-8")
    rows = "".join(f"{n * 1e-6:.6f},{0.1 if n % 20_000 < 9_000 else 4.9}\n" for n in range(860_000))
    body = part('name="seen"', version_of(JOB.encode()).encode())
    body += part('name="file"; filename="c.csv"', rows.encode()) + END
    assert len(body) > 11_000_000
    server = Server(tmp_path)
    server.start()
    waited, over = [], Event()

    def ask() -> None:
        while not over.is_set():
            began = monotonic()
            assert send(server, message(server, "GET /alive")).startswith(b"HTTP/1.1 204")
            waited.append(monotonic() - began)
            over.wait(0.01)

    asking = Thread(target=ask)
    try:
        asking.start()
        began = monotonic()
        answer = post(server, body, PARTS, "/job/a/capture")
        taken_s = monotonic() - began
    finally:
        over.set()
        asking.join()
        server.kill()
    assert answer.startswith(b"HTTP/1.1 200")
    assert (tmp_path / "a-capture.csv").is_file(), answer[-2000:]
    assert taken_s < 20.0
    assert len(waited) > 5
    assert max(waited) < LONGEST_ANSWER_RATIO * taken_s, (max(waited), taken_s)
