"""A progress bar for work that takes longer than a moment."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager

from zcd.logs import logger

_LOG = logger(__name__)
ProgressBar = Callable[[int], AbstractContextManager[Callable[[str], None]]]
"""Such as `progress_bar`: of so many steps."""


@contextmanager
def no_bar(steps: int) -> Iterator[Callable[[str], None]]:
    """Show nothing; a program that listens to the log is told."""
    yield _LOG.info


@contextmanager
def progress_bar(steps: int) -> Iterator[Callable[[str], None]]:
    """Show on stderr how far the work is, if that is a terminal; nothing stays behind.

    Parameters
    ----------
    steps : int

    Yields
    ------
    begin : callable
        To be called with a few words at the beginning of each step.

    Examples
    --------
    >>> with progress_bar(1) as begin:
    ...     begin("solving")
    """
    if not sys.stderr.isatty():
        with no_bar(steps) as begin:
            yield begin
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=steps)
        begun = 0

        def begin_next(words: str) -> None:
            nonlocal begun
            _LOG.info("%s", words)
            bar.update(task, description=words, completed=begun)
            begun += 1

        yield begin_next
