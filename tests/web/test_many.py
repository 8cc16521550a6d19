"""Fifty pages typed into at once: all are answered, and the server grows no more."""

from __future__ import annotations

import time
from pathlib import Path

from tests.web.conftest import Server
from tests.web.many import held, pages, typed_into

PAGES, BOARDS, WARM, ROUNDS = 50, 2, 6, 4
MOST_THREADS = 45
"""The pool in which the requests run has 40; one serves, some are numpy's."""
MOST_GROWTH_KB = 2_000
"""Of 200 requests: some 10 kB each would be seen."""


def test_fifty_pages_grow_nothing(tmp_path: Path) -> None:
    """The same few boards over and over: what is kept of boards and by each thread is full after
    some six rounds."""
    server = Server(tmp_path)
    server.start()
    try:
        with pages(server, 1) as (opened, hands):  # its loop runs by then, with files of its own
            assert typed_into(opened, hands, [0]) == {200}
            alone = held(server)
        with pages(server, PAGES) as (opened, hands):
            for number in range(WARM):
                assert typed_into(opened, hands, [number % BOARDS] * PAGES) == {200}
            warm = held(server)
            for number in range(ROUNDS):
                assert typed_into(opened, hands, [number % BOARDS] * PAGES) == {200}
            after = held(server)
        assert max(warm.threads, after.threads) <= MOST_THREADS + alone.threads
        assert after.files <= warm.files + 2
        assert after.memory_kb <= warm.memory_kb + MOST_GROWTH_KB
        until = time.monotonic() + 30.0
        while held(server).files > alone.files + 2 and time.monotonic() < until:
            time.sleep(0.1)
        assert held(server).files <= alone.files + 2
    finally:
        server.kill()
