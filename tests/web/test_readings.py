"""The readings sheet in a real browser: by keyboard, interrupted in every way."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from time import sleep
from urllib.parse import urlsplit

import numpy as np
import pytest
from selenium.webdriver import Chrome, Keys
from selenium.webdriver.common.by import By

from tests.diagnosis.boards import board
from tests.web.conftest import Server, serving
from tests.web.test_page import AXE, HOSTILE, printed, text, wait
from zcd.circuit.build import build_circuit
from zcd.diagnosis.functions import Function
from zcd.diagnosis.job import load_job
from zcd.diagnosis.reading_syntax import parse_place, parse_shown, show_measured
from zcd.web.readings_view import EXAMPLES

BOARD = f"""\
name = {json.dumps(HOSTILE)}
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "817 C"
chain.resistors = [{{value = "120k", ref = "R12"}}, {{value = "120k", ref = "R13"}}]
output = {{pull_up = "10k", supply = "5 V"}}
"""
SLOWLY = """
const asks = window.fetch;
window.fetch = async (...all) => {
  const response = await asks(...all);
  window.asked = true;
  await new Promise((over) => setTimeout(over, 1000));
  return response;
};
"""
"""Answers that a page asks for come a second late."""
OTHER = """
[[readings]]
function = "dc"
red = "logic+"
black = "logic0"
value = "5.01 V"
"""


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server with a board file in a folder of its own."""
    with serving(tmp_path_factory.mktemp("bench"), toaster=BOARD) as running:
        yield running


@pytest.fixture
def job(browser: Chrome, bench: Server) -> Path:
    """A job begun on the page by keyboard."""
    browser.get(bench.address + "readings")
    begin = browser.find_element(By.ID, "name")
    name = begin.get_attribute("value")
    begin.send_keys(Keys.ENTER)
    wait(browser, lambda b: text(b, "#conclusion"))
    return bench.folder / f"{name}.toml"


def kept(job: Path) -> list[str]:
    """What stands in the job file."""
    return [show_measured(m) for m in load_job(job).measured]


def type_at(browser: Chrome, at: str, shown: str, then: str = Keys.ENTER) -> None:
    """By keyboard, in the line of a reading."""
    browser.execute_script("document.getElementById('all').open = true")
    field = browser.find_element(By.CSS_SELECTOR, f'.line input[data-at="{at}"]')
    field.send_keys(Keys.CONTROL, "a", Keys.NULL, shown, then)


def sent_to(browser: Chrome, end: str) -> int:
    """How many requests went to addresses with this end since the browser's log was read last."""
    sent = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [m["params"] for m in sent if m["method"] == "Network.requestWillBeSent"]
    return sum(params["request"]["url"].endswith(end) for params in asked)


def test_readings_typed_one_after_another_are_all_kept(browser: Chrome, job: Path) -> None:
    """With the tabulator key, faster than the answers come; then changed, emptied, taken back."""
    type_at(browser, "ohm line chain.1", "120 k", Keys.TAB)
    type_at(browser, "ohm chain.1 chain.2", "12k", Keys.TAB)
    type_at(browser, "ohm logic+ pin", "about 10k", Keys.TAB)
    wait(browser, lambda b: text(b, "#taken li:nth-child(3)"))
    assert kept(job) == ["120 kΩ", "12 kΩ", "about 10 kΩ"]
    assert "12 kΩ" in text(browser, "#drawn svg")
    assert "R13" in text(browser, "#stand .ranked tbody tr")
    type_at(browser, "ohm chain.1 chain.2", "<200k")
    wait(browser, lambda b: "under 200 kΩ" in text(b, "#taken"))
    type_at(browser, "ohm logic+ pin", Keys.DELETE)
    wait(browser, lambda b: "about" not in text(b, "#taken"))
    assert kept(job) == ["120 kΩ", "12 kΩ", "under 200 kΩ"]
    browser.find_element(By.ID, "undo").send_keys(Keys.ENTER)
    wait(browser, lambda b: "under 200" not in text(b, "#taken"))
    assert kept(job) == ["120 kΩ", "12 kΩ"]
    words = printed(browser, most=4)
    assert "ohms, R12 red line, black between R12 and " in words
    for screen in ("Add this reading", "Remove the last answer", "Enter", "oscilloscope's capture"):
        assert screen not in words


def test_what_is_typed_before_the_answer_comes_is_not_lost(browser: Chrome, job: Path) -> None:
    """The next reading's field has it, and no more; what was sent is what stood there then."""
    browser.execute_script(SLOWLY)
    field = browser.find_element(By.ID, "answer")
    field.send_keys("120 k", Keys.ENTER)
    wait(browser, lambda b: b.execute_script("return window.asked"))
    field.send_keys("4.9")
    wait(browser, lambda b: text(b, "#taken li"))
    now = browser.switch_to.active_element
    assert now != field
    assert (now.get_attribute("id"), now.get_attribute("value")) == ("answer", "4.9")
    now.send_keys("8 V")
    assert now.get_attribute("value") == "4.98 V"
    assert kept(job) == ["120 kΩ"]


@pytest.mark.parametrize(
    ("at", "shown", "same"), [("ohm logic+ pin", "10k", True), ("", "", False)]
)
def test_what_is_typed_while_another_answer_comes(
    browser: Chrome, job: Path, at: str, shown: str, same: bool
) -> None:
    """Kept if the same reading is still asked for; never put into the field of another."""
    asked = "return document.querySelector('#next [name=at]').value"
    before = browser.execute_script(asked)
    browser.execute_script(SLOWLY)
    type_at(browser, at or before, shown or "120 k", Keys.TAB)
    wait(browser, lambda b: b.execute_script("return window.asked"))
    browser.find_element(By.ID, "answer").send_keys("0.5")
    wait(browser, lambda b: text(b, "#taken li"))
    assert (browser.execute_script(asked) == before) is same
    now = browser.switch_to.active_element
    assert (now.get_attribute("id"), now.get_attribute("value")) == ("answer", "0.5" * same)


def test_an_error_stands_beside_its_field(browser: Chrome, job: Path) -> None:
    type_at(browser, "ohm line chain.1", "heavy")
    wait(browser, lambda b: 'found "heavy"' in text(b, ".line .error:not(:empty)"))
    assert browser.switch_to.active_element.get_attribute("name") == "say"
    another = browser.find_element(By.ID, "another")
    another.send_keys("ohm R99 5k", Keys.ENTER)
    wait(browser, lambda b: "R99" in text(b, "#error-another"))
    assert kept(job) == []
    browser.execute_script("document.getElementById('everything').open = true")
    meter = browser.find_element(By.CSS_SELECTOR, ".meter summary")
    meter.send_keys(Keys.ENTER)
    browser.find_element(By.ID, "meter-dc_input").send_keys("soft", Keys.ENTER)
    wait(browser, lambda b: 'found "soft"' in text(b, "#error-meter-dc_input"))


def test_flags_skipping_and_the_way_back(browser: Chrome, job: Path) -> None:
    browser.find_element(By.ID, "skip").send_keys(Keys.ENTER)
    wait(browser, lambda b: "cannot be reached" in text(b, "#taken"))
    browser.execute_script("document.getElementById('everything').open = true")
    browser.get_log("performance")  # what was asked until here
    field = browser.find_element(By.ID, "flags")
    field.send_keys("smoke", Keys.ENTER)
    wait(browser, lambda b: 'found "smoke"' in text(b, "#error-flags"))
    assert field.get_attribute("value") == "smoke"
    field.send_keys(Keys.CONTROL, "a", Keys.NULL, "sync=F3 fan=F5", Keys.ENTER)
    wait(browser, lambda b: text(b, "#error-flags") == "")
    assert load_job(job).flags == ("sync", "fan")
    assert field.get_attribute("value") == "sync=F3 fan=F5"
    # Enter sends once, and the page stays where it is
    assert text(browser, "#told") == ""
    assert browser.current_url.endswith("/readings")
    assert sent_to(browser, "/flags") == 2
    field.send_keys(Keys.CONTROL, "a", Keys.NULL, "sync", Keys.TAB)
    wait(browser, lambda b: load_job(job).flags == ("sync",))
    browser.refresh()
    wait(browser, lambda b: text(b, "#conclusion"))
    assert browser.find_element(By.ID, "flags").get_attribute("value") == "sync=F3"
    assert len(load_job(job).skipped) == 1


def test_a_capture_is_taken_as_readings_and_drawn_over_the_model(
    browser: Chrome, job: Path, tmp_path: Path
) -> None:
    """Low for 9 ms of each 20 ms, as written into the file here."""
    time = np.arange(0.0, 0.1, 2e-5)
    volts = np.where(time % 0.02 < 0.009, 0.2, 5.0)
    rows = "".join(f"{t:.5f},{v:.2f}\n" for t, v in zip(time, volts, strict=True))
    scope = tmp_path / "scope.csv"
    scope.write_text("time (s),pin (V)\n" + rows, encoding="utf-8")
    wrong = tmp_path / "<b>.csv"
    wrong.write_text("no numbers", encoding="utf-8")
    browser.execute_script("document.getElementById('everything').open = true")
    browser.find_element(By.ID, "capture").send_keys(str(wrong))
    wait(browser, lambda b: "<b>.csv: found 1 lines" in text(b, "#error-capture"))
    browser.find_element(By.ID, "capture").send_keys(str(scope))
    wait(browser, lambda b: text(b, "#captured svg.capture"))
    low = next(m for m in load_job(job).measured if m.reading.function is Function.LOW_TIME)
    assert low.value == pytest.approx(9e-3, abs=2e-5)
    assert kept(job)[0] == "50 Hz"
    copy = job.with_name(f"{job.stem}-capture.csv")
    assert copy.read_bytes() == scope.read_bytes()


def test_server_killed_and_page_reloaded_in_mid_job(
    browser: Chrome, bench: Server, job: Path
) -> None:
    type_at(browser, "ohm line chain.1", "OL")
    wait(browser, lambda b: "OL" in text(b, "#taken"))
    bench.kill()
    type_at(browser, "ohm logic+ pin", "10k")
    wait(browser, lambda b: "No answer from zcd" in text(b, "#unreached"))
    bench.start()
    type_at(browser, "ohm logic+ pin", "10.1k")
    wait(browser, lambda b: "10.1 kΩ" in text(b, "#taken"))
    assert text(browser, "#unreached") == ""
    browser.refresh()
    wait(browser, lambda b: "10.1 kΩ" in text(b, "#taken"))
    assert kept(job) == ["OL", "10.1 kΩ"]
    assert "R12 open" in text(browser, "#stand .ranked tbody tr")


def test_one_writer(browser: Chrome, job: Path) -> None:
    """Another program writes meanwhile: told, shown, nothing of it overwritten."""
    type_at(browser, "ohm line chain.1", "120k")
    wait(browser, lambda b: text(b, "#taken li"))
    theirs = job.read_text(encoding="utf-8") + OTHER
    job.write_text(theirs, encoding="utf-8")
    type_at(browser, "ohm logic+ pin", "10k")
    wait(browser, lambda b: "changed by another program" in text(b, "#told"))
    assert "Not saved: ohm logic+ pin 10k" in text(browser, "#told")
    assert job.read_text(encoding="utf-8") == theirs
    assert "5.01 V" in text(browser, "#taken")
    type_at(browser, "ohm logic+ pin", "10k")
    wait(browser, lambda b: text(b, "#taken li:nth-child(3)"))
    assert kept(job) == ["120 kΩ", "5.01 V", "10 kΩ"]
    assert text(browser, "#told") == ""


def test_past_jobs_are_found_and_shift_what_is_likely(
    browser: Chrome, bench: Server, job: Path
) -> None:
    past = bench.folder / "past-job.toml"
    past.write_text(
        'board = "toaster.toml"\nfound = "R13 open"\nkind = "resistor open"\n'
        "closed = 2026-01-05\nnote = 'crumbs'\n",
        encoding="utf-8",
    )
    try:
        browser.get(bench.step(job.stem, "readings", output__pull_up="22k"))
        wait(browser, lambda b: "1 closed job " in text(b, "#record-words"))
        before = text(browser, "#stand .ranked tbody")
        browser.execute_script("document.getElementById('everything').open = true")
        browser.find_element(By.ID, "record").send_keys("they count")
        wait(browser, lambda b: "handbooks alone" in text(b, "#record-words"))
        assert text(browser, "#stand .ranked tbody") != before
        kept = json.loads((bench.folder / f"{job.stem}.draft").read_text(encoding="utf-8"))
        assert kept["texts"] == {"output.pull_up": "22k", "record": "off"}
        browser.get(bench.address + "jobs")
        browser.find_element(By.ID, "find").send_keys("crumbs")
        wait(browser, lambda b: "1 of " in text(b, "#listed"))
        browser.find_element(By.LINK_TEXT, "past-job.toml").send_keys(Keys.ENTER)
        wait(browser, lambda b: "Closed on 2026-01-05 as R13 open" in text(b, ".notice"))
        wait(browser, lambda b: text(b, ".found"))
    finally:
        past.unlink()


@pytest.mark.parametrize("scheme", ["light", pytest.param("dark", marks=pytest.mark.slow)])
def test_audit_widths_and_what_is_loaded(browser: Chrome, job: Path, scheme: str) -> None:
    """axe-core, all its rules, on the list and in a job; a hostile name stays text."""
    media = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", media)
    try:
        type_at(browser, "ohm line chain.1", "heavy")
        wait(browser, lambda b: text(b, ".line .error:not(:empty)"))
        browser.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")
        for width in (1400, 820, 390):
            browser.set_window_size(width, 900)
            wide = browser.execute_script("return document.documentElement.scrollWidth")
            assert wide <= browser.execute_script("return window.innerWidth")
        browser.execute_script(AXE.read_text(encoding="utf-8"))
        result = browser.execute_async_script("axe.run().then(arguments[0])")
        assert [(v["id"], v["help"]) for v in result["violations"]] == []
        assert HOSTILE in text(browser, "#way .about")
        assert not browser.find_elements(By.CSS_SELECTOR, "body script, body img")
        browser.find_element(By.LINK_TEXT, "Other jobs").click()
        browser.execute_script(AXE.read_text(encoding="utf-8"))
        result = browser.execute_async_script("axe.run().then(arguments[0])")
        assert [(v["id"], v["help"]) for v in result["violations"]] == []
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
        browser.set_window_size(1280, 1000)
    sleep(0.1)
    sent = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [m for m in sent if m["method"] == "Network.requestWillBeSent"]
    hosts = {urlsplit(m["params"]["request"]["url"]).hostname for m in asked}
    assert hosts <= {"127.0.0.1", None}
    refused = [e["message"] for e in browser.get_log("browser") if "Security Pol" in e["message"]]
    assert refused == []


@pytest.mark.parametrize("place", ["ohm R1", "diode led+ led-", "dc pin logic0", "ac feed neutral"])
def test_the_example_in_the_answer_field_would_be_taken(place: str) -> None:
    circuit = build_circuit(board("switched"))
    reading = parse_place(place, circuit)
    example = EXAMPLES[reading.function.row.method]
    assert parse_shown(example, reading, circuit=circuit).value > 0.0
