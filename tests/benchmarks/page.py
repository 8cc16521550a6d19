"""Jobs of the page: what an edit, a step of the slider and an answer cost its server.

``python -m tests.benchmarks.page`` also measures, in a real browser, the time from an edit to the
redrawn sheet.
"""

from __future__ import annotations

import asyncio
import atexit
import shutil
import tempfile
from collections.abc import Callable
from itertools import count
from pathlib import Path
from time import sleep
from urllib.parse import urlencode

import numpy as np
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from starlette.requests import Request

from tests.web.conftest import Server, end_browser, new_browser
from zcd.web.board_page import BoardPage
from zcd.web.readings_page import ReadingsPage
from zcd.web.state import PageState
from zcd.web.workers import WorkerPool

BOARD = """\
name = "Invented bread toaster"
mains = "230 V 50 Hz"
feed = "switched"
rectifier = "1N4007"
optocoupler = "817 C"
chain.resistors = ["120k", "120k"]
output = {pull_up = "10k", supply = "5 V"}
"""
JOB = 'board = "toaster.toml"\n'
EDITS, ANSWERS = 60, 15
"""An answer is one of so many in its job, which is a long one."""
HAND_S, ASKED_S = 3.0, 3.0
HAND_WORDS = {"between": "between two frames", "drawn": "to draw a step"}
MEASURE = """
const [selector, value, kind, shown, done] = arguments;
const field = document.querySelector(selector), start = performance.now();
const seen = new MutationObserver(() => requestAnimationFrame(() => requestAnimationFrame(() => {
  seen.disconnect(); done(performance.now() - start); })));
seen.observe(document.querySelector(shown), {childList: true, subtree: true});
field.value = value;
field.dispatchEvent(new Event(kind, {bubbles: true}));
"""
"""From an edit until the browser has painted what came of it. [ms]"""
HAND = """
const [last, done] = arguments;
const slider = document.querySelector("#at"), told = document.querySelector("#lock");
const frames = [], drawn = [];
let frame = 0;
const move = (now) => {
  frames.push(now);
  slider.value = 5 + frame % 120;
  const start = performance.now(), before = told.textContent;
  const seen = new MutationObserver(() => {
    drawn.push(performance.now() - start);
    seen.disconnect();
  });
  seen.observe(told, {childList: true});
  slider.dispatchEvent(new Event("input", {bubbles: true}));
  frame += 1;
  if (performance.now() < last) return requestAnimationFrame(move);
  setTimeout(() => done({between: frames.slice(1).map((at, k) => at - frames[k]), drawn}), 300);
};
requestAnimationFrame(move);
"""
"""A hand that moves the slider with every frame: between frames, and to draw a step. [ms]"""


def page_jobs() -> dict[str, Callable[[], object]]:
    """Jobs by name; each answers something that was not asked before."""
    folder = _folder()
    board, fresh = BoardPage(PageState(folder=folder), WorkerPool()), count()
    place = {"path": "/job/bench/board", "path_params": {"name": "bench"}}

    def ask(**said: str) -> bytes:
        request = Request({**_scope("", "POST"), **place})
        return bytes(board.edited(request, {"window": "a..0", **said}).body)

    answer = _answers()
    return {
        "page: an edit of the board": lambda: ask(**{"output.pull_up": f"{10_000 + next(fresh)}"}),
        "page: a step of the slider": lambda: ask(at=f"{50.0 + 0.01 * next(fresh)}"),
        "page: nothing new": ask,
        "page: an answer in a job": answer,
    }


def _scope(path: str, method: str) -> dict[str, object]:
    return {
        "type": "http", "method": method, "path": path, "query_string": b"",
        "path_params": {"name": "toaster-job"},
        "headers": [
            (b"hx-request", b"true"), (b"content-type", b"application/x-www-form-urlencoded"),
        ],
    }  # fmt: skip


def _folder() -> Path:
    folder = Path(tempfile.mkdtemp())
    atexit.register(shutil.rmtree, folder)
    return folder


def _answers() -> Callable[[], object]:
    """A job in a folder of its own; each call gives an answer, as its page would."""
    folder = _folder()
    (folder / "toaster.toml").write_text(BOARD, encoding="utf-8")
    (folder / "toaster-job.toml").write_text(JOB, encoding="utf-8")
    state = PageState(folder=folder)
    sheet, fresh = ReadingsPage(state, state.jobs), count()
    route = next(r for r in sheet.routes() if r.path == "/job/{name}/answer")
    open_job = sheet.jobs.open(folder / "toaster-job.toml")
    seen = open_job.version
    while sheet.desk.dictionaries.of(open_job.job.board, open_job.job.meter).dictionary is None:
        sleep(0.1)

    def answer() -> object:
        said = {"at": "ohm chain.1 chain.2", "say": f"{100 + 0.01 * next(fresh)}k"}
        body = urlencode({"where": "row-2", "seen": seen, **said}).encode()

        async def receive() -> dict[str, object]:
            return {"type": "http.request", "body": body, "more_body": False}

        request = Request(_scope("/job/toaster-job/answer", "POST"), receive)
        response = asyncio.run(route.endpoint(request))
        assert b"Nothing was written" not in response.body
        return response

    return answer


def redraw_times(browser: Chrome, server: Server) -> dict[str, np.ndarray]:
    """Milliseconds from an edit to the painted sheet, by sheet."""

    def run(
        selector: str, kind: str, first: float, step: float, form: str, edits: int = EDITS
    ) -> np.ndarray:
        values = [form.format(first + step * n) for n in range(edits)]
        ask = browser.execute_async_script
        return np.array([ask(MEASURE, selector, value, kind, "main") for value in values])

    def settled(address: str) -> None:
        browser.get(address)
        while browser.execute_script("return document.querySelector('[aria-busy=true]')"):
            sleep(0.2)

    settled(server.address)
    result = {
        "board": run('[name="output.pull_up"]', "input", 12.0, 0.1, "{:.1f}k"),
    }
    settled(server.address)
    result["slider left where it is"] = run("#at", "change", 60.0, 1.0, "{:g}")
    settled(server.address)
    comes = "arguments[0].dispatchEvent(new Event('focus')); return performance.now()"
    now = browser.execute_script(comes, browser.find_element(By.ID, "at"))
    sleep(ASKED_S)
    last = now + 1e3 * (ASKED_S + HAND_S)
    for words, times in browser.execute_async_script(HAND, last).items():
        result[f"slider under a moving hand, {HAND_WORDS[words]}"] = np.array(times)
    answers = []
    for n in range(EDITS // ANSWERS):
        (server.folder / f"job-{n}.toml").write_text(JOB, encoding="utf-8")
        browser.get(f"{server.address}job/job-{n}/readings")
        while not browser.execute_script("return document.querySelector('#stand')"):
            sleep(0.2)
        field = '[data-at="ohm chain.1 chain.2"]'
        answers.append(run(field, "change", 100.0, 0.1, "{:.1f}k", ANSWERS))
    return {**result, "readings": np.concatenate(answers)}


def main() -> None:
    """Print median and 95th percentile of each."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "toaster.toml").write_text(BOARD, encoding="utf-8")
        server = Server(folder, board_file=folder / "toaster.toml")
        server.start()
        browser = new_browser()
        try:
            for sheet, times in redraw_times(browser, server).items():
                half, most = np.percentile(times, [50.0, 95.0])
                words = f"{half:.0f} ms median, {most:.0f} ms at 95 %, of {times.size}"
                print(f"{sheet}: {words}")
        finally:
            end_browser(browser)
            server.kill()


if __name__ == "__main__":
    main()
