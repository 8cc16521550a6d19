"""Practice in a real browser: one exercise by keys, one by clicks; refused, reloaded, audited."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from urllib.error import HTTPError
from urllib.parse import urlencode
from urllib.request import Request, urlopen

import pytest
from selenium.webdriver import Chrome, Keys
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select

from tests.sampled import some
from tests.web.conftest import Server, serving
from tests.web.test_page import AXE, text, wait
from tests.web.test_widths import MIN_LETTER_PX, SIZES, SMALL, resize
from zcd.diagnosis.meters import usual_meter
from zcd.practice.exercise import example_board, make_exercise
from zcd.web.exercises import FILE

MOST_S = 0.05
"""In which a reading is to be answered."""
BOARD = """\
name = "Invented rice steamer"
mains = "230 V 50 Hz"
feed = "switched"
rectifier = "1N4007"
optocoupler = "817 C"
chain.resistors = ["51k", "51k", "51k"]
output = {pull_up = "12k", supply = "5 V"}
"""
SAID = "return document.querySelector('#shows')?.innerText ?? ''"


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with serving(tmp_path_factory.mktemp("practice"), steamer=BOARD) as running:
        yield running


@pytest.fixture(scope="module")
def seed() -> int:
    """That of an example of which R1 is open at the first level."""
    return next(
        seed
        for seed in range(5, 100, 5)
        if make_exercise(example_board(seed), usual_meter(), 1, seed).fault.key == "R1 open"
    )


@pytest.fixture
def sized(browser: Chrome) -> Iterator[Chrome]:
    yield browser
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def begin(browser: Chrome, bench: Server, seed: int, record: str = "") -> None:
    """An exercise on the example that a seed chooses."""
    (bench.folder / FILE).unlink(missing_ok=True)
    browser.get(f"{bench.address}practice")
    Select(browser.find_element(By.NAME, "board")).select_by_value("")
    browser.find_element(By.NAME, "seed").send_keys(str(seed))
    browser.find_element(By.NAME, "record").send_keys(record, Keys.ENTER)
    wait(browser, lambda b: b.find_elements(By.ID, "line"))


def typed(browser: Chrome, line: str, answer: str) -> None:
    """A line at the field that has the focus by itself; what was there is selected."""
    browser.switch_to.active_element.send_keys(line, Keys.ENTER)
    wait(browser, lambda b: answer in b.execute_script(SAID))
    wait(browser, lambda b: b.execute_script("return getSelection().toString()") == line)


def post(bench: Server, path: str, **texts: str) -> str:
    asked = Request(f"{bench.address}{path}", urlencode(texts).encode())
    asked.add_header("Cookie", bench.cookie)
    asked.add_header("Origin", bench.address.rstrip("/"))
    with urlopen(asked) as answer:
        return str(answer.read().decode())


def test_an_exercise_by_keys(browser: Chrome, bench: Server, seed: int) -> None:
    begin(browser, bench, seed, "class.jsonl")
    assert "sync error and a fan error" in text(browser, "#exercise")
    typed(browser, "ohm R2", "DANGER")
    typed(browser, "prove dead", "tested again")
    typed(browser, "ohm R1", "ohm R1: ")
    assert "OL" in text(browser, "#shows")
    browser.refresh()
    wait(browser, lambda b: "2 readings, 1 dangerous step" in text(b, "#so-far"))
    browser.switch_to.active_element.send_keys("found R1", Keys.ENTER)
    wait(browser, lambda b: "Found: it was R1 open" in text(b, "#review"))
    review = text(browser, "#review")
    for words in ("not proved dead (1 x)", "The expert's way", "Rules out", "sync flag after"):
        assert words in review
    (line,) = (bench.folder / "class.jsonl").read_text("utf-8").splitlines()
    record = json.loads(line)
    assert (record["found"], record["fault"], record["readings"]) == (True, "R1 open", 2)
    browser.refresh()
    wait(browser, lambda b: "Found: it was R1 open" in text(b, "#review"))
    assert len((bench.folder / "class.jsonl").read_text("utf-8").splitlines()) == 1


def test_an_exercise_by_clicks_on_a_board_of_the_folder(browser: Chrome, bench: Server) -> None:
    (bench.folder / FILE).unlink(missing_ok=True)
    browser.get(bench.address)
    wait(browser, lambda b: b.find_elements(By.LINK_TEXT, "Practise on this board"))
    browser.find_element(By.LINK_TEXT, "Practise on this board").click()
    wait(browser, lambda b: b.find_elements(By.CSS_SELECTOR, ".begin .primary"))
    browser.find_element(By.CSS_SELECTOR, ".begin .primary").click()
    wait(browser, lambda b: "rice steamer" in text(b, "#exercise h2"))

    def press(words: str) -> None:
        browser.find_element(By.XPATH, f"//button[text()='{words}']").click()

    press("Prove dead")
    wait(browser, lambda b: "DEAD" in text(b, "#state strong"))
    Select(browser.find_element(By.ID, "another-function")).select_by_value("ohm")
    for node in ("feed", "chain.1"):
        browser.find_element(By.CSS_SELECTOR, f".lying g.node[data-ref='{node}'] text").click()
    browser.switch_to.active_element.send_keys(Keys.ENTER)
    wait(browser, lambda b: "ohm R1" in b.execute_script(SAID))
    # the picture is of the board as it was designed, whatever is hidden in this one
    for ref in ("R1", "R2", "R3"):
        assert "51 kΩ" in text(browser, f"#drawn .lying g.part[data-ref='{ref}']")
    press("Hint: five minutes")
    wait(browser, lambda b: "1 hint" in text(b, "#so-far"))
    press("Give up")
    wait(browser, lambda b: "Not found: it was" in text(b, "#review"))


def test_what_is_hidden_survives_the_server(browser: Chrome, bench: Server, seed: int) -> None:
    begin(browser, bench, seed)
    typed(browser, "prove dead", "tested again")
    typed(browser, "ohm R3", "ohm R3: ")
    shown = text(browser, "#so-far")
    bench.kill()
    bench.start()
    browser.get(f"{bench.address}practice")
    wait(browser, lambda b: text(b, "#so-far") == shown)


@pytest.mark.parametrize(
    "line", some(["ohm R99", "volts everywhere", "found R99", "ohm pin line"], "found R99")
)
def test_what_cannot_be_gets_one_line(browser: Chrome, bench: Server, seed: int, line: str) -> None:
    begin(browser, bench, seed)
    before = text(browser, "#so-far")
    browser.switch_to.active_element.send_keys(line, Keys.ENTER)
    wait(browser, lambda b: text(b, "#error-line"))
    assert text(browser, "#so-far") == before


@pytest.mark.parametrize(
    ("field", "value"), [("level", "6"), ("seed", "-1"), ("record", "../class.jsonl")]
)
def test_no_such_exercise(bench: Server, field: str, value: str) -> None:
    (bench.folder / FILE).unlink(missing_ok=True)
    with pytest.raises(HTTPError) as refused:
        post(bench, "practice/begin", **{"level": "1", "seed": "3", field: value})
    assert refused.value.code == 422
    assert f"{field}: found" in refused.value.read().decode()
    assert not (bench.folder / FILE).exists()


def test_who_asks_for_another_board_meanwhile_is_told(
    browser: Chrome, bench: Server, seed: int
) -> None:
    begin(browser, bench, seed)
    browser.get(f"{bench.address}practice?board=steamer")
    assert "An exercise is under way" in text(browser, "#exercise > .error")
    assert browser.find_elements(By.ID, "line")


def test_of_two_parts_between_the_probes_one_is_to_be_named(bench: Server) -> None:
    (bench.folder / FILE).unlink(missing_ok=True)
    post(bench, "practice/begin", level="1", seed="3")  # a bridge, with a resistor across the LED
    mark = json.loads((bench.folder / FILE).read_text("utf-8"))["mark"]
    chosen = {"function": "ohm", "red": "led+", "black": "led-", "how": "lifted", "seen": mark}
    assert "R5 between these points; allowed: one of them, " in post(
        bench, "practice/say", **chosen
    )
    assert "ohm R1 lifted: " in post(
        bench, "practice/say", **{**chosen, "red": "feed", "black": "chain.1"}
    )


def test_a_broken_file_is_told_and_left_alone(bench: Server) -> None:
    (bench.folder / FILE).write_text("{}", encoding="utf-8")
    with pytest.raises(HTTPError) as refused:
        post(bench, "practice/begin", level="1", seed="3")
    assert f"{FILE}: found no exercise" in refused.value.read().decode()
    assert (bench.folder / FILE).read_text("utf-8") == "{}"
    (bench.folder / FILE).unlink()


def test_a_reading_is_answered_at_once(bench: Server) -> None:
    """The quickest of them, as other programs of the machine may hold up any one."""
    (bench.folder / FILE).unlink(missing_ok=True)
    post(bench, "practice/begin", level="3", seed="3")
    mark = json.loads((bench.folder / FILE).read_text("utf-8"))["mark"]
    took = []
    for line in (
        "prove dead",
        "ohm R1",
        "ohm R2",
        "diode D1a",
        "plug in",
        "dc pin",
        "ac line feed",
    ):
        before = time.perf_counter()
        assert "shows" in post(bench, "practice/say", say=line, seen=mark)
        took.append(time.perf_counter() - before)
    assert min(took) < MOST_S


@pytest.mark.parametrize("scheme", ["light", pytest.param("dark", marks=pytest.mark.slow)])
def test_audit_and_widths(sized: Chrome, bench: Server, seed: int, scheme: str) -> None:
    """axe-core, all its rules; no letter under 12 px and nothing cut off, before, in and after.

    The last has no field of its own: its rules are looked at in the dark only."""
    media = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    sized.execute_cdp_cmd("Emulation.setEmulatedMedia", media)

    def audit(*, rules: bool = True) -> None:
        for width, height in SIZES:
            resize(sized, width, height)
            assert sized.execute_script(SMALL, MIN_LETTER_PX) == []
            assert sized.execute_script("return document.documentElement.scrollWidth") <= width
        if rules:
            sized.execute_script(AXE.read_text(encoding="utf-8"))
            result = sized.execute_async_script("axe.run().then(arguments[0])")
            assert [(v["id"], v["help"]) for v in result["violations"]] == []
        resize(sized, *SIZES[1])

    try:
        (bench.folder / FILE).unlink(missing_ok=True)
        sized.get(f"{bench.address}practice")
        audit()
        begin(sized, bench, seed)
        typed(sized, "ohm R2", "DANGER")
        typed(sized, "plug in", "under power")
        typed(sized, "ac line neutral", "ac line neutral")
        audit()
        sized.switch_to.active_element.send_keys("give up", Keys.ENTER)
        wait(sized, lambda b: "Not found" in text(b, "#review"))
        audit(rules=scheme == "dark")
    finally:
        sized.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
