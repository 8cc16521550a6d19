"""Long work in processes of its own, so that the page goes on answering; stale work is ended.

A request waits for what it asked for, without a thread of its own. What nobody waits for any more
is ended, by ending its process: nothing in it has to look out for that.
"""

from __future__ import annotations

import asyncio
import os
import signal
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from multiprocessing import get_all_start_methods, get_context, resource_tracker
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING, Any

from zcd.errors import ZcdError

if TYPE_CHECKING:
    from multiprocessing.context import ForkServerContext, SpawnContext

    from starlette.requests import Request

WORKER_COUNT = 2
STALE_S = 2.0
"""Without anybody who waits for it so long, work is ended; a reload asks for it again before."""
POLL_S = 0.1
MAX_KEPT = 24
PRELOADED = ("zcd.web.tasks", "zcd.api", "zcd.report.of_check_document")
"""What nearly every piece of work needs: loaded once, in the process all others are forked from."""
LESS_URGENT = 5
"""Steps of priority that the other processes stand behind the page's own answers."""


@dataclass(slots=True)
class Task:
    """One piece of work.

    Parameters
    ----------
    do : callable
        A function of a module, which the other process can find.
    arguments : tuple
    result : Any
        What came out.
    problem : str
        Why nothing did.
    done, begun, ended : bool
        `ended`: given up, as nobody waited for it.
    waiting : int
        How many wait for it just now.
    asked : float
        When somebody last wanted to know.
    """

    do: Callable[..., Any]
    arguments: tuple[Any, ...]
    result: Any = None
    problem: str = ""
    done: bool = False
    begun: bool = False
    ended: bool = False
    waiting: int = 0
    asked: float = field(default_factory=time.monotonic)

    @property
    def stale(self) -> bool:
        """Whether nobody waits for it any more."""
        return not self.waiting and time.monotonic() - self.asked > STALE_S


class WorkerPool:
    """Asks other processes, started when first needed, to do things.

    Parameters
    ----------
    hands : int
        How many processes.
    """

    def __init__(self, hands: int = WORKER_COUNT) -> None:
        self._tasks: OrderedDict[Hashable, Task] = OrderedDict()
        self._news = threading.Condition()
        self._worker_count = hands
        self._idle = 0
        self._threads = 0

    def ask(self, do: Callable[..., Any], *arguments: Any, patience_s: float = 0.0) -> Task:
        """Ask for something; the answer is ready, or it is being worked out.

        Parameters
        ----------
        do : callable
            A function of a module.
        *arguments
            Hashable.
        patience_s : float
            How long to wait for it here.

        Returns
        -------
        Task
            To be asked for again when it is `done`, if it is not yet.
        """
        key = (do.__module__, do.__qualname__, arguments)
        with self._news:
            task = self._tasks.get(key)
            if task is None:
                task = self._tasks[key] = Task(do, arguments)
                self._start()
                self._news.notify_all()
            task.asked = time.monotonic()
            self._tasks.move_to_end(key)
            self._forget()
            task.waiting += 1
            self._news.wait_for(lambda: task.done, patience_s)
            task.waiting -= 1
            task.asked = time.monotonic()
            return task

    async def over(self, task: Task, request: Request) -> bool:
        """Wait until a piece of work is done, or given up; False where who asked has left."""
        with self._news:
            task.waiting += 1
        try:
            while not (task.done or task.ended):
                if await request.is_disconnected():
                    return False
                await asyncio.sleep(POLL_S / 4.0)
            return True
        finally:
            with self._news:
                task.waiting -= 1
                task.asked = time.monotonic()

    def _forget(self) -> None:
        """Drop the oldest answers, and what was given up before it began."""
        for key, task in list(self._tasks.items()):
            too_many = len(self._tasks) > MAX_KEPT and task.done
            if too_many or (task.stale and not task.begun):
                task.ended = True
                del self._tasks[key]

    def _start(self) -> None:
        waiting = sum(not task.begun for task in self._tasks.values())
        if waiting > self._idle and self._threads < self._worker_count:
            self._threads += 1
            threading.Thread(target=self._run, daemon=True).start()

    def _run(self) -> None:
        """See one process through its work, for ever."""
        helper: _Worker | None = None
        while True:
            with self._news:
                self._idle += 1
                self._news.wait_for(lambda: self._next() is not None)
                self._idle -= 1
                task = self._next()
                assert task is not None
                task.begun = True
            helper = helper if helper is not None and helper.alive else _Worker()
            ended = not helper.run(task)
            with self._news:
                if ended:
                    self._tasks = OrderedDict(
                        (key, each) for key, each in self._tasks.items() if each is not task
                    )
                task.done, task.ended = not ended, ended
                self._news.notify_all()

    def _next(self) -> Task | None:
        """The work asked about last that nobody has begun."""
        waiting = (w for w in reversed(self._tasks.values()) if not (w.begun or w.stale))
        return next(waiting, None)


@contextmanager
def _deaf_to_interrupts() -> Iterator[None]:
    """What is started here never hears of Ctrl-C: that is for the page, with which it ends."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _context() -> ForkServerContext | SpawnContext:
    """How processes are started: never from this one, which has threads."""
    if "forkserver" not in get_all_start_methods():  # Windows
        return get_context("spawn")
    resource_tracker.ensure_running()  # when it begins, it has Ctrl-C heard again
    context = get_context("forkserver")
    context.set_forkserver_preload(list(PRELOADED))
    return context


class _Worker:
    """Another process of this program, waiting for work."""

    def __init__(self) -> None:
        context = _context()
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=_run_tasks, args=(theirs,), daemon=True)
        with _deaf_to_interrupts():
            self._process.start()
        theirs.close()

    @property
    def alive(self) -> bool:
        return self._process.is_alive()

    def run(self, task: Task) -> bool:
        """Have a piece of work done; False where it was ended as stale."""
        try:
            self._pipe.send((task.do, task.arguments))
            while not self._pipe.poll(POLL_S):
                if task.stale:
                    self._end()
                    return False
            task.result, task.problem = self._pipe.recv()
        except (EOFError, OSError):
            task.problem = "the process that worked it out came to an end"
            self._end()
        return True

    def _end(self) -> None:
        self._process.kill()
        self._process.join()


def _run_tasks(pipe: Connection) -> None:
    """What the other process does: one piece of work after the other, until the page is gone."""
    if hasattr(os, "nice"):  # Windows has none
        os.nice(LESS_URGENT)
    with suppress(EOFError, OSError, KeyboardInterrupt):
        while True:
            do, arguments = pipe.recv()
            try:
                answer = do(*arguments), ""
            except ZcdError as error:
                answer = None, str(error)
            except Exception as error:  # an internal error must not leave the page waiting
                answer = None, f"a fault of the program: {type(error).__name__}: {error}"
            pipe.send(answer)
