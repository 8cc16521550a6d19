"""Serving the page on this machine alone."""

from __future__ import annotations

import gc
import socket
from collections.abc import Callable

from zcd.bench.app import make_app
from zcd.bench.desk import Desk
from zcd.bench.guard import LOOPBACK
from zcd.errors import InputError


def serve(port: int, desk: Desk, ready: Callable[[str], None]) -> None:
    """Serve the page until the person ends it.

    Parameters
    ----------
    port : int
        0 takes any free one.
    desk : Desk
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
            make_app(taken, desk),
            log_level="warning",
            server_header=False,
            access_log=False,
            ws="none",
        )
        gc.freeze()  # else now and then an answer waits while all modules are looked through
        ready(f"http://{LOOPBACK}:{taken}/")
        uvicorn.Server(config).run(sockets=[door])
