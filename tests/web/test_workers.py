"""Long work goes on elsewhere, is told when it is done, and ended when nobody waits for it."""

from __future__ import annotations

import asyncio
import math
import os
import signal
import time
from pathlib import Path

import pytest
from starlette.requests import Request

from zcd.board.files import load_board
from zcd.web import workers as module
from zcd.web.workers import LESS_URGENT, WorkerPool


def running(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def test_it_comes_when_it_is_done_and_is_kept() -> None:
    workers = WorkerPool(hands=1)
    assert workers.ask(math.sqrt, 2.25, patience_s=60.0).result == 1.5
    begun = time.monotonic()
    again = workers.ask(math.sqrt, 2.25, patience_s=60.0)
    assert again.result == 1.5
    assert time.monotonic() - begun < 1.0
    assert workers.ask(os.getpid, patience_s=60.0).result != os.getpid()


def test_a_mistake_is_told_in_words() -> None:
    workers = WorkerPool(hands=1)
    told = workers.ask(load_board, Path("nowhere.toml"), patience_s=60.0)
    assert told.done
    assert told.problem.startswith("nowhere.toml: found no such file")
    ours = workers.ask(math.sqrt, -1.0, patience_s=60.0)
    assert ours.problem.startswith("a fault of the program: ValueError")


def test_what_nobody_waits_for_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    """The process that slept is gone, and another one does what comes next."""
    monkeypatch.setattr(module, "STALE_S", 0.5)
    workers = WorkerPool(hands=1)
    first = workers.ask(os.getpid, patience_s=60.0).result
    assert not workers.ask(time.sleep, 600.0).done
    deadline = time.monotonic() + 60.0
    while running(first) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not running(first)
    assert workers.ask(math.sqrt, 2.25, patience_s=60.0).result == 1.5


def asked_by(*messages: str) -> Request:
    """A request of which the server hears this, and then nothing more."""
    left = list(messages)

    async def receive() -> dict[str, object]:
        if not left:
            await asyncio.sleep(600.0)
        return {"type": left.pop(0)}

    return Request({"type": "http"}, receive)


def test_a_request_waits_until_it_is_done() -> None:
    """And is not ended meanwhile, however long it takes."""
    workers = WorkerPool(hands=1)
    task = workers.ask(time.sleep, 1.0)
    assert not task.done
    assert asyncio.run(workers.over(task, asked_by()))
    assert task.done


def test_who_leaves_waits_no_longer(monkeypatch: pytest.MonkeyPatch) -> None:
    """Then the work is given up, and asked for anew it is done anew."""
    monkeypatch.setattr(module, "STALE_S", 0.3)
    workers = WorkerPool(hands=1)
    task = workers.ask(time.sleep, 600.0)
    assert not asyncio.run(workers.over(task, asked_by("http.disconnect")))
    deadline = time.monotonic() + 60.0
    while not task.ended and time.monotonic() < deadline:
        time.sleep(0.05)
    assert task.ended
    assert asyncio.run(workers.over(task, asked_by()))  # who comes too late asks again
    assert workers.ask(math.sqrt, 2.25, patience_s=60.0).result == 1.5


def test_what_somebody_waits_for_is_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """A report that takes long is waited for in one go."""
    monkeypatch.setattr(module, "STALE_S", 0.3)
    assert WorkerPool(hands=1).ask(time.sleep, 1.5, patience_s=60.0).done


def test_an_interrupt_at_the_terminal_is_for_the_page() -> None:
    """Ctrl-C reaches all processes of a terminal, the helpers while they are still loading too."""
    before = signal.pthread_sigmask(signal.SIG_BLOCK, ())
    helper = module._Worker()
    assert signal.pthread_sigmask(signal.SIG_BLOCK, ()) == before  # here it is heard as ever
    os.kill(helper._process.pid or 0, signal.SIGINT)
    task = module.Task(math.sqrt, (2.25,))
    assert helper.run(task)
    assert task.result == 1.5
    assert task.problem == ""


def test_a_process_that_ends_by_itself_leaves_words() -> None:
    workers = WorkerPool(hands=1)
    assert workers.ask(os._exit, 3, patience_s=60.0).problem
    assert workers.ask(math.sqrt, 2.25, patience_s=60.0).result == 1.5


def test_the_page_itself_goes_first() -> None:
    """What is worked out beside it has a lower priority."""
    workers = WorkerPool(hands=1)
    assert workers.ask(os.nice, 0, patience_s=60.0).result == min(os.nice(0) + LESS_URGENT, 19)
