"""Many pages open at once, each typed into again and again: what the server holds meanwhile.

``python -m tests.web.many PAGES SECONDS`` types boards that were never typed before, and tells
after each tenth of the time how much memory, how many threads and open files the server has.
"""

from __future__ import annotations

import http.client
import os
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

from tests.web.conftest import Server

HTMX = {"HX-Request": "true"}


@dataclass(frozen=True, slots=True)
class Held:
    """What a process holds.

    Parameters
    ----------
    memory_kb, threads, files : int
        Resident memory; threads; open files and connections.
    """

    memory_kb: int
    threads: int
    files: int


def held(server: Server) -> Held:
    """What a server holds now, as Linux tells."""
    assert server.process is not None
    place = Path("/proc") / str(server.process.pid)
    lines = (place / "status").read_text(encoding="ascii").splitlines()
    told = dict(line.split(":", 1) for line in lines)
    return Held(int(told["VmRSS"].split()[0]), int(told["Threads"]), len(os.listdir(place / "fd")))


class Page:
    """An open page, with a line to the server that it keeps."""

    def __init__(self, server: Server, number: int) -> None:
        self.line = http.client.HTTPConnection("127.0.0.1", server.port, timeout=120)
        own = f"http://127.0.0.1:{server.port}"
        self.headers = {**HTMX, "Cookie": server.cookie, "Origin": own}
        self.place = f"/job/many-{number}"
        self.window = f"window{number}..0"

    def ask(self, path: str, method: str = "POST", **typed: str) -> int:
        """Status of an answer; the line is opened anew where the server closed it meanwhile."""
        for last in (False, True):
            try:
                self.line.request(method, path, urlencode(typed), headers=self.headers)
                answer = self.line.getresponse()
                answer.read()
                return answer.status
            except (http.client.RemoteDisconnected, ConnectionError):
                self.line.close()
                if last:
                    raise
        raise AssertionError

    def edit(self, number: int) -> int:
        """Type a value, and move the slider."""
        typed = {"chain.resistors.1": f"{100 + number % 900}k", "at": str(100 + number % 150)}
        if not number % 10:
            return self.ask(f"{self.place}/readings", "GET")
        return self.ask(f"{self.place}/board", window=self.window, **typed)


@contextmanager
def pages(server: Server, count: int) -> Iterator[tuple[list[Page], ThreadPoolExecutor]]:
    """So many pages, and hands to type into all of them at once."""
    opened = [Page(server, number) for number in range(count)]
    with ThreadPoolExecutor(count) as hands:
        yield opened, hands
    for page in opened:
        page.line.close()


def typed_into(opened: list[Page], hands: ThreadPoolExecutor, numbers: list[int]) -> set[int]:
    """Statuses of one edit in each page, all at once."""
    return set(hands.map(Page.edit, opened, numbers))


def main(count: int, seconds: float) -> None:
    """Type, and tell."""
    with tempfile.TemporaryDirectory() as folder:
        server = Server(Path(folder))
        server.start()
        try:
            with pages(server, count) as (opened, hands):
                done, began = 0, time.monotonic()
                for tenth in range(1, 11):
                    while time.monotonic() - began < seconds * tenth / 10:
                        typed_into(opened, hands, [done + n for n in range(count)])
                        done += count
                    print(f"{done:8} edits  {held(server)}", flush=True)
            time.sleep(1.0)
            print(f"all pages closed  {held(server)}")
        finally:
            server.kill()


if __name__ == "__main__":
    main(int(sys.argv[1]), float(sys.argv[2]))
