"""The page in a real browser: typed into, slid, reloaded, printed, audited, listened to."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from urllib.parse import quote, urlsplit

import numpy as np
import pytest
from pypdf import PdfReader
from selenium.common.exceptions import (
    ElementNotInteractableException,
    StaleElementReferenceException,
)
from selenium.webdriver import ActionChains, Chrome, Keys
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

from tests.sampled import some
from tests.web.conftest import Server
from zcd.drawing.waveform_strip import COLUMNS
from zcd.report.text import quantity_text

AXE = Path(__file__).with_name("data") / "axe.min.js"
POLL_S = 0.1
"""How often a wait looks; selenium's half a second adds up over hundreds of waits,
and each look takes a hundredth of a second of three processes."""
FILE = """\
name = "Invented egg boiler"
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "817 C"
chain.resistors = [{value = "120k", ref = "R77"}, "91k"]
output = {pull_up = "10k", supply = "5 V"}
"""
DIMMED = "return getComputedStyle(document.querySelector('#shown svg')).opacity"
HOSTILE = '"><script>document.title="taken"</script><img src=x onerror=alert(1)>{{ 7*7 }}'


def wait(browser: Chrome, until: Callable[[Chrome], object]) -> None:
    # what was found may be replaced before it is asked
    replaced = [StaleElementReferenceException, ElementNotInteractableException]
    WebDriverWait(browser, 60, POLL_S, ignored_exceptions=replaced).until(until)


def text(browser: Chrome, selector: str) -> str:
    return str(
        browser.execute_script(f"return document.querySelector({selector!r})?.textContent ?? ''")
    )


def opened(browser: Chrome, address: str) -> None:
    browser.get(address)
    wait(browser, lambda b: text(b, "#lock"))


def go_to(browser: Chrome, step: str) -> None:
    """By keyboard, to a step of the work."""

    def pressed(b: Chrome) -> bool:
        b.find_element(By.PARTIAL_LINK_TEXT, step).send_keys(Keys.ENTER)
        return True

    wait(browser, pressed)
    wait(browser, lambda b: step in text(b, "#way [aria-current=page]"))


def printed(browser: Chrome, most: int) -> str:
    """Words on the paper: so many pages at most, and no heading left alone at the foot of one."""
    paper = {"printBackground": False, "paperWidth": 8.27, "paperHeight": 11.69}
    file = browser.execute_cdp_cmd("Page.printToPDF", paper)["data"]
    pages = [p.extract_text().strip() for p in PdfReader(BytesIO(base64.b64decode(file))).pages]
    assert 1 <= len(pages) <= most
    script = "return [...document.querySelectorAll('h2, h3, summary')].map(h => h.innerText.trim())"
    headings = set(browser.execute_script(script)) - {""}
    assert headings
    assert headings.isdisjoint(page.splitlines()[-1] for page in pages)
    return " ".join(" ".join(pages).split())


def focused(browser: Chrome) -> str | None:
    """Name of the field in which the person is."""
    return browser.execute_script("return document.activeElement.name")


@pytest.fixture
def page(browser: Chrome, server: Server) -> Chrome:
    opened(browser, server.new)
    return browser


def unfold(browser: Chrome) -> None:
    """All fields of the board, as pressing Enter on each fold would."""
    browser.execute_script(
        "document.querySelectorAll('#fields details').forEach(d => d.open = true)"
    )


def type_into(browser: Chrome, key: str, value: str) -> None:
    """By keyboard alone: to the field by its label's name, all of it replaced."""
    place = browser.find_element(By.NAME, key)
    if not place.is_displayed():
        unfold(browser)
    place.send_keys(Keys.CONTROL, "a")
    place.send_keys(value)


def type_rows(browser: Chrome, *values: str) -> None:
    """The resistors from the feed: one a row, those that are left over taken away."""
    for number, value in enumerate(values, 1):
        type_into(browser, f"chain.resistors.{number}", value)
    while browser.find_elements(By.NAME, f"chain.resistors.{len(values) + 1}"):
        left = len(browser.find_elements(By.CSS_SELECTOR, "#first [aria-label^='Remove row']"))
        last = browser.find_element(By.CSS_SELECTOR, f"#first [aria-label^='Remove row {left},']")
        last.send_keys(Keys.ENTER)
        wait(browser, lambda b, gone=left: not b.find_elements(By.NAME, f"chain.resistors.{gone}"))


def field_value(browser: Chrome, key: str) -> str | None:
    return browser.find_element(By.NAME, key).get_attribute("value")


def test_typing_redraws_the_board(page: Chrome) -> None:
    before = text(page, "#lock")
    type_rows(page, "91k", "160k", "220k")
    wait(page, lambda b: "220 kΩ" in text(b, "#shown svg.schematic"))
    assert text(page, "#lock") != before
    assert "R3" in text(page, "#shown svg.schematic")


def test_resistors_come_and_go_by_keyboard(page: Chrome) -> None:
    """A row is added, filled in where the focus then is, told more of, and taken away again."""
    add = page.find_element(By.CSS_SELECTOR, "[aria-label='Add a row, from the feed']")
    add.send_keys(Keys.ENTER)
    wait(page, lambda b: focused(b) == "chain.resistors.4")
    page.switch_to.active_element.send_keys("33k")
    wait(page, lambda b: "33 kΩ" in text(b, "#shown svg.schematic"))
    page.switch_to.active_element.send_keys(Keys.SHIFT, Keys.TAB)
    page.switch_to.active_element.send_keys("R77")
    wait(page, lambda b: "R77" in text(b, "#shown svg.schematic"))
    page.refresh()
    wait(page, lambda b: "R77" in text(b, "#shown svg.schematic"))
    remove = page.find_element(By.CSS_SELECTOR, "[aria-label='Remove row 4, from the feed']")
    remove.send_keys(Keys.ENTER)
    wait(page, lambda b: focused(b) == "chain.resistors.3")
    assert "R77" not in text(page, "#shown svg.schematic")
    page.refresh()
    assert not page.find_elements(By.NAME, "chain.resistors.4")


def test_a_code_is_read_beside_its_field(page: Chrome) -> None:
    """473: 47 x 10^3 ohm, by IEC 60062."""
    type_into(page, "output.pull_up", "473")
    wait(page, lambda b: text(b, "#field-output-pull_up-note") == "473 = 47 kΩ (chip code)")
    type_into(page, "output.pull_up", "22k")
    wait(page, lambda b: text(b, "#field-output-pull_up-note") == "")


def judged(page: Chrome) -> None:
    """Wait for the verdict, whose lines move what stands below them."""
    wait(page, lambda b: not b.find_elements(By.CSS_SELECTOR, "#asks[aria-busy]"))


def test_a_click_on_a_part_leads_to_its_field(page: Chrome) -> None:
    judged(page)
    for ref, field in (("R2", "chain.resistors.2"), ("OC1.led", "optocoupler.family")):
        page.find_element(By.CSS_SELECTOR, f".lying g.part[data-ref='{ref}'] text").click()
        assert focused(page) == field


def test_a_double_click_on_a_part_changes_it_in_place(page: Chrome) -> None:
    judged(page)
    pull_up = page.find_element(By.CSS_SELECTOR, ".lying g.part[data-ref='pull-up'] text")
    ActionChains(page).double_click(pull_up).perform()
    wait(page, lambda b: b.find_elements(By.CSS_SELECTOR, ".inplace"))
    page.switch_to.active_element.send_keys(Keys.CONTROL, "a", Keys.NULL, "33k")
    wait(page, lambda b: "33 kΩ" in text(b, "#shown svg.schematic"))
    page.switch_to.active_element.send_keys(Keys.ENTER)
    assert focused(page) == "output.pull_up"
    assert field_value(page, "output.pull_up") == "33k"
    assert not page.find_elements(By.CSS_SELECTOR, ".inplace")


def test_the_first_visit_leads_to_the_lines_of_a_traced_circuit(page: Chrome) -> None:
    """A click on a part of it leads there too; resistors in rows are none."""
    page.find_element(By.XPATH, "//button[span='traced by myself']").click()
    wait(page, lambda b: b.find_elements(By.CSS_SELECTOR, "#first textarea[name='circuit']"))
    assert field_value(page, "circuit").splitlines()[1] == "led- - neutral"
    assert not page.find_elements(By.CSS_SELECTOR, "#first .string")
    judged(page)
    page.find_element(By.CSS_SELECTOR, "#shown .lying g.part[data-ref='R2'] text").click()
    assert focused(page) == "circuit"


def test_the_first_visit_offers_circuits(page: Chrome) -> None:
    """Each of them is a board; once one is chosen, or a field filled in, they are gone."""
    names = [e.text for e in page.find_elements(By.CSS_SELECTOR, ".choose button")]
    assert len(names) == 6
    page.find_element(By.XPATH, "//button[span='a bridge']").send_keys(Keys.ENTER)
    wait(page, lambda b: "D1c" in text(b, "#shown svg.schematic"))
    assert not page.find_elements(By.CSS_SELECTOR, ".choose")


def test_an_error_stands_beside_its_field_and_goes_again(page: Chrome) -> None:
    type_into(page, "output.supply", "5 bananas")
    error = "#field-output-supply-error"
    wait(page, lambda b: "bananas" in text(b, error))
    assert page.switch_to.active_element.get_attribute("name") == "output.supply"
    assert "1 field needs correction" in text(page, "#wrong")
    assert "22 kΩ" in text(page, "#shown svg.schematic")  # what was good last
    assert page.execute_script(DIMMED) == "0.5"
    assert not page.find_element(By.ID, "go").is_displayed()
    first = page.find_element(By.CSS_SELECTOR, "#wrong a").get_attribute("hash")
    assert first == "#field-output-supply"
    described = page.find_element(By.NAME, "output.supply").get_attribute("aria-describedby")
    assert f"#{described}" == error
    type_into(page, "output.supply", "3.3 V")
    wait(page, lambda b: not text(b, error) and "3.3 V" in text(b, "#shown"))


def test_the_pulse_narrows_and_dies_as_mains_goes_down(page: Chrome) -> None:
    """By keyboard: the slider's own keys."""
    slider = page.find_element(By.ID, "at")
    assert "low for" in text(page, "#pulse")
    slider.send_keys(Keys.HOME)
    wait(page, lambda b: "At 0 V" in text(b, "#lock"))
    assert "no sync pulse" in text(page, "#pulse")
    assert "No sync" in text(page, "#lock")
    slider.send_keys(Keys.END)
    wait(page, lambda b: "At 299 V" in text(b, "#lock"))
    assert page.switch_to.active_element.get_attribute("id") == "at"


STEP = """
const [step, kind] = arguments, slider = document.getElementById("at");
slider.value = step;
slider.dispatchEvent(new Event(kind, {bubbles: true}));
"""
DRAWN = """
const text = (at) => document.querySelector(at).textContent;
const curves = [...document.querySelectorAll("#moving g.lane polyline:nth-of-type(2)")];
const numbers = (point) => point.split(",").map(Number);
return {
  words: ["#lock", "#moving .edge", "#moving .window", "#moving .lane[data-ref=mains]"].map(text),
  nodes: [...document.querySelectorAll("#shown .lying g.node text")].map((t) => t.textContent),
  lanes: curves.map((curve) => curve.getAttribute("points").split(" ").map(numbers)),
};
"""
BY_SERVER = "return 'mark' in document.getElementById('moving').dataset"


@pytest.mark.parametrize("step", some([20, 60, 117], 60))
def test_a_moving_slider_is_drawn_as_the_server_draws_it(page: Chrome, step: int) -> None:
    """In the browser while it moves; by the server where it is left."""
    page.execute_script(STEP, step, "input")
    volts = f"At {quantity_text(2.3 * step, 'V')}:"
    wait(page, lambda b: volts in text(b, "#lock"))
    there = page.execute_script(DRAWN)
    assert page.execute_script("return !('mark' in document.getElementById('moving').dataset)")
    page.execute_script(STEP, step, "change")
    wait(
        page,
        lambda b: b.execute_script("return 'mark' in document.getElementById('moving').dataset"),
    )
    told = page.execute_script(DRAWN)
    assert there["words"] == told["words"]
    assert there["nodes"] == told["nodes"]
    assert any(volts.removeprefix("At ").removesuffix(":") in node for node in told["nodes"])
    for own, other in zip(there["lanes"], told["lanes"], strict=True):
        x, y = np.transpose(own)
        assert len(x) == COLUMNS
        # half a pixel, but for the edges of the pin, which are steeper than its columns
        off = np.abs(y - np.interp(x, *np.transpose(other)))
        assert np.quantile(off, 0.95) < 0.5


def test_a_reload_shows_the_same(page: Chrome) -> None:
    type_into(page, "name", "Invented yoghurt maker")
    page.find_element(By.ID, "at").send_keys(Keys.HOME)
    wait(page, lambda b: "yoghurt" in text(b, "#shown h2") and "At 0 V" in text(b, "#lock"))
    page.refresh()
    wait(page, lambda b: "yoghurt" in text(b, "#shown h2"))
    assert "At 0 V" in text(page, "#lock")
    assert page.find_element(By.NAME, "name").get_attribute("value") == "Invented yoghurt maker"


def test_a_server_killed_and_started_again_shows_the_same(browser: Chrome, tmp_path: Path) -> None:
    """With a board file, of which it keeps what no field can show, and which it leaves alone."""
    file = tmp_path / "board.toml"
    file.write_text(FILE, encoding="utf-8")
    running = Server(tmp_path, board_file=file)
    running.start()
    try:
        opened(browser, running.address)
        assert "Invented egg boiler" in text(browser, "#shown h2")
        type_into(browser, "output.supply", "3.3 V")
        wait(browser, lambda b: "3.3 V" in text(b, "#shown"))
        running.kill()
        running.start()
        type_into(browser, "output.pull_up", "22k")
        wait(browser, lambda b: "22 kΩ" in text(b, "#shown"))
        assert "egg boiler" in text(browser, "#shown h2")
        assert "3.3 V" in text(browser, "#shown")
        assert "R77" in text(browser, "#shown svg.schematic")
        assert file.read_text(encoding="utf-8") == FILE
    finally:
        running.kill()


def test_the_way_from_sheet_to_sheet(page: Chrome) -> None:
    """By keyboard; what was typed goes along, and comes back."""
    type_into(page, "name", "Invented & odd=kettle")
    for step in ("2 Readings", "3 Repair", "1 Board"):
        go_to(page, step)
        assert text(page, "h1") == step[2:]
        assert "Invented & odd=kettle" in text(page, "#way")
    assert field_value(page, "name") == "Invented & odd=kettle"


def test_the_way_keeps_the_focus_while_it_is_written_anew(page: Chrome) -> None:
    """Who has gone on to a step by Tab goes there with Enter, whatever comes in between."""
    type_into(page, "name", "Invented milk frother")
    page.execute_script("document.getElementById('way-2').focus()")
    wait(page, lambda b: "Invented milk frother" in text(b, "#way"))
    assert page.switch_to.active_element.get_attribute("id") == "way-2"


def test_what_was_typed_last_goes_along_at_once(page: Chrome) -> None:
    """A link used right after the last key, before any answer; and back again."""
    type_into(page, "output.pull_up", "68k")
    page.execute_script("document.querySelector('#way li a[href$=\"/readings\"]').click()")
    wait(page, lambda b: "/readings" in b.current_url)
    assert "68 kΩ" in text(page, "#jobs")
    page.back()
    wait(page, lambda b: field_value(b, "output.pull_up") == "68k")


def test_a_hostile_name_stays_text(browser: Chrome, server: Server) -> None:
    opened(browser, f"{server.address}?name={quote(HOSTILE)}")
    assert text(browser, "#shown h2") == HOSTILE
    assert browser.title == "zcd: board"
    assert not browser.find_elements(By.CSS_SELECTOR, "body script, body img")
    assert browser.find_element(By.NAME, "name").get_attribute("value") == HOSTILE


def test_the_verdict_follows_the_typing(page: Chrome) -> None:
    """The last one stays, dimmed, until the next; of the example board there is none."""
    assert "An example board" in text(page, "#verdict")
    assert not page.find_element(By.ID, "go").is_displayed()
    type_into(page, "output.pull_up", "20k")
    wait(page, lambda b: "PASSES." in text(b, "#verdict"))
    assert page.find_element(By.ID, "verdict").get_attribute("class") == "verdict"
    assert "sync is lost" not in text(page, "#rules ul")
    type_into(page, "output.pull_up", "47")
    wait(page, lambda b: "47 Ω" in text(b, "#shown"))
    assert "PASSES." in text(page, "#verdict")
    assert page.find_elements(By.CSS_SELECTOR, "#asks[aria-busy]")
    wait(page, lambda b: "FAILS: " in text(b, "#verdict"))
    assert "not" in str(page.find_element(By.ID, "verdict").get_attribute("class")).split()
    assert "the pull-up" in text(page, "#advice")
    for piece in ("#advice", "#rules"):
        assert not re.search(r"zcd \w|--\w", text(page, piece))  # which is no place for a command
    assert "sync is lost" in text(page, "#rules ul")
    wait(page, lambda b: "fails" in text(b, "#way [aria-current]"))
    type_into(page, "output.pull_up", "heavy")
    wait(page, lambda b: "correction" in text(b, "#wrong"))
    assert "FAILS: " in text(page, "#verdict")  # as it was


def test_all_is_reached_by_keyboard_and_has_a_label(page: Chrome) -> None:
    """Each field and button in turn with the tabulator key; each has a name for a screen reader."""
    page.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")
    wanted = page.find_elements(By.CSS_SELECTOR, "#fields input, select, main button, summary, #at")
    assert all(element.accessible_name for element in wanted)
    page.execute_script(
        "document.activeElement.blur(); window.reached = [];"
        "document.addEventListener('focusin', e => window.reached.push(e.target))"
    )
    tabs = ActionChains(page, duration=0)
    for _ in range(len(wanted) + 30):
        tabs.send_keys(Keys.TAB)
    tabs.perform()
    reached = {element.id for element in page.execute_script("return window.reached")}
    assert {element.id for element in wanted} <= reached


@pytest.mark.parametrize(
    ("width", "scheme"), [pytest.param(1280, "light", marks=pytest.mark.slow), (390, "dark")]
)
def test_accessibility_audit(browser: Chrome, server: Server, width: int, scheme: str) -> None:
    """axe-core, all its rules, at two widths, one in the light, one in the dark; with an error."""
    media = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", media)
    browser.set_window_size(width, 900)
    try:
        for typed in ({}, {"output__supply": "nothing"}):
            browser.get(server.step("audited", "board", **typed))
            browser.execute_script(AXE.read_text(encoding="utf-8"))
            result = browser.execute_async_script("axe.run().then(arguments[0])")
            assert [(v["id"], v["help"]) for v in result["violations"]] == []
            wide = browser.execute_script("return document.documentElement.scrollWidth")
            assert wide <= browser.execute_script("return window.innerWidth")
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
        browser.set_window_size(1280, 1000)


def test_the_first_stop_leads_to_the_answers(page: Chrome) -> None:
    page.execute_script("document.activeElement.blur(); scrollTo(0, 0)")
    ActionChains(page).send_keys(Keys.TAB, Keys.ENTER).perform()
    wait(page, lambda b: b.switch_to.active_element.get_attribute("id") == "verdict")


def test_it_prints(page: Chrome) -> None:
    type_into(page, "name", "Invented waffle iron")
    wait(page, lambda b: "rules" in text(b, "#verdict"))
    page.execute_script("document.querySelectorAll('#fields details').forEach(d => d.open = false)")
    words = printed(page, most=7)
    assert "Save as" not in words
    assert "Pull-up" in words
    assert "Pull-down" not in words  # nothing was said of it
    assert "mains, LIVE" in words


def test_no_host_but_loopback_and_no_complaint(page: Chrome, server: Server) -> None:
    """The browser's own log of all the session."""
    type_into(page, "output.pull_up", "15k")
    wait(page, lambda b: "15 kΩ" in text(b, "#shown"))
    hosts = set()
    for entry in page.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            hosts.add(urlsplit(message["params"]["request"]["url"]).hostname)
    assert hosts <= {"127.0.0.1", None}
    assert "127.0.0.1" in hosts
    refused = [e["message"] for e in page.get_log("browser") if "Security Policy" in e["message"]]
    assert refused == []
