"""An answer holds only what differs from what the page shows; a late one overwrites nothing."""

from __future__ import annotations

import json
import re
from itertools import pairwise
from pathlib import Path
from urllib.parse import parse_qsl

from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from starlette.requests import Request

from tests.web.conftest import Server, serving
from tests.web.test_page import opened, text, type_into, wait
from zcd.web.board_form import START
from zcd.web.board_page import BoardPage
from zcd.web.fragment_versions import shown_of, version_of
from zcd.web.state import PageState
from zcd.web.workers import WorkerPool

HELD_BACK = """
window.asked = [];
window.shown = [];
const real = window.fetch;
window.fetch = async (address, how) => {
  if (!/[/]board([?]|$)/.test(address)) return real(address, how);
  window.asked.push(new URLSearchParams(String(how.body)).get("at"));
  const answer = await real(address, how);
  await new Promise((go) => setTimeout(go, 400));
  if (how.signal.aborted) throw new DOMException("given up", "AbortError");
  return answer;
};
new MutationObserver(() => {
  window.shown.push(document.querySelector("#lock").textContent);
}).observe(document.querySelector(".results"), {childList: true, subtree: true});
const slider = document.querySelector("#at");
for (const value of [90, 80, 70, 60, 50]) {
  slider.value = value;
  slider.dispatchEvent(new Event("change", {bubbles: true}));
}
"""
"""Answers come late; meanwhile a hand moves on."""
ALL = {"lock", "shown", "moving", "asks"}
GLUE_POT = """\
name = "Invented glue pot"
mains = "230 V 50 Hz"
feed = "switched"
rectifier = "1N4007"
optocoupler = "817 C"
chain = {topology = "bridge", style = "1206", resistors = ["33k", "33k", "33k", "33k", "33k"]}
output = {pull_up = "10k", supply = "5 V"}
"""
"""A large circuit: a bridge and five resistors."""
AT_ONCE = """
arguments[0].value = arguments[1];
arguments[0].dispatchEvent(new Event("input", {bubbles: true}));
"""
MOST_BYTES = 11_000
"""Of what a change sends, its headers with it: 10.8 kB where its verdict changes."""
ADD = "[aria-label='Add a row, from the feed']"


class Page:
    """A board sheet as a browser would keep it: pieces by name, each with its mark."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.marks: dict[str, str] = {}
        self.window = PageState(folder=folder).drafts.window("bench")

    def ask(self, query: str) -> dict[str, str]:
        """Ask again; what came, by name."""
        told = " ".join(f"{name}={mark}" for name, mark in self.marks.items() if mark)
        headers = [(b"hx-request", b"true"), (b"shown", told.encode())]
        scope = {
            "type": "http", "method": "POST", "path": "/job/bench/board", "query_string": b"",
            "path_params": {"name": "bench"},
        }  # fmt: skip
        # a server that knows of nothing before
        sheet = BoardPage(PageState(folder=self.folder), WorkerPool())
        said = {**START, "name": "", "at": "", **dict(parse_qsl(query)), "window": self.window}
        result = bytes(sheet.edited(Request({**scope, "headers": headers}), said).body).decode()
        heads = re.findall(r'<\w+ [^>]*hx-swap-oob="true"[^>]*>', result)
        pieces = {re.search(r'id="([^"]*)"', head)[1]: head for head in heads}
        marks = {name: re.search(r'data-mark="([^"]*)"', head) for name, head in pieces.items()}
        self.marks |= {name: mark[1] if mark else "" for name, mark in marks.items()}
        pieces.pop("way", None)  # which tells how far all is
        return pieces


def test_what_the_page_shows_already_is_not_sent(tmp_path: Path) -> None:
    page = Page(tmp_path)
    assert {name for name in page.ask("") if not name.endswith("-note")} == ALL | {"homes"}
    assert set(page.ask("")) == set()
    assert set(page.ask("at=70")) == {"lock", "moving", "shown"}  # its volts follow
    assert set(page.ask("at=70&name=Invented%20waffle%20iron")) == {"shown", "asks"}
    assert set(page.ask("at=70&output.pull_up=12k")) == ALL


def test_a_change_and_the_verdict_after_it_are_small(browser: Chrome, tmp_path: Path) -> None:
    """Also where the verdict is another, with findings of its own; and an answer in a job."""
    with serving(tmp_path, pot=GLUE_POT) as running:
        opened(browser, running.address)
        wait(browser, lambda b: "PASSES" in text(b, "#verdict"))
        received(browser)
        for pull_up, verdict in (("12k", "PASSES"), ("1k", "FAILS"), ("9k", "PASSES")):
            field = browser.find_element(By.NAME, "output.pull_up")
            browser.execute_script(AT_ONCE, field, pull_up)
            of_it = f"{pull_up[:-1]} kΩ"
            wait(browser, lambda b, w=of_it: w in text(b, "#shown svg.schematic"))
            wait(browser, lambda b, w=verdict: w in text(b, "#verdict") and _over(b))
            assert 2_000 < received(browser) < MOST_BYTES, pull_up
        (tmp_path / "job.toml").write_text('board = "pot.toml"\n', encoding="utf-8")
        browser.get(f"{running.address}job/job/readings")
        wait(browser, lambda b: b.find_elements(By.ID, "answer"))
        received(browser)
        browser.find_element(By.XPATH, "//section[@id='next']//button[text()='OL']").click()
        wait(browser, lambda b: text(b, "#taken li") and _over(b))
        assert 2_000 < received(browser) < MOST_BYTES


def _over(browser: Chrome) -> bool:
    return not browser.find_elements(By.CSS_SELECTOR, "[aria-busy=true], .htmx-request")


def received(browser: Chrome) -> float:
    """Bytes on the wire since the last time, of all but what asks if the server is there."""
    size, ours = 0.0, set()
    for entry in browser.get_log("performance"):
        event = json.loads(entry["message"])["message"]
        told = event["params"]
        if event["method"] == "Network.requestWillBeSent":
            if not told["request"]["url"].endswith("/alive"):
                ours.add(told["requestId"])
        elif event["method"] == "Network.loadingFinished" and told["requestId"] in ours:
            size += told["encodedDataLength"]
    return size


def test_an_error_is_sent_once_and_taken_back_once(tmp_path: Path) -> None:
    page, beside = Page(tmp_path), "field-output-supply-error"
    page.ask("")
    assert set(page.ask("output.supply=bananas")) == {"wrong", beside}
    assert set(page.ask("output.supply=bananas")) == set()
    assert set(page.ask("output.supply=apples")) == {beside}
    assert set(page.ask("")) == {"wrong", beside}
    assert set(page.ask("")) == set()


def test_marks() -> None:
    assert version_of("") == ""
    assert version_of("a") != version_of("b")
    marks = {"one": version_of("a"), "two": version_of("b")}
    told = " ".join(f"{name}={mark}" for name, mark in marks.items())
    assert shown_of({"shown": told}) == marks
    assert shown_of({"shown": "= x  =y z="}) == {"": "y", "x": "", "z": ""}
    assert shown_of({}) == {}


def test_of_a_hand_that_moves_on_the_latest_value_wins(browser: Chrome, server: Server) -> None:
    """While an answer is under way nothing else is asked; then only for where the hand is now."""
    opened(browser, server.new)
    browser.execute_script(HELD_BACK)
    wait(browser, lambda b: "At 115 V" in text(b, "#lock"))
    assert browser.execute_script("return window.asked") == ["90", "50"]
    volts = [
        float(re.search(r"At ([\d.]+)", words)[1])
        for words in browser.execute_script("return window.shown")
    ]
    assert volts[-1] == 115.0
    assert all(before >= after for before, after in pairwise(volts))


def test_what_is_not_as_it_was_when_asked_does_not_come_back(
    browser: Chrome, server: Server
) -> None:
    """A row is asked for while an answer without it is under way, which then counts for nothing."""
    opened(browser, server.new)
    browser.execute_script(f"{HELD_BACK} document.querySelector({ADD!r}).click()")
    wait(browser, lambda b: b.find_elements(By.NAME, "chain.resistors.4"))
    assert "At 115 V" in text(browser, "#lock")
    assert not any("At 207 V" in t for t in browser.execute_script("return window.shown"))
    type_into(browser, "chain.resistors.4", "33k")
    wait(browser, lambda b: "33 kΩ" in text(b, "#shown svg.schematic"))


def test_what_is_refused_is_told_and_the_sheet_stays(browser: Chrome, server: Server) -> None:
    """More than an address may hold; then something that fits."""
    opened(browser, server.new)
    type_long = """
    const name = document.querySelector("[name=name]");
    name.removeAttribute("maxlength");
    name.value = "x".repeat(9000);
    name.dispatchEvent(new Event("input", {bubbles: true}));
    """
    browser.execute_script(type_long)
    wait(browser, lambda b: "too long" in text(b, "#refused"))
    assert "Sync works:" in text(browser, "#lock")
    type_into(browser, "name", "Invented egg timer")
    wait(browser, lambda b: "egg timer" in text(b, "#shown h2"))
    assert text(browser, "#refused") == ""


def test_where_a_moving_hand_rests_is_kept(browser: Chrome, server: Server) -> None:
    """Sixty steps, one with each frame; a reload shows the last of them."""
    opened(browser, server.new)
    moving = """
    const done = arguments[0], slider = document.querySelector("#at");
    let steps = 0;
    const move = () => {
      slider.value = 40 + steps;
      slider.dispatchEvent(new Event("change", {bubbles: true}));
      steps += 1;
      if (steps < 60) requestAnimationFrame(move);
      else done();
    };
    move();
    """
    browser.execute_async_script(moving)
    wait(browser, lambda b: "At 228 V" in text(b, "#lock"))
    browser.refresh()
    wait(browser, lambda b: "At 228 V" in text(b, "#lock"))


def test_two_windows_on_one_board(browser: Chrome, server: Server) -> None:
    """What one typed is neither written over by the other nor lost; a reload goes on with it."""
    opened(browser, server.new)
    type_into(browser, "name", "Invented mug warmer")
    wait(browser, lambda b: "mug warmer" in text(b, "#shown h2"))
    first = browser.current_window_handle
    address = browser.current_url
    browser.switch_to.new_window("tab")
    try:
        opened(browser, address)
        type_into(browser, "output.pull_up", "33k")
        wait(browser, lambda b: "33 kΩ" in text(b, "#shown svg.schematic"))
        second = browser.current_window_handle
        browser.switch_to.window(first)
        type_into(browser, "output.supply", "3.3 V")
        wait(browser, lambda b: "another window" in text(b, "#refused"))
        browser.switch_to.window(second)
        type_into(browser, "output.pull_up", "34k")
        wait(browser, lambda b: "34 kΩ" in text(b, "#shown svg.schematic"))
        browser.close()
    finally:
        browser.switch_to.window(first)
    browser.refresh()
    wait(browser, lambda b: "34 kΩ" in text(b, "#shown svg.schematic"))
    type_into(browser, "output.supply", "3.3 V")
    wait(browser, lambda b: "3.3 V" in text(b, "#shown"))
    assert text(browser, "#refused") == ""
