"""The repair sheet in a real browser: its map and story, audited, printed, its server gone."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium.webdriver import Chrome, Keys
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

from tests.web.conftest import Server, serving
from tests.web.test_page import AXE, POLL_S, printed

BOARD = """\
name = "Invented <b>bread</b> slicer"
mains = "230 V 50 Hz"
feed = "switched"
rectifier = "1N4007"
optocoupler = "817 C"
chain.resistors = [{value = "91k", ref = "R11"}, {value = "160k", ref = "R12"}]
chain.style = "1206"
output = {pull_up = "47k", supply = "5 V"}
"""
JOB = """\
# kept by hand
board = "slicer.toml"
flags = ["sync", "fan"]

[[readings]]
function = "dc"
value = "4.21 V"

[[readings]]
function = "ohm"
over = "R12"
value = "2.14M"
"""


def text(browser: Chrome, selector: str) -> str:
    script = "return document.querySelector(arguments[0])?.textContent ?? ''"
    return str(browser.execute_script(script, selector))


def wait(browser: Chrome, selector: str, words: str, seconds: float = 60.0) -> None:
    """Until it says so; long work takes its time on a busy machine."""
    WebDriverWait(browser, seconds, POLL_S).until(lambda b: words in text(b, selector))


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Server, Path]]:
    """A server with a board, and a job about it."""
    files = {"slicer": BOARD, "slicer-job": JOB}
    with serving(tmp_path_factory.mktemp("bench"), **files) as running:
        yield running, running.folder


def test_map_story_and_years_of_a_board_without_a_job(
    browser: Chrome, bench: tuple[Server, Path]
) -> None:
    server, _ = bench
    browser.get(server.step("slicer", "repair", up="temperature", cause="R12 open"))
    browser.execute_script("document.getElementById('more').open = true")
    browser.execute_script("document.getElementById('story').scrollIntoView()")
    wait(browser, "#story", "The sync fault alone explains the fan flag")
    browser.execute_script("document.getElementById('map').scrollIntoView()")
    wait(browser, "#map", "How far the board is from losing sync")
    assert "temperature" in text(browser, "#map table")
    assert "There is no job" in text(browser, "#end")
    assert not browser.find_elements(By.CSS_SELECTOR, "#repair b, #repair script")
    refused = [e["message"] for e in browser.get_log("browser") if "Security" in e["message"]]
    assert refused == []
    browser.find_element(By.NAME, "across").send_keys("temperature")
    wait(browser, "#map", "two different quantities make a map")
    browser.refresh()
    chosen = browser.find_element(By.NAME, "across").get_attribute("value")
    assert chosen == "temperature"


MAP_ROOM = """
const box = document.querySelector("#map .wide");
return [box.clientWidth, box.scrollWidth];
"""


@pytest.mark.parametrize("scheme", [pytest.param("light", marks=pytest.mark.slow), "dark"])
def test_accessibility_and_width(browser: Chrome, bench: tuple[Server, Path], scheme: str) -> None:
    """axe-core, all its rules, with what was worked out shown; on a phone nothing is cut off."""
    server, _ = bench
    media = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", media)
    browser.set_window_size(390 if scheme == "dark" else 1280, 900)
    try:
        browser.get(server.step("slicer-job", "repair", cause="R12 open", after="ohm R12 160k"))
        browser.execute_script("document.getElementById('more').open = true")
        browser.execute_script("document.getElementById('story').scrollIntoView()")
        wait(browser, "#story", "The sync fault alone")
        wait(browser, "#hold", "PASSES")
        wait(browser, "#again", "good board")
        browser.execute_script("document.getElementById('map').scrollIntoView()")
        wait(browser, "#map", "How far the board is from losing sync")
        if scheme == "dark":
            room, drawn = browser.execute_script(MAP_ROOM)
            assert drawn <= room
        browser.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")
        browser.execute_script(AXE.read_text(encoding="utf-8"))
        result = browser.execute_async_script("axe.run().then(arguments[0])")
        assert [(v["id"], v["help"]) for v in result["violations"]] == []
        wide = browser.execute_script("return document.documentElement.scrollWidth")
        assert wide <= browser.execute_script("return window.innerWidth")
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
        browser.set_window_size(1280, 1000)


def test_it_prints(browser: Chrome, bench: tuple[Server, Path]) -> None:
    server, _ = bench
    browser.get(server.step("slicer-job", "repair"))
    wait(browser, "#hold", "PASSES")
    words = printed(browser, most=6)
    assert "PASSES" in words
    for screen in ("Report as PDF", "Calculating", "Part to be replaced"):
        assert screen not in words


def test_the_page_tells_when_the_server_is_gone_and_goes_on_when_it_is_back(
    browser: Chrome, tmp_path: Path
) -> None:
    (tmp_path / "slicer.toml").write_text(BOARD, encoding="utf-8")
    running = Server(tmp_path, board_file=tmp_path / "slicer.toml")
    running.start()
    try:
        browser.get(running.address)
        wait(browser, "#lock", "Sync works")
        gone = browser.find_element(By.ID, "unreached")
        assert not gone.is_displayed()
        running.kill()
        field = browser.find_element(By.NAME, "output.pull_up")
        field.send_keys(Keys.CONTROL, "a")
        field.send_keys("22k")
        WebDriverWait(browser, 30, POLL_S).until(lambda _: gone.is_displayed())
        assert "zcd bench" in gone.text
        told = "const e = document.querySelector(arguments[0]); scrollTo(0, arguments[1] * 9999);"
        told += "const r = e.getBoundingClientRect(); return [r.top, r.bottom, innerHeight]"
        for end in (0, 1):
            top, bottom, height = browser.execute_script(told, "#unreached", end)
            assert 0.0 <= top < bottom < height
        before = "return getComputedStyle(document.querySelector('#lock'), '::before').content"
        assert "Out of date" in browser.execute_script(before)
        running.start()
        wait(browser, "#shown", "22 kΩ")
        assert not gone.is_displayed()
        assert browser.execute_script(before) == "none"
    finally:
        running.kill()
