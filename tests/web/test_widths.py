"""The page at four widths, and a job by its keys, by touch and by clicks on the circuit.

Widths are those of a bench monitor, a laptop, a tablet and a phone: common practice, no source.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path

import pytest
from selenium.webdriver import Chrome, Keys
from selenium.webdriver.common.by import By
from selenium.webdriver.remote.webelement import WebElement

from tests.web.conftest import Server, serving
from tests.web.test_page import AXE, text, wait
from zcd.diagnosis.job import load_job
from zcd.diagnosis.reading_syntax import show_measured
from zcd.report.cautions import NOT_ISOLATED_TEXT

SIZES = ((1440, 900), (1280, 800), (768, 1024), (390, 800), (640, 450))
"""The last: 1280 by 900 at 200 %, which WCAG 2.2 asks for in success criterion 1.4.4."""
NARROWEST = (360, 640)
"""A small phone: common practice, no source."""
KEYBOARD = (390, 448)
"""What a phone shows while one types: 400 px, and the bar."""
MOST_KEYS = 120
MIN_LETTER_PX = 11.99
BOARD = """\
name = "Invented waffle iron"
mains = "230 V 50 Hz"
feed = "switched"
rectifier = "1N4007"
optocoupler = "817 C"
chain = {style = "1206", resistors = [{value = "110k", ref = "R11"}, {value = "130k", ref = "R12"}]}
output = {pull_up = "47k", supply = "5 V"}
"""
TALL = """\
name = "Invented jam stirrer"
mains = "120 V 60 Hz"
rectifier = "1N4007"
optocoupler = "817 B"
chain = {topology = "bridge", resistors = ["18k", "18k"]}
output = {pull_up = "15k", supply = "3.3 V"}
"""
"""Whose first readings are across its bridge, and at the pin, which stand high."""
LIVE = """\
name = "Invented dough proofer"
mains = "120 V 60 Hz"
optocoupler = "none"
circuit = [
    "feed - R7 470k - R8 470k - x", "x - R9 47k - pin", "x - C3 1n - logic0",
    "pin - D4 1N4148 > - logic+", "pin - D5 1N4148 < - logic0", "neutral - logic0",
]
output = {supply = "3.3 V"}
"""
"""Not isolated: a list of points in place of a drawing, and a caution before all else."""
READINGS = """
[[readings]]
function = "ohm"
over = "R11"
value = "110k"
"""
SMALL = """
return [...document.querySelectorAll("body *")]
  .filter(e => e.checkVisibility({visibilityProperty: true}))
  .filter(e => [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()))
  .map(e => {
    const m = e.ownerSVGElement ? e.getScreenCTM() : {a: 1, b: 0};
    return [parseFloat(getComputedStyle(e).fontSize) * Math.hypot(m.a, m.b), e.textContent];
  })
  .filter(([size]) => size < arguments[0]);
"""
"""Letters as they are seen, drawings included."""
PLACES = """
scrollTo(0, 0);
document.activeElement.blur();
document.querySelector("#answer").focus();
return ["#answer", ".card .circuit"].map(s => document.querySelector(s).getBoundingClientRect())
  .map(r => [r.top, r.bottom]);
"""
SIDEWAYS = """
return [...document.querySelectorAll("main *")]
  .filter(e => e.checkVisibility() && e.clientWidth && e.scrollWidth > e.clientWidth + 1)
  .filter(e => ["auto", "scroll"].includes(getComputedStyle(e).overflowX))
  .map(e => e.getAttribute("aria-label"));
"""
"""Boxes of which one sees but a part."""
BAR = """
return [...document.querySelectorAll("body > header :is(li b, .state, #cautions-button)")]
  .map(e => { const r = document.createRange(); r.selectNodeContents(e); return r; })
  .map(r => r.getBoundingClientRect()).map(r => [r.left, r.top, r.right, r.bottom]);
"""
COUNT = """
sessionStorage.keys = sessionStorage.keys ?? 0;
if (!window.counting) addEventListener("keydown", () => sessionStorage.keys++, true);
window.counting = true;
"""


def resize(browser: Chrome, width: int, height: int) -> None:
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with serving(tmp_path_factory.mktemp("bench"), waffle=BOARD) as running:
        yield running


@pytest.fixture
def job(bench: Server) -> Path:
    """A job with one reading."""
    file = bench.folder / "begun-job.toml"
    file.write_text(f'board = "waffle.toml"\n{READINGS}', encoding="utf-8")
    return file


@pytest.fixture
def sized(browser: Chrome) -> Iterator[Chrome]:
    yield browser
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def kept(job: Path) -> list[str]:
    return [show_measured(m) for m in load_job(job).measured]


def test_no_letter_under_12_px_and_nothing_cut_off(sized: Chrome, bench: Server, job: Path) -> None:
    for path, ready in (
        ("", "#verdict a"),
        ("readings", "#name"),
        ("repair?job=begun-job&part=R12", "#drawer .primary"),
        ("jobs", "#listed"),
    ):
        sized.get(bench.address + path)
        appears(sized, ready)
        for width, height in (*SIZES, NARROWEST):
            resize(sized, width, height)
            assert sized.execute_script(SMALL, MIN_LETTER_PX) == []
            assert sized.execute_script("return document.documentElement.scrollWidth") <= width
    del job


def test_nothing_scrolls_sideways_in_its_box_on_a_phone(
    sized: Chrome, bench: Server, job: Path
) -> None:
    """Neither the tables of a verdict nor map, years and story."""
    (bench.folder / f"{job.stem}.draft").unlink(missing_ok=True)
    resize(sized, *SIZES[3])
    sized.get(bench.address)
    tap(sized, "#verdict a")
    appears(sized, "#rules td")
    assert sized.execute_script(SIDEWAYS) == []
    sized.get(bench.address + "repair?job=begun-job&cause=R12%20open")
    sized.execute_script("document.querySelector('#more').open = true")
    tap(sized, "#at-years button")
    for piece in ("#map", "#at-years", "#story"):
        wait(sized, lambda b, p=piece: _drawn(b, p))
    assert sized.execute_script(SIDEWAYS) == []
    assert sized.execute_script(SMALL, MIN_LETTER_PX) == []


def _drawn(browser: Chrome, piece: str) -> bool:
    """Scroll to a piece, which is worked out when it comes in sight."""
    browser.execute_script(f"document.querySelector({piece!r})?.scrollIntoView()")
    return bool(browser.find_elements(By.CSS_SELECTOR, f"{piece} svg"))


def test_words_of_the_bar_stand_apart_on_a_small_phone(
    sized: Chrome, bench: Server, job: Path
) -> None:
    sized.get(bench.address)
    appears(sized, "#verdict a")
    for step in ("board", "readings", "repair"):
        sized.get(f"{bench.address}job/{job.stem}/{step}")
        for size in (SIZES[3], NARROWEST):
            resize(sized, *size)
            boxes = sized.execute_script(BAR)
            assert len(boxes) > 4
            for (a, b, c, d), (e, f, g, h) in combinations(boxes, 2):
                assert min(c, g) - max(a, e) < -4 or min(d, h) - max(b, f) < 1
            assert max(right for _, _, right, _ in boxes) <= size[0]


def test_a_board_that_fails_leads_to_what_to_fit(sized: Chrome, bench: Server) -> None:
    weak = BOARD.replace("130k", "560k")
    (bench.folder / "weak.toml").write_text(weak, encoding="utf-8")
    sized.get(f"{bench.address}job/weak/board")
    tap(sized, "#advice button")
    wait(sized, lambda b: "as printed" in text(b, "#drawer"))
    assert "R12" in text(sized, "#drawer")


def test_the_bar_tells_a_warning(sized: Chrome, bench: Server) -> None:
    risky = BOARD.replace('"110k"', '"220k"').replace('"130k"', '"220k"').replace("47k", "10k")
    (bench.folder / "risky.toml").write_text(risky, encoding="utf-8")
    sized.get(f"{bench.address}job/risky/board")
    wait(sized, lambda b: "PASSES with typical parts" in text(b, "#verdict"))
    assert text(sized, "#way [aria-current] .state") == "warning"


def test_what_was_typed_stands_beside_what_it_does(sized: Chrome, bench: Server) -> None:
    """On a bench; with the buttons that go back to the file or to another board."""
    sized.get(bench.step("typed", "board", output__pull_up="33k"))
    appears(sized, "#verdict a")
    assert sized.find_elements(By.NAME, "fit")
    for width, height in SIZES[:2]:
        resize(sized, width, height)
        fields, shown = sized.execute_script(
            "return ['#fields', '#shown'].map(s => document.querySelector(s))"
            ".map(e => e.getBoundingClientRect()).map(r => [r.left, r.right, r.top])"
        )
        assert fields[1] < shown[0]
        assert shown[2] < height / 2


def test_circuit_and_waveforms_are_seen_together(sized: Chrome, bench: Server) -> None:
    """On a bench monitor, to their last line, without scrolling."""
    sized.get(bench.address)
    appears(sized, "#verdict a")
    width, height = SIZES[0]
    resize(sized, width, height)
    for selector in ("#shown .lying svg", "svg.lanes"):
        place = f"return document.querySelector({selector!r}).getBoundingClientRect().bottom"
        assert sized.execute_script(place) <= height


def test_nothing_moves_where_that_is_asked(sized: Chrome, bench: Server, job: Path) -> None:
    """prefers-reduced-motion, Media Queries Level 5, section 12.1."""
    media = {"features": [{"name": "prefers-reduced-motion", "value": "reduce"}]}
    sized.execute_cdp_cmd("Emulation.setEmulatedMedia", media)
    try:
        for path, ready in (("", "#verdict a"), ("readings?job=begun-job", "#answer")):
            sized.get(bench.address + path)
            appears(sized, ready)
            assert sized.execute_script("return document.getAnimations().length") == 0
            moving = (
                "return [...document.querySelectorAll('progress')].some(e => e.checkVisibility())"
            )
            assert not sized.execute_script(moving)
    finally:
        sized.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    del job


def test_answer_and_probes_are_seen_together(sized: Chrome, bench: Server, job: Path) -> None:
    tall = job.with_name("tall-job.toml")
    job.with_name("tall.toml").write_text(TALL, encoding="utf-8")
    tall.write_text('board = "tall.toml"\n', encoding="utf-8")
    live = job.with_name("live-job.toml")
    job.with_name("live.toml").write_text(LIVE, encoding="utf-8")
    live.write_text('board = "live.toml"\n', encoding="utf-8")
    for name, more in ((job.stem, 0), (tall.stem, 1), (live.stem, 0)):
        resize(sized, *SIZES[3])
        sized.get(f"{bench.address}readings?job={name}")
        for taken in range(more + 1):
            wait(sized, lambda b: b.find_elements(By.ID, "answer"))
            for width, height in (*SIZES, KEYBOARD):
                resize(sized, width, height)
                for top, bottom in sized.execute_script(PLACES):
                    assert 0 <= top < bottom <= height, (name, taken, width)
                assert sized.execute_script(SMALL, MIN_LETTER_PX) == []
                wide = sized.execute_script("return document.documentElement.scrollWidth")
                assert wide <= width
            if taken < more:
                press(sized, "OL", Keys.ENTER)
                answered(sized, tall, taken + 1)


def test_that_a_board_is_not_isolated_is_told_in_a_line_on_a_phone(
    sized: Chrome, bench: Server
) -> None:
    """Which unfolds; where there is room it is told in full. axe-core finds nothing wrong."""
    (bench.folder / "proofer.toml").write_text(LIVE, encoding="utf-8")
    (bench.folder / "proofer-job.toml").write_text('board = "proofer.toml"\n', encoding="utf-8")
    for (width, height), folded in ((SIZES[3], True), (SIZES[0], False)):
        resize(sized, width, height)
        sized.get(f"{bench.address}job/proofer-job/readings")
        appears(sized, "#answer")
        line, whole = sized.find_elements(By.CSS_SELECTOR, ".danger > *")
        assert (line.is_displayed(), whole.is_displayed()) == (folded, not folded)
        assert "NOT ISOLATED" in (line.text if folded else whole.text)
        sized.execute_script(AXE.read_text(encoding="utf-8"))
        result = sized.execute_async_script("axe.run().then(arguments[0])")
        assert [v["id"] for v in result["violations"]] == []
        if folded:
            line.click()
            assert NOT_ISOLATED_TEXT in " ".join(whole.text.split())


def test_a_reading_by_two_clicks_on_the_circuit(sized: Chrome, bench: Server, job: Path) -> None:
    sized.get(bench.address + "readings?job=begun-job")
    wait(sized, lambda b: b.find_elements(By.ID, "answer"))
    for node in ("pin", "logic0"):
        sized.find_element(By.CSS_SELECTOR, f"#drawn .lying g.node[data-ref='{node}'] text").click()
    sized.switch_to.active_element.send_keys("4,98 V", Keys.ENTER)
    wait(sized, lambda b: text(b, "#taken li:nth-child(2)"))
    assert kept(job) == ["110 kΩ", "4.98 V"]
    chip = sized.find_element(By.CSS_SELECTOR, ".chips li:nth-child(2) summary")
    chip.click()
    field = sized.find_element(By.ID, "chip-2")
    field.clear()
    field.send_keys("0,2 V", Keys.ENTER)
    wait(sized, lambda b: "200 mV" in text(b, "#taken"))
    assert kept(job) == ["110 kΩ", "200 mV"]


def test_a_job_on_a_phone_by_touch(sized: Chrome, bench: Server, job: Path) -> None:
    """Two buttons name the fault, a third leads to the part, a fourth fits it."""
    sized.get(bench.address + "readings?job=begun-job")
    resize(sized, *SIZES[3])
    wait(sized, lambda b: b.find_elements(By.ID, "answer"))
    for _ in range(4):
        if not sized.find_elements(By.ID, "answer"):
            break
        before = len(load_job(job).log)
        sized.find_element(By.XPATH, "//section[@id='next']//button[text()='OL']").click()
        answered(sized, job, before + 1)
    tap(sized, "#next .primary")
    wait(sized, lambda b: "as printed" in text(b, "#drawer"))
    fit = sized.find_element(By.CSS_SELECTOR, "#drawer .primary")
    assert fit.text == "Fit R12 130 kΩ 5 % 1206, as printed"  # as it is seen
    fit.click()
    wait(sized, lambda b: b.find_elements(By.CSS_SELECTOR, "#step-3[open] .repeat input"))
    save = sized.find_element(By.CSS_SELECTOR, "#step-3 .primary")
    assert save.rect["y"] + save.rect["height"] <= SIZES[3][1]  # without scrolling


def test_a_part_fitted_after_a_while_stays_fitted(sized: Chrome, bench: Server, job: Path) -> None:
    """All pieces of the sheet have come by then, and with them fields that nobody touched."""
    draft = bench.folder / f"{job.stem}.draft"
    draft.unlink(missing_ok=True)
    sized.get(bench.address + "repair?job=begun-job&part=R12")
    wait(sized, lambda b: b.find_elements(By.NAME, "found") and not busy(b))
    tap(sized, "#drawer .primary")
    waits_for(sized, ".repeat input")
    press(sized, "110k")
    wait(sized, lambda b: "1 of" in text(b, "#retested"))
    assert text(sized, "#refused") == ""
    assert "R12 130 k" in json.loads(draft.read_text(encoding="utf-8"))["texts"]["replaced"]


def test_what_would_make_a_retest_sure_gets_a_field_of_its_own(
    sized: Chrome, bench: Server, job: Path
) -> None:
    """Which keeps the focus while it is typed into, and comes again with a reload."""
    (bench.folder / f"{job.stem}.draft").unlink(missing_ok=True)
    sized.get(bench.address + "repair?job=begun-job&part=R12")
    tap(sized, "#drawer .primary")
    waits_for(sized, ".repeat input")
    over = sized.find_element(By.CSS_SELECTOR, "#take input")
    press(sized, expected(sized, over), Keys.ENTER)
    press(sized, "< 3 V", Keys.ENTER)  # too little to be sure
    wait(sized, lambda b: "2 of" in text(b, "#retested") and settled(b))
    field = sized.find_element(By.CSS_SELECTOR, "#add input")
    name, good = field.get_attribute("name"), expected(sized, field)
    field.click()
    press(sized, good)
    wait(sized, lambda b: "✓ good" in text(b, "#add-good-1"))
    focused = sized.switch_to.active_element
    assert (focused.get_attribute("name"), focused.get_attribute("value")) == (name, good)
    sized.refresh()
    appears(sized, f"#add [name='{name}'][value='{good}']")


def test_a_failed_retest_is_told_where_the_job_is_closed(
    sized: Chrome, bench: Server, job: Path
) -> None:
    """At once: the way back to the readings, and a reason that closing asks for."""
    (bench.folder / f"{job.stem}.draft").unlink(missing_ok=True)
    sized.get(bench.address + "repair?job=begun-job&part=R12")
    tap(sized, "#drawer .primary")
    waits_for(sized, ".repeat input")
    press(sized, "OL")
    wait(sized, lambda b: "1 differs" in text(b, "#retested"))
    sized.find_element(By.XPATH, "//button[text()='Save the retest']").click()
    waits_for(sized, "#back")
    wait(sized, lambda b: "NOT READY" in text(b, "#end"))
    tap(sized, "#step-4 > summary")
    tap(sized, "#end .primary")
    waits_for(sized, "[name=reason]")
    assert load_job(job).closed is None


def busy(browser: Chrome) -> bool:
    """Whether a piece that is in sight is still worked out."""
    waiting = "[aria-busy=true]:not([hx-trigger^=revealed]), .htmx-request"
    return bool(browser.find_elements(By.CSS_SELECTOR, waiting))


def settled(browser: Chrome) -> bool:
    """Whether no answer is under way."""
    return not browser.find_elements(By.CSS_SELECTOR, ".htmx-request")


def answered(browser: Chrome, file: Path, count: int) -> None:
    """Until a job has so many answers, and the page shows them."""
    wait(browser, lambda b: len(load_job(file).log) >= count and settled(b))


def appears(browser: Chrome, selector: str) -> None:
    wait(browser, lambda b: b.find_elements(By.CSS_SELECTOR, selector))


def tap(browser: Chrome, selector: str) -> None:
    appears(browser, selector)
    browser.find_element(By.CSS_SELECTOR, selector).click()


def press(browser: Chrome, *keys: str) -> None:
    """Keys at whatever has the focus, counted."""
    browser.execute_script(COUNT)
    browser.switch_to.active_element.send_keys(*keys)


def waits_for(browser: Chrome, what: str) -> None:
    wait(browser, lambda b: b.execute_script(f"return document.activeElement.matches({what!r})"))


def test_a_job_of_nine_answers_takes_few_keys(sized: Chrome, bench: Server) -> None:
    """From the opened board to the closed job with nothing but what has the focus by itself."""
    sized.get(bench.address)
    sized.execute_script("sessionStorage.clear()")  # keys of other tests
    waits_for(sized, "#go")
    press(sized, Keys.ENTER)
    waits_for(sized, "#name")
    name = sized.find_element(By.ID, "name").get_attribute("value")
    press(sized, Keys.ENTER)
    file = bench.folder / f"{name}.toml"
    for number in range(1, 10):
        waits_for(sized, "#answer, .primary")
        if not sized.switch_to.active_element.get_attribute("id"):
            break
        over = "R12" in text(sized, "#next") or "R12" in text(sized, "#next .lying")
        press(sized, *("OL" if over else "47k"), Keys.ENTER)
        answered(sized, file, number)
    waits_for(sized, "#next .primary")
    press(sized, Keys.ENTER)
    waits_for(sized, "#drawer .primary")
    press(sized, Keys.ENTER)
    waits_for(sized, ".repeat input")
    assert re.search(r"good: 130 kΩ \(1\d\d to 1\d\d kΩ\)", text(sized, "#take"))
    filled = 0
    while fields := sized.find_elements(By.CSS_SELECTOR, ".repeat input")[filled:]:
        for field in fields:
            press(sized, *expected(sized, field), Keys.ENTER)
        filled += len(fields)  # the answer may ask for what was not tested yet
        told = f"{filled} of"
        wait(sized, lambda b, told=told: text(b, "#retested").startswith(told) and settled(b))
    waits_for(sized, "#step-3 .primary")
    press(sized, Keys.ENTER)
    waits_for(sized, "#step-4 .primary")
    press(sized, Keys.ENTER)
    wait(sized, lambda b: "Closed on" in text(b, "#end"))
    taken = len(load_job(file).log)
    assert taken >= 2
    assert load_job(file).retests[-1].verdict == "good"
    keys = int(sized.execute_script("return sessionStorage.keys"))
    # nine answers and nine retests, each of four letters and Enter, and what is pressed beside them
    assert keys - 5 * 2 * taken + 5 * 2 * 9 < MOST_KEYS
    assert tomllib.loads(file.read_text(encoding="utf-8"))["found"] == "R12 open"


def expected(browser: Chrome, field: WebElement) -> str:
    """What stands beside a field as that of a good board."""
    beside = str(field.get_attribute("aria-describedby"))
    return text(browser, f"#{beside}").removeprefix("good: ").partition(" (")[0]
