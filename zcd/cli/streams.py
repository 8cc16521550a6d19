"""The three streams of a process, whatever has become of them."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from contextlib import suppress
from io import UnsupportedOperation
from typing import TextIO

import click


def open_closed_streams() -> None:
    """What whoever started us has closed leads nowhere; no file of ours gets its number."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, os.fdopen(os.open(os.devnull, os.O_RDWR), mode))


def tell(lines: Iterable[str]) -> None:
    """Say what went wrong; where nobody can be told, the exit code says it."""
    from zcd.errors import plain

    try:
        for line in lines:
            click.echo(plain(line), err=True)
    except OSError:
        forget(sys.stderr)


def forget(stream: TextIO) -> None:
    """Whoever was at its end has gone: let the interpreter's last flush go nowhere."""
    with suppress(UnsupportedOperation):  # a stream of somebody else's in this process
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
