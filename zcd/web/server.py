"""Serving the page on this machine alone."""

from __future__ import annotations

import ctypes
import gc
import logging
import socket
from collections.abc import Callable
from contextlib import suppress

from zcd.errors import InputError
from zcd.web.app import make_app
from zcd.web.guard import LOOPBACK
from zcd.web.state import PageState

MAX_HEAPS = -8
"""``M_ARENA_MAX`` of glibc's ``malloc.h``."""
GIVEN_UP = ("MUST_CLOSE", "CLOSED", "ERROR")
"""States of a line on which nothing more is said."""


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


def serve(port: int, state: PageState, ready: Callable[[str], None]) -> None:
    """Serve the page until the person ends it.

    Parameters
    ----------
    port : int
        0 takes any free one.
    state : PageState
        What lies on it.
    ready : callable
        Told the address as soon as the page can be reached.

    Raises
    ------
    InputError
        If the port cannot be had.
    """
    import uvicorn

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
        config = uvicorn.Config(
            make_app(taken, state),
            log_level="warning",
            server_header=False,
            access_log=False,
            http="h11",
            ws="none",
        )
        gc.freeze()  # else now and then an answer waits while all modules are looked through
        logging.getLogger("uvicorn.error").addFilter(_is_news)
        _keep_one_heap()
        ready(f"http://{LOOPBACK}:{taken}/")
        uvicorn.Server(config).run(sockets=[door])
