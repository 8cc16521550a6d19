"""The whole job in a real browser, by keyboard: from the first field to the closed job."""

from __future__ import annotations

import tomllib
from io import BytesIO
from pathlib import Path
from urllib.request import Request, urlopen

import numpy as np
import pytest
from pypdf import PdfReader
from selenium.webdriver import Chrome, Keys
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select

from tests.web.conftest import Server
from tests.web.test_page import go_to, opened, text, type_into, type_rows, wait
from zcd.board.files import load_board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.faults import faults_of
from zcd.diagnosis.job import load_job
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.reading_syntax import parse_place, show_value

NAME = "invented-bread-slicer"
DRAWER = """\
name = "Tin"
resistors = [{values = ["62k", "68k"], style = "1206", tolerance = "1 %"}]
"""


def shows(browser: Chrome, selector: str, words: str) -> None:
    """Until it says so."""
    wait(browser, lambda b: words in text(b, selector))


def press(browser: Chrome, words: str) -> None:
    browser.find_element(By.XPATH, f"//button[text()='{words}']").send_keys(Keys.ENTER)


def test_a_whole_job_by_keyboard(browser: Chrome, server: Server) -> None:
    """R12 open: found, replaced from the drawer, read again, reported, closed."""
    (server.folder / "drawer.toml").write_text(DRAWER, encoding="utf-8")
    file = server.folder / f"{NAME}-job.toml"
    opened(browser, server.new)
    describe_the_board(browser)
    go_to(browser, "2 Readings")
    browser.find_element(By.ID, "name").send_keys(Keys.ENTER)
    shows(browser, "#conclusion", " ")
    board = file.with_name(f"{NAME}-board.toml")
    assert [r.ref for r in load_board(board).chains[0]] == ["R11", "R12"]
    find_the_fault(browser, file, "R12")
    assert browser.switch_to.active_element.text == "Replace R12"
    browser.switch_to.active_element.send_keys(Keys.ENTER)
    fit_the_part(browser)
    assert load_board(board).chains[0][1].resistance_ohm == 130e3
    read_again(browser)
    keep_the_readings(browser, file)
    report(browser)
    close_the_job(browser, file)


def describe_the_board(browser: Chrome) -> None:
    type_into(browser, "name", "Invented bread slicer")
    browser.find_element(By.NAME, "feed.kind").send_keys("switched")
    browser.find_element(By.CSS_SELECTOR, "#rest > summary").send_keys(Keys.ENTER)
    browser.find_element(By.NAME, "chain.style").send_keys("1206")
    type_rows(browser, "110k", "130k")
    type_into(browser, "chain.resistors.1.ref", "R11")
    type_into(browser, "chain.resistors.2.ref", "R12")
    type_into(browser, "output.pull_up", "47k")
    shows(browser, "#shown svg.schematic", "47 kΩ")
    shows(browser, "#shown svg.schematic", "R12")


def asked_for(browser: Chrome) -> str:
    """The reading on the card, as one would write it; empty where none is asked for."""
    script = "return document.querySelector('#next input[name=at]')?.value ?? ''"
    return str(browser.execute_script(script))


def focused_id(browser: Chrome) -> str:
    return str(browser.execute_script("return document.activeElement.id"))


def find_the_fault(browser: Chrome, file: Path, open_part: str) -> None:
    """Every reading that is asked for answered as a board with that part open would read."""
    board = load_job(file).board
    circuit = build_circuit(board)
    fault = next(f for f in faults_of(circuit) if f.key == f"{open_part} open")
    faulty = MeterModel(board, fault.edit(circuit, np.array([0.5])), usual_meter())
    for _ in range(8):
        if not (at := asked_for(browser)):
            break
        assert focused_id(browser) == "answer"
        reading = parse_place(at, circuit)
        shown = show_value(reading.function, float(faulty.read([reading])[0, 0]))
        browser.switch_to.active_element.send_keys(shown, Keys.ENTER)
        wait(browser, lambda b, old=at: asked_for(b) != old)
        assert text(browser, "#error-next") == ""
    assert f"{open_part} open" in text(browser, "#stand .ranked tbody tr")
    assert f"{open_part} is open (" in text(browser, "#next .found")
    assert "open" in text(browser, "#drawn svg.schematic")


def fit_the_part(browser: Chrome) -> None:
    shows(browser, "#drawer", "Fit R12 130 kΩ 5 % 1206, as printed")
    browser.find_element(By.NAME, "drawer").send_keys("drawer.toml")
    shows(browser, "#drawer", "Alternatives from Tin")
    fit = browser.find_element(By.XPATH, "//button[contains(., '68 kΩ + 62 kΩ, each 1206')]")
    fit.send_keys(Keys.ENTER)
    shows(browser, "#repair", "R12: 130 kΩ 5 % 1206 replaced by 68 kΩ 1 % 1206 + 62 kΩ 1 % 1206")
    shows(browser, "#hold .verdict", "PASSES.")


def read_again(browser: Chrome) -> None:
    """A line that cannot be read is told; what was typed outlasts a reload."""
    other = browser.find_element(By.XPATH, "//summary[text()='Other readings after the repair']")
    other.send_keys(Keys.ENTER)
    after = browser.find_element(By.NAME, "after")
    after.send_keys("ohm R12 68k", Keys.ENTER, "low time much")
    shows(browser, "#after-error", "low time much")
    after.send_keys(Keys.SHIFT, Keys.HOME)
    after.send_keys(Keys.DELETE, "low time 9.56 ms")
    browser.find_element(By.NAME, "take:dc pin logic0").send_keys("2,66")
    shows(browser, "#step-3", "✓ good: 2")
    shows(browser, "#again", "From the measured low time")
    assert text(browser, "#after-error") == ""
    browser.refresh()
    shows(browser, "#again", "From the measured low time")


def keep_the_readings(browser: Chrome, file: Path) -> None:
    browser.find_element(By.NAME, "by").send_keys("An inventor")
    type_into(browser, "replaced", "R12 68k + 62k")
    press(browser, "Save the retest")
    shows(browser, "#again", f"Kept in {file.name}")
    (record,) = load_job(file).retests
    assert (record.by, record.replaced, record.board) == (
        "An inventor", ("R12 68k + 62k",), f"{NAME}-repaired.toml",
    )  # fmt: skip
    repaired = load_board(file.with_name(str(record.board)))
    assert [r.resistance_ohm for r in repaired.chains[0]] == [110e3, 68e3, 62e3]


def report(browser: Chrome) -> None:
    wait(browser, lambda b: b.switch_to.active_element.text == "Close the job")
    press(browser, "Report as PDF")
    shows(browser, "#report", "Save the report (PDF)")
    address = browser.find_element(By.CSS_SELECTOR, "#report a").get_attribute("href")
    assert address is not None
    cookies = "; ".join(f"{each['name']}={each['value']}" for each in browser.get_cookies())
    with urlopen(Request(address, headers={"Cookie": cookies})) as answer:
        assert "attachment" in answer.headers["Content-Disposition"]
        words = " ".join(page.extract_text() for page in PdfReader(BytesIO(answer.read())).pages)
    assert "An inventor" in words
    assert "62 kΩ" in words


def close_the_job(browser: Chrome, file: Path) -> None:
    """Another program has written meanwhile: told, and closed only when asked again."""
    theirs = file.read_text(encoding="utf-8") + "# theirs\n"
    file.write_text(theirs, encoding="utf-8")
    shows(browser, "#end", "What it was")
    type_into(browser, "repair", "R12 renewed")
    press(browser, "Close the job")
    shows(browser, "#end", "changed by another program")
    assert file.read_text(encoding="utf-8") == theirs
    wait(browser, lambda b: b.find_elements(By.NAME, "found"))
    chosen = Select(browser.find_element(By.NAME, "found")).first_selected_option
    assert chosen.text == "R12 open"
    press(browser, "Close the job")
    shows(browser, "#end", "it was: R12 open. Repair: R12 renewed.")
    text_now = file.read_text(encoding="utf-8")
    assert tomllib.loads(text_now)["found"] == "R12 open"
    assert text_now.endswith("# theirs\n")


TRACED = "feed - R1 47k - R2 47k - D1 1N4007 > - led+\nled- - R3 47k - neutral"


@pytest.mark.slow
def test_a_circuit_traced_by_oneself_through_the_whole_job(browser: Chrome, server: Server) -> None:
    """R3, in the other leg, is open: found, replaced as printed, read again, closed."""
    file = server.folder / "invented-soup-kettle-job.toml"
    opened(browser, server.new)
    browser.find_element(By.XPATH, "//button[span='traced by myself']").send_keys(Keys.ENTER)
    wait(browser, lambda b: b.find_elements(By.CSS_SELECTOR, "#first [name='circuit']"))
    type_into(browser, "circuit", TRACED)
    shows(browser, "#shown svg.schematic", "47 kΩ")
    type_into(browser, "name", "Invented soup kettle")
    shows(browser, "#shown svg.schematic", "R3")
    shows(browser, "#verdict", ".")
    go_to(browser, "2 Readings")
    browser.find_element(By.ID, "name").send_keys(Keys.ENTER)
    shows(browser, "#conclusion", " ")
    board = load_board(file.with_name("invented-soup-kettle-board.toml"))
    assert board.traced is not None
    find_the_fault(browser, file, "R3")
    browser.switch_to.active_element.send_keys(Keys.ENTER)
    shows(browser, "#drawer", "Fit R3 47 kΩ")
    browser.switch_to.active_element.send_keys(Keys.ENTER)
    shows(browser, "#hold .verdict", "PASSES")
    circuit = build_circuit(board)
    good = MeterModel(board, circuit, usual_meter())
    for field in browser.find_elements(By.CSS_SELECTOR, ".repeat input"):
        reading = parse_place((field.get_attribute("name") or "").partition(":")[2], circuit)
        field.send_keys(show_value(reading.function, float(good.read([reading])[0, 0])))
    browser.find_element(By.XPATH, "//summary[text()='Other readings after the repair']").click()
    type_into(browser, "after", "frequency 50 Hz\nohm led- led+ OL\nohm led+ R2/D1 OL")
    shows(browser, "#again", "PASSES")
    press(browser, "Save the retest")
    shows(browser, "#again", f"Kept in {file.name}")
    wait(browser, lambda b: b.switch_to.active_element.text == "Close the job")
    press(browser, "Close the job")
    shows(browser, "#end", "it was: R3 open")
    assert tomllib.loads(file.read_text(encoding="utf-8"))["found"] == "R3 open"
