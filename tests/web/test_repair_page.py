"""The repair sheet asked directly, without a browser: what it writes into a job, and when not."""

from __future__ import annotations

import asyncio
import re
from datetime import date
from html import unescape
from pathlib import Path
from typing import Any
from unittest.mock import patch
from urllib.parse import parse_qsl, urlencode

import pytest
from starlette.requests import Request

from zcd.board.files import load_board
from zcd.diagnosis.job import load_job
from zcd.diagnosis.retest_record import RetestRecord, Verdict
from zcd.errors import InputError
from zcd.jobs import retests
from zcd.web.board_page import BoardPage
from zcd.web.job_store import JobStore
from zcd.web.repair_page import RepairPage
from zcd.web.repair_request import RepairRequest, repair_request_of
from zcd.web.state import PageState
from zcd.web.workers import Task, WorkerPool

BOARD = """\
name = "Invented plum stoner"
mains = "230 V 50 Hz"
optocoupler = "814 A"
chain = {topology = "two-led", resistors = ["120k", "120k"]}
output = {pull_up = "10k", supply = "5 V"}
"""
KEPT = RetestRecord(taken=date(2026, 2, 3), verdict=Verdict.GOOD, good_ratio=0.97)


class Ready(WorkerPool):
    """Has everything worked out already."""

    def ask(self, do: Any, *arguments: Any, patience_s: float = 0.2) -> Task:
        del patience_s
        return Task(do, arguments, result={"kept": KEPT, "missing": ()}, done=True)


def words_of(page: str) -> str:
    """What stands on it, without its tags."""
    return re.sub(r"<[^>]*>", "", page)


class Asked:
    """A sheet with one job, asked as its page would."""

    def __init__(self, folder: Path) -> None:
        (folder / "plum.toml").write_text(BOARD, encoding="utf-8")
        self.file = folder / "plum-job.toml"
        self.file.write_text('board = "plum.toml"\n', encoding="utf-8")
        self.jobs = JobStore(folder)
        self.sheet = RepairPage(PageState(folder=folder), self.jobs, Ready())

    @property
    def mark(self) -> str:
        """Of the file as it stands."""
        return self.jobs.open(self.file).version

    def typed(self, **said: str) -> RepairRequest:
        """What was typed into the page, kept in its draft."""
        desk = self.sheet.desk
        desk.edit("plum-job", {**said, "window": desk.drafts.window("plum-job")})
        return repair_request_of(desk, desk.unit("plum-job"))

    def get(self, piece: str = "", **said: str) -> str:
        self.typed(**said)
        path = f"/job/{{name}}/repair{piece}"
        route = next(r for r in self.sheet.routes() if r.path == path)
        request = Request({**scope(path), "headers": []})
        answer = route.endpoint(request)
        answer = asyncio.run(answer) if piece else answer
        return bytes(answer.body).decode()

    def post(self, name: str, seen: str, **said: str) -> str:
        board = {k: said.pop(k) for k in list(said) if "." in k or k == "parts"}
        shown = self.typed(**board).shown
        body = urlencode({"shown": shown, "seen": seen, **said}).encode()

        async def receive() -> dict[str, object]:
            return {"type": "http.request", "body": body, "more_body": False}

        route = next(r for r in self.sheet.routes() if r.path == f"/job/{{name}}/repair/{name}")
        request = Request(scope(route.path, "POST"), receive)
        return bytes(asyncio.run(route.endpoint(request)).body).decode()


def scope(path: str, method: str = "GET") -> dict[str, object]:
    return {
        "type": "http", "method": method, "path": path.format(name="plum-job"),
        "query_string": b"", "path_params": {"name": "plum-job"},
        "headers": [(b"hx-request", b"true")],
    }  # fmt: skip


@pytest.fixture
def asked(tmp_path: Path) -> Asked:
    return Asked(tmp_path)


@pytest.mark.parametrize(
    ("name", "said"),
    [("keep", {"after": "ohm R1 120k", "output.pull_up": "22k"}), ("close", {"found": "R1 open"})],
)
def test_what_another_program_wrote_is_told_and_left_alone(
    asked: Asked, name: str, said: dict[str, str]
) -> None:
    """Nothing is written, no board file either; the page then shows the file as it stands."""
    seen = asked.mark
    theirs = asked.file.read_text(encoding="utf-8") + "note = 'theirs'\n"
    asked.file.write_text(theirs, encoding="utf-8")
    asked.typed(**{key: text for key, text in said.items() if "." in key})
    files = sorted(asked.file.parent.iterdir())
    page = asked.post(name, seen, **said)
    assert "changed by another program" in page
    assert f'value="{asked.mark}" hx-swap-oob' in page
    assert asked.file.read_text(encoding="utf-8") == theirs
    assert sorted(asked.file.parent.iterdir()) == files
    assert "another program" not in asked.post(name, asked.mark, **said)
    assert asked.file.read_text(encoding="utf-8") != theirs
    assert load_job(asked.file).note == "theirs"


def test_a_page_may_be_behind_what_this_page_wrote(asked: Asked) -> None:
    """Readings kept in one window, the job closed in another that was opened before."""
    seen = asked.mark
    assert "Kept in" in asked.post("keep", seen, after="ohm R1 120k")
    asked.post("close", seen, found="R1 open")
    job = load_job(asked.file)
    assert (len(job.retests), job.found) == (1, "R1 open")


def test_a_closed_job_leaves_no_draft_behind(asked: Asked) -> None:
    """Unless it says of the board what no file says."""
    draft = asked.sheet.desk.drafts.path("plum-job")
    asked.post("keep", asked.mark, after="ohm R1 120k", **{"output.pull_up": "22k"})
    assert draft.exists()
    before = asked.file.read_bytes()
    asked.post("close", asked.mark, found="R1 open", **{"output.pull_up": "33k"})
    assert draft.exists()
    asked.file.write_bytes(before)
    asked.post("close", asked.mark, found="R1 open", **{"output.pull_up": "22k"})
    assert not draft.exists()
    assert load_job(asked.file).found == "R1 open"
    assert "replaced by 22 kΩ" in asked.get()


def test_no_board_stays_behind_without_its_retest(asked: Asked) -> None:
    """Its file is written first; there is room for that one only."""
    said = {"after": "ohm R1 120k", "output.pull_up": "22k"}
    full = InputError("plum-job.toml: found a place that cannot be written (No space left)")
    asked.typed(**{"output.pull_up": "22k"})
    before = {each: each.read_bytes() for each in asked.file.parent.iterdir()}
    with patch.object(retests, "update_whole", side_effect=full):
        assert "No space left" in asked.post("keep", asked.mark, **said)
    assert {each: each.read_bytes() for each in asked.file.parent.iterdir()} == before
    assert "Kept in" in asked.post("keep", asked.mark, **said)
    assert asked.file.with_name("plum-repaired.toml").exists()


def test_kept_twice_is_kept_once(asked: Asked) -> None:
    """A second press of the button, with the page as it was before the first."""
    seen, said = asked.mark, {"after": "ohm R1 120k", "output.pull_up": "22k"}
    for _ in range(2):
        assert "Kept in" in asked.post("keep", seen, **said)
    assert len(load_job(asked.file).retests) == 1
    assert len(list(asked.file.parent.glob("plum-repaired*"))) == 1
    asked.post("keep", seen, by="An inventor", **said)
    assert [record.by for record in load_job(asked.file).retests] == ["", "An inventor"]


def test_an_edit_of_the_board_leaves_the_fields_of_the_repair(asked: Asked) -> None:
    asked.typed(after="ohm R1 120k", record="off")
    sheet = BoardPage(PageState(folder=asked.file.parent), Ready())
    said = {"output.pull_up": "33k", "window": asked.sheet.desk.drafts.window("plum-job")}
    sheet.edited(Request(scope("/job/plum-job/board", "POST")), said)
    left = {"output.pull_up": "33k", "after": "ohm R1 120k", "record": "off"}
    assert asked.sheet.desk.drafts.read("plum-job").texts == left
    assert ">ohm R1 120k</textarea>" in asked.get()


def test_the_sheet_goes_on_with_the_board_that_was_kept(asked: Asked) -> None:
    """Opened from the list: the parts fitted, the way back, one file however often it is kept."""
    said = {"after": "ohm R1 120k", "output.pull_up": "22k"}
    asked.post("keep", asked.mark, **said)
    asked.sheet.desk.drafts.path("plum-job").unlink()
    page = asked.get()
    assert "the board of the last retest, plum-repaired.toml" in page
    assert "pull-up: 10 kΩ 5 % replaced by 22 kΩ" in page
    result = asked.typed()
    assert result.told == {"output.pull_up": "22k"}
    assert f'name="shown" value="{result.shown}"' in page
    assert not result.as_it_came
    assert result.board == load_board(asked.file.with_name("plum-repaired.toml"))
    assert result.before == load_board(asked.file.with_name("plum.toml"))
    asked.post("keep", asked.mark, after="ohm R1 119k", by="An inventor", **result.told)
    assert [record.board for record in load_job(asked.file).retests] == ["plum-repaired.toml"] * 2
    assert len(list(asked.file.parent.glob("plum-repaired*"))) == 1


def test_the_board_as_it_came_in_is_still_to_be_had(asked: Asked) -> None:
    asked.post("keep", asked.mark, after="ohm R1 120k", **{"output.pull_up": "22k"})
    way = re.search(r'value="([^"]+)">The board as it came in', asked.get())
    assert way
    go = dict(parse_qsl(unescape(way[1]), keep_blank_values=True))
    page = asked.get(**go)
    assert "The parts are those of the board as it came in" in page
    result = asked.typed()
    assert result.as_it_came
    assert result.board == result.before
    # a page that shows it keeps a retest of it
    asked.post("keep", asked.mark, after="ohm R1 120k", parts="old")
    assert load_job(asked.file).retests[-1].board == ""
    assert "The parts are those" in asked.get()


def test_a_repaired_board_that_is_lost_is_told(asked: Asked) -> None:
    asked.post("keep", asked.mark, after="ohm R1 120k", **{"output.pull_up": "22k"})
    asked.file.with_name("plum-repaired.toml").unlink()
    asked.sheet.desk.drafts.path("plum-job").unlink()
    page = asked.get()
    assert "whose file cannot be read" in page
    assert "The parts are those of the board as it came in" in page


def test_closed_twice_is_closed_once(asked: Asked) -> None:
    """A second press of the button shows what stands; another fault is still refused."""
    seen, said = asked.mark, {"found": "R1 open", "repair": "R1 renewed"}
    for _ in range(2):
        page = asked.post("close", seen, **said)
        assert "it was: R1 open. Repair: R1 renewed." in page
        assert "error whole" not in page
    assert "found a job that was closed" in asked.post("close", seen, found="R2 open")
    assert load_job(asked.file).found == "R1 open"


def test_after_a_failed_retest_a_job_is_closed_only_with_a_reason(asked: Asked) -> None:
    failed = '\n[[retests]]\ntaken = 2026-02-03\nverdict = "not good"\nsure = "3 %"\n'
    asked.file.write_text(asked.file.read_text(encoding="utf-8") + failed, encoding="utf-8")
    assert "say why" in asked.post("close", asked.mark, found="R1 open")
    assert load_job(asked.file).closed is None
    asked.post("close", asked.mark, found="R1 open", repair="R1 renewed", reason="scrapped")
    job = load_job(asked.file)
    assert job.closed is not None
    assert job.repair == "R1 renewed; closed after a failed retest: scrapped"


def test_the_printed_part_comes_first(asked: Asked) -> None:
    found = {"choices": (), "lines": (), "missing": True, "drawer": "E24", "tables": ()}
    found |= {"origins": (), "sources": ()}
    with patch.object(Ready, "ask", lambda *_, **__: Task(None, (), result=found, done=True)):
        page = asked.get("/drawer", part="R1")
    words = words_of(page)
    assert words.index("Fit R1 120 kΩ 5 %, as printed") < words.index("Alternatives")


def test_readings_to_repeat_stand_beside_what_is_expected(asked: Asked) -> None:
    told = '\n[[readings]]\nfunction = "ohm"\nover = "R1"\nvalue = "OL"\n'
    asked.file.write_text(asked.file.read_text(encoding="utf-8") + told, encoding="utf-8")
    page = asked.get()
    assert re.search(r'name="take:ohm line chain.1" value=""', page)
    assert "good: 120 kΩ" in words_of(page)
    taken = {"take:ohm line chain.1": "118k"}
    assert asked.typed(**taken).measured[0].value == 118e3
    assert 'name="take:ohm line chain.1" value="118k"' in asked.get()


def test_a_job_is_not_closed_without_a_word(asked: Asked) -> None:
    assert "What it was: say what it was" in asked.post("close", asked.mark, found=" ")
    assert load_job(asked.file).closed is None


def test_before_any_repair_the_verdict_is_that_of_what_is_printed(asked: Asked) -> None:
    words = {"verdict": "The board holds", "passes": True, "findings": (), "tables": ()}
    words |= {"origins": (), "sources": ()}

    def hold(**said: str) -> str:
        with patch.object(Ready, "ask", lambda *_, **__: Task(None, (), result=words, done=True)):
            return asked.get("/hold", **said)

    assert "As printed" not in hold()
    told = '\n[[readings]]\nfunction = "ohm"\nover = "R1"\nvalue = "OL"\n'
    asked.file.write_text(asked.file.read_text(encoding="utf-8") + told, encoding="utf-8")
    assert "As printed on its parts: The board holds" in hold()
    assert "As printed" not in hold(**{"output.pull_up": "22k"})
