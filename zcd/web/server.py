"""Serving the page on this machine alone."""

from __future__ import annotations

import asyncio
import ctypes
import gc
import logging
import socket
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING

from zcd.errors import InputError
from zcd.web.guard import LOOPBACK, OPENING, Secrets

if TYPE_CHECKING:
    from zcd.web.state import PageState

MAX_HEAPS = -8
"""``M_ARENA_MAX`` of glibc's ``malloc.h``."""
GIVEN_UP = ("MUST_CLOSE", "CLOSED", "ERROR")
"""States of a line on which nothing more is said."""
LONGEST_MESSAGE_S = 20.0
"""From a line's beginning to the end of what is asked on it: on one machine nothing takes long."""
MOST_WAITING = 200
"""Lines on which nothing whole was said yet."""


def _keep_one_heap() -> None:
    """Have all threads take memory from one heap, as they take turns anyway.

    The system's library (glibc) gives threads heaps of their own, up to eight for each core; what
    pages leave behind in one of them is of no use to the others, and the server would grow.
    """
    with suppress(AttributeError, OSError, TypeError):  # systems with another library
        ctypes.CDLL(None).mallopt(MAX_HEAPS, 1)


def _is_news(record: logging.LogRecord) -> bool:
    """Whether it was not told yet: a broken message is, in one line, before it is given up.

    The page's answer to its beginning then finds the line closed, which is no fault of the page.
    """
    import h11

    error = None if record.exc_info is None else record.exc_info[1]
    closed = any(f"state={state}" in str(error) for state in GIVEN_UP)
    return not (isinstance(error, h11.LocalProtocolError) and closed)


def _patient_protocol() -> type[asyncio.Protocol]:
    """HTTP as uvicorn speaks it, to those who come to the end of what they say."""
    import h11
    from uvicorn.protocols.http.h11_impl import H11Protocol

    class PatientProtocol(H11Protocol):
        """Gives up a message that does not end in time, and the longest wait where too many do.

        Else lines on which nobody goes on would take all that the system lets a program open.
        """

        began_s = 0.0
        timer: asyncio.TimerHandle | None = None

        def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
            super().connection_made(transport)
            self._expect()
            waiting = [
                line
                for line in self.connections
                if isinstance(line, PatientProtocol) and line.timer is not None
            ]
            if len(waiting) > MOST_WAITING:
                min(waiting, key=lambda line: line.began_s)._give_up()

        def data_received(self, data: bytes) -> None:
            super().data_received(data)
            if self.conn.their_state in (h11.IDLE, h11.SEND_BODY):
                if self.timer is None:
                    self._expect()
            else:
                self._forget()

        def connection_lost(self, exc: Exception | None) -> None:
            self._forget()
            super().connection_lost(exc)

        def _expect(self) -> None:
            self.began_s = self.loop.time()
            self.timer = self.loop.call_later(LONGEST_MESSAGE_S, self._give_up)

        def _forget(self) -> None:
            if self.timer is not None:
                self.timer.cancel()
                self.timer = None

        def _give_up(self) -> None:
            self._forget()
            self.transport.abort()

    return PatientProtocol


def serve(
    port: int, make_state: Callable[[], PageState], ready: Callable[[str, str], None]
) -> None:
    """Serve the page until the person ends it.

    Parameters
    ----------
    port : int
        0 takes any free one.
    make_state : callable
        Makes what lies on it, with all that takes long to load.
    ready : callable
        Told before that, so that a browser starts meanwhile, whose requests then wait: the address
        to print, and the one to start a browser with, which opens the page once.

    Raises
    ------
    InputError
        If the port cannot be had.
    """
    # asyncio sends at once only on a socket that says it is TCP; else a body waits for the
    # browser's late acknowledgement of its headers, 40 ms
    with socket.socket(proto=socket.IPPROTO_TCP) as door:
        door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            door.bind((LOOPBACK, port))
        except OSError as error:
            raise InputError(
                f"--port: found {port}, which cannot be had ({error.strerror}); "
                "allowed: a free port"
            ) from error
        door.listen()
        taken = door.getsockname()[1]
        secrets = Secrets()
        place = f"http://{LOOPBACK}:{taken}{OPENING}"
        ready(f"{place}{secrets.address}", f"{place}{secrets.once}")
        import uvicorn

        from zcd.web.app import make_app

        config = uvicorn.Config(
            make_app(taken, make_state(), secrets),
            log_level="warning",
            server_header=False,
            access_log=False,
            http=_patient_protocol(),
            ws="none",
        )
        gc.freeze()  # else now and then an answer waits while all modules are looked through
        logging.getLogger("uvicorn.error").addFilter(_is_news)
        _keep_one_heap()
        uvicorn.Server(config).run(sockets=[door])
