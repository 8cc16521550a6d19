"""The readings sheet asked directly, without a browser: cautions, alarm, what is refused."""

from __future__ import annotations

import asyncio
import re
from html import unescape
from pathlib import Path
from time import sleep
from urllib.parse import urlencode

import pytest
from starlette.requests import Request

from zcd.diagnosis.job import load_job
from zcd.diagnosis.readings import AccessLevel
from zcd.report.cautions import LIVE, SHORT_CAUTIONS
from zcd.web.job_store import JobStore
from zcd.web.readings_page import ReadingsPage
from zcd.web.state import PageState
from zcd.web.ways import Ways

BOARD = """\
name = "Invented <b>rice</b> steamer"
mains = "120 V 60 Hz"
feed = "switched"
rectifier = "1N4007"
optocoupler = "817 C"
chain.resistors = [{value = "47k", ref = "R1<i>"}, "51k"]
output = {pull_up = "10k", supply = "5 V"}
"""

NEXT_AT = r'value="next">\n<input type="hidden" name="at" value="([^"]+)"'


class Asked:
    """A sheet with one job, asked as its page would."""

    def __init__(self, folder: Path) -> None:
        (folder / "rice.toml").write_text(BOARD.replace("R1<i>", "R1"), encoding="utf-8")
        self.file = folder / "a-job.toml"
        note = "note = '<script>alert(1)</script>'\n"
        self.begun = 'board = "rice.toml"\n' + note
        self.file.write_text(self.begun, encoding="utf-8")
        self.sheet = ReadingsPage(PageState(folder=folder), JobStore(folder))
        job = load_job(self.file)
        while not (prepared := self.sheet.desk.dictionaries.of(job.board, job.meter)).over.is_set():
            sleep(0.1)
        assert prepared.problem == ""

    def get(self, name: str = "a-job", *, again: bool = True) -> str:
        scope = self._scope("/job/{name}/readings", name)
        request = Request(scope if again else {**scope, "headers": []})
        return bytes(self.sheet.filled(request).body).decode()

    def post(self, name: str, **said: str) -> str:
        body = urlencode({"seen": self.sheet.jobs.open(self.file).version, **said}).encode()

        async def receive() -> dict[str, object]:
            return {"type": "http.request", "body": body, "more_body": False}

        route = next(r for r in self.sheet.routes() if r.path == f"/job/{{name}}/{name}")
        request = Request(self._scope(route.path, "a-job", "POST"), receive)
        return bytes(asyncio.run(route.endpoint(request)).body).decode()

    @staticmethod
    def _scope(path: str, name: str, method: str = "GET") -> dict[str, object]:
        kind = b"application/x-www-form-urlencoded"
        return {
            "type": "http", "method": method, "path": path.format(name=name),
            "query_string": b"", "path_params": {"name": name},
            "headers": [(b"hx-request", b"true"), (b"content-type", kind)],
        }  # fmt: skip


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Asked:
    return Asked(tmp_path_factory.mktemp("sheet"))


@pytest.fixture
def asked(made: Asked) -> Asked:
    """With a job that holds nothing yet."""
    made.file.write_text(made.begun, encoding="utf-8")
    return made


def test_cautions_for_live_work_stand_before_the_field(asked: Asked) -> None:
    """Everything that comes before passed over, the live side is next."""
    page = asked.get()
    assert "<strong>LIVE</strong>" not in page
    for _ in range(40):
        if "<strong>LIVE</strong>" in page or not (at := re.search(NEXT_AT, page)):
            break
        page = asked.post("answer", where="next", at=at[1], say="skip")
    card = page.partition('id="next"')[2].partition('id="answer"')[0]
    assert all(line in unescape(card) for line in SHORT_CAUTIONS[AccessLevel.MAINS])
    assert all(caution.text in unescape(asked.get(again=False)) for caution in LIVE)


def test_a_live_isolated_side_stops_the_work(asked: Asked) -> None:
    page = asked.post("answer", where="row-1", at="dc logic+ logic0", say="230 V")
    assert "STOP, unplug" in page.partition('id="next"')[2]
    assert "it would not be safe" in page
    assert 'id="answer"' not in page


def test_readings_that_nothing_explains_are_none_of_these(asked: Asked) -> None:
    page = ""
    for at, say in (("ohm R1", "3"), ("ohm R2", "OL"), ("ohm logic+ pin", "470"),
                    ("diode chain.2 led+", "OL"), ("dc coil+ coil-", "1")):  # fmt: skip
        page = asked.post("answer", where="another", at=at, say=say)
    assert "none of these" in page.partition("<tbody>")[2].partition("</tr>")[0]


@pytest.mark.parametrize(("said", "likely"), [("ohm R1 47k", False), ("ohm R1 to R2 OL", True)])
def test_what_no_reading_tells_apart_is_said_once(asked: Asked, said: str, likely: bool) -> None:
    """And what is less likely than all else together is not the main way on."""
    page = asked.post("answer", where="another", say=said)
    for _ in range(60):
        if not (at := re.search(NEXT_AT, page)):
            break
        page = asked.post("answer", where="next", at=at[1], say="skip")
    card = page.partition('id="next"')[2].partition("</section>")[0]
    share = re.search(r'class="found">[^.<]+\((\d+) %[^.<]*</p>', card)
    assert share is not None
    assert (int(share[1]) > 50) is likely
    assert ('class="primary"' in card) is likely
    assert page.count("tells these apart") == 1
    assert 'id="conclusion"' not in page


def test_the_same_point_in_two_states_is_two_answers(asked: Asked) -> None:
    asked.post("answer", where="another", say="dc pin logic0 4.9 V")
    page = asked.post("answer", where="another", say="dc pin logic0 bench supply 4.9 V")
    chips = re.findall(r"<summary>(DC pin[^:]*):", page)
    assert chips == ["DC pin", "DC pin, bench supply"]


def test_what_a_person_typed_stays_text(asked: Asked) -> None:
    page = asked.get()
    assert "Invented &lt;b&gt;rice&lt;/b&gt; steamer" in page
    assert "<script>" not in page
    page = asked.post("answer", where="row-1", at="ohm R1", say="x<img/src=x>")
    assert "&lt;img/src=x&gt;" in page
    assert "<img" not in page


@pytest.mark.parametrize(
    ("name", "said", "words"),
    [
        ("answer", {"where": "row-1", "at": "ohm R99", "say": "5"}, "R99"),
        ("answer", {"where": "row-1", "at": "ohm R1", "say": "flags sync fan none"}, "flags"),
        ("answer", {"where": "another", "say": "", "at": ""}, "allowed: a reading such as"),
        ("answer", {"where": "next", "at": "ohm R1", "say": ""}, "allowed: what the meter shows"),
        ("answer", {"where": "next", "at": "ohm R1", "say": "undo"}, "what the meter shows"),
        ("flags", {"flags": "sync none"}, "flags: found"),
        ("flags", {"flags": "smoke"}, "flags: found"),
        ("flags", {"where": "flags", "flags": "smoke"}, "flags: found"),
        ("undo", {}, "no answer to take back"),
        ("answer", {"where": "row-1", "at": "ohm R1", "say": "5k", "seen": "x"}, "another program"),
    ],
)
def test_what_cannot_be_used_is_told_and_changes_nothing(
    asked: Asked, name: str, said: dict[str, str], words: str
) -> None:
    before = asked.file.read_bytes()
    assert words in asked.post(name, **said)
    assert asked.file.read_bytes() == before


def test_another_job_on_the_board_as_it_was_edited(asked: Asked) -> None:
    """The way to it takes the edited board along; the job is as its file says again."""
    state, before = asked.sheet.desk, asked.file.read_bytes()
    assert "Begin another job" not in asked.get()
    edited = state.edit("a-job", {"output.pull_up": "22k"})
    way = re.search(r'action="(/job/a-job/afresh)".*?name="window" value="([^"]+)"', asked.get())
    assert way
    request = Request(Asked._scope(way[1], "a-job", "POST"))
    name = Ways(state).afresh(request, {"window": way[2]}).headers["location"].split("/")[2]
    there = state.unit(name)
    assert there.job == ""
    assert there.board == edited.board
    assert "written into a file of its own" in asked.get(name)
    assert not state.unit("a-job").edited
    assert asked.file.read_bytes() == before


def test_flags_with_what_the_display_shows(asked: Asked) -> None:
    asked.post("flags", flags="sync=F3 fan=F5")
    job = load_job(asked.file)
    assert (job.flags, job.codes) == (("sync", "fan"), {"sync": "F3", "fan": "F5"})
    assert 'value="sync=F3 fan=F5"' in asked.get()
    answer = asked.post("flags", where="flags", flags="F3")
    assert load_job(asked.file).flags == ("sync",)
    assert 'id="flags"' not in answer
    assert 'id="error-flags" hx-swap-oob="true"><' in answer


def test_the_same_said_again_is_kept_once(asked: Asked) -> None:
    for say in ("47k", "47 kΩ", "46.5k", "47k"):
        asked.post("answer", where="row-1", at="ohm R1", say=say)
    assert len(load_job(asked.file).log) == 3
    assert load_job(asked.file).note == "<script>alert(1)</script>"


@pytest.mark.parametrize(
    "said",
    [
        {"where": "next", "at": "dc pin logic0", "say": "4.98 V"},
        {"where": "next", "at": "dc pin logic0", "say": "skip"},
        {"where": "another", "say": "dc pin logic0 4.98 V"},
    ],
)
def test_a_form_sent_twice_is_kept_once(asked: Asked, said: dict[str, str]) -> None:
    """Enter pressed twice; a form made anew may say the same, as where it is asked for again."""
    seen = asked.sheet.jobs.open(asked.file).version
    for _ in range(2):
        assert "gone on" not in asked.post("answer", seen=seen, **said)
    assert len(load_job(asked.file).log) == 1
    asked.post("answer", **said)
    assert len(load_job(asked.file).log) == 2


def test_a_page_left_behind_does_not_answer_what_is_answered(asked: Asked) -> None:
    """What was not answered meanwhile, it may; and a second undo takes no more back."""
    seen = asked.sheet.jobs.open(asked.file).version
    asked.post("answer", where="next", at="dc pin logic0", say="4.98 V")
    before = asked.file.read_bytes()
    page = asked.post("answer", where="next", at="dc pin logic0", say="0.1 V", seen=seen)
    assert "the job has gone on since" in page
    assert "Not saved: dc pin logic0 0.1 V" in page
    assert 'id="answer"' in page
    assert asked.file.read_bytes() == before
    asked.post("answer", where="another", say="ohm R1 47k", seen=seen)
    assert len(load_job(asked.file).log) == 2
    seen = asked.sheet.jobs.open(asked.file).version
    for _ in range(2):
        asked.post("undo", seen=seen)
    assert len(load_job(asked.file).log) == 1
    asked.post("answer", where="another", say="ohm R1 47k")
    asked.post("answer", where="another", say="ohm R2 51k")
    assert "gone on" in asked.post("undo", seen=seen)
    assert len(load_job(asked.file).log) == 3
