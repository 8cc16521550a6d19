"""An answer holds only what differs from what the page shows; a late one overwrites nothing."""

from __future__ import annotations

import re
from itertools import pairwise

from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from starlette.requests import Request

from tests.web.conftest import Server
from tests.web.test_page import opened, text, type_into, wait
from zcd.web.board_page import BoardPage
from zcd.web.fragment_versions import shown_of, version_of
from zcd.web.state import PageState
from zcd.web.workers import WorkerPool

HELD_BACK = """
window.asked = [];
window.shown = [];
const real = window.fetch;
window.fetch = async (address, how) => {
  if (!address.startsWith("/?")) return real(address, how);
  window.asked.push(new URLSearchParams(address.slice(1)).get("at"));
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
  slider.dispatchEvent(new Event("input", {bubbles: true}));
}
"""
"""Answers come late; meanwhile a hand moves on."""
ALL = {"lock", "shown", "moving", "verdict"}
ADD = "[aria-label='Add a row, from the feed']"


class Page:
    """A board sheet as a browser would keep it: pieces by name, each with its mark."""

    def __init__(self) -> None:
        self.marks: dict[str, str] = {}

    def ask(self, query: str) -> dict[str, str]:
        """Ask again; what came, by name."""
        told = " ".join(f"{name}={mark}" for name, mark in self.marks.items() if mark)
        headers = [(b"hx-request", b"true"), (b"shown", told.encode())]
        scope = {"type": "http", "method": "GET", "path": "/", "query_string": query.encode()}
        sheet = BoardPage(PageState(), WorkerPool())  # a server that knows of nothing before
        result = bytes(sheet.page(Request({**scope, "headers": headers})).body).decode()
        heads = re.findall(r'<\w+ [^>]*hx-swap-oob="true"[^>]*>', result)
        pieces = {re.search(r'id="([^"]*)"', head)[1]: head for head in heads}
        marks = {name: re.search(r'data-mark="([^"]*)"', head) for name, head in pieces.items()}
        self.marks |= {name: mark[1] if mark else "" for name, mark in marks.items()}
        del pieces["way"]  # which carries all that was typed
        return pieces


def test_what_the_page_shows_already_is_not_sent() -> None:
    page = Page()
    assert set(page.ask("")) == ALL
    assert set(page.ask("")) == set()
    assert set(page.ask("at=70")) == {"lock", "moving"}
    assert set(page.ask("at=70&name=Invented%20waffle%20iron")) == {"shown", "verdict"}
    assert set(page.ask("at=70&output.pull_up=12k")) == ALL


def test_an_error_is_sent_once_and_taken_back_once() -> None:
    page, beside = Page(), "field-output-supply-error"
    page.ask("")
    assert set(page.ask("output.supply=bananas")) == {"lock", beside}
    assert set(page.ask("output.supply=bananas")) == set()
    assert set(page.ask("output.supply=apples")) == {beside}
    assert set(page.ask("")) == {"lock", beside}
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
    opened(browser, server.address)
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
    opened(browser, server.address)
    browser.execute_script(f"{HELD_BACK} document.querySelector({ADD!r}).click()")
    wait(browser, lambda b: b.find_elements(By.NAME, "chain.resistors.2"))
    assert "At 115 V" in text(browser, "#lock")
    assert not any("At 207 V" in t for t in browser.execute_script("return window.shown"))
    type_into(browser, "chain.resistors.2", "33k")
    wait(browser, lambda b: "33 kΩ" in text(b, "#shown svg.schematic"))


def test_what_is_refused_is_told_and_the_sheet_stays(browser: Chrome, server: Server) -> None:
    """More than an address may hold; then something that fits."""
    opened(browser, server.address)
    type_long = """
    const name = document.querySelector("[name=name]");
    name.removeAttribute("maxlength");
    name.value = "x".repeat(9000);
    name.dispatchEvent(new Event("input", {bubbles: true}));
    """
    browser.execute_script(type_long)
    wait(browser, lambda b: "too long" in text(b, "#refused"))
    assert "Sync: pass." in text(browser, "#lock")
    type_into(browser, "name", "Invented egg timer")
    wait(browser, lambda b: "egg timer" in text(b, "#shown h2"))
    assert text(browser, "#refused") == ""


def test_a_moving_hand_leaves_the_address_of_where_it_rests(
    browser: Chrome, server: Server
) -> None:
    """A browser refuses a page that renames itself all the time: 200 times in ten seconds."""
    opened(browser, server.address)
    moving = """
    const done = arguments[0], slider = document.querySelector("#at"), at = [];
    const real = history.replaceState.bind(history);
    history.replaceState = (...what) => {
      if (what[2].includes("at=")) at.push(performance.now());
      real(...what);
    };
    let steps = 0;
    const move = () => {
      slider.value = 40 + 0.5 * steps;
      slider.dispatchEvent(new Event("input", {bubbles: true}));
      steps += 1;
      if (steps < 60) requestAnimationFrame(move);
      else done(at);
    };
    window.renamed = at;
    move();
    """
    browser.execute_async_script(moving)
    wait(browser, lambda b: "at=69.5" in b.current_url)
    assert "At 160 V" in text(browser, "#lock")
    named = browser.execute_script("return window.renamed")
    assert len(named) >= 2
    assert all(after - before >= 99.0 for before, after in pairwise(named))
