"""-v: what the library says it is doing, on standard error."""

from __future__ import annotations

import logging
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import click

from zcd.errors import plain
from zcd.logs import NAME


class _Told(logging.Handler):
    """Says each line on standard error, with the seconds since the command began."""

    def __init__(self) -> None:
        super().__init__()
        self._began_s = time.perf_counter()

    def emit(self, record: logging.LogRecord) -> None:
        """Say it; where nobody can be told, the work goes on."""
        text = plain(record.getMessage())
        with suppress(OSError):
            click.echo(f"{time.perf_counter() - self._began_s:7.2f} s  {text}", err=True)


@contextmanager
def said() -> Iterator[None]:
    """While this lasts, what is being worked out is said."""
    log, handler = logging.getLogger(NAME), _Told()
    before = log.level
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    try:
        yield
    finally:
        log.removeHandler(handler)
        log.setLevel(before)
