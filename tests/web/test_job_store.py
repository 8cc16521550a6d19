"""Jobs as the page changes them, without a browser: who may write, and what is kept."""

from __future__ import annotations

import asyncio
import os
from dataclasses import replace
from html import unescape
from pathlib import Path
from urllib.parse import urlencode

import pytest
from starlette.requests import Request

from tests.fuzz.commands import SCOPE
from zcd.board.files import load_board
from zcd.diagnosis.job import load_job
from zcd.diagnosis.meters import AcKind, usual_meter
from zcd.diagnosis.reading_syntax import parse_reading, show_measured
from zcd.errors import InputError
from zcd.jobs import job_file
from zcd.jobs.job_file import JobFileWriter
from zcd.settings import Settings
from zcd.web import captures, job_store, tasks
from zcd.web.job_store import ChangedMeanwhileError, JobStore, OpenJob
from zcd.web.new_job import begin_job
from zcd.web.posted_form import PostedForm
from zcd.web.readings_page import ReadingsPage
from zcd.web.state import PageState

BOARD = """\
name = "Invented jam warmer"
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "817 C"
chain = {topology = "bridge", resistors = ["120k", "120k"]}
output = {pull_up = "10k", supply = "5 V"}
"""


@pytest.fixture
def jobs(tmp_path: Path) -> JobStore:
    (tmp_path / "jam.toml").write_text(BOARD, encoding="utf-8")
    kept = JobStore(tmp_path)
    kept.begin(tmp_path / "a.toml", load_board(tmp_path / "jam.toml"), tmp_path / "jam.toml")
    return kept


def reading(jobs: JobStore, seen: str, line: str) -> OpenJob:
    """One more reading in the job."""

    def act(open_job: OpenJob, writer: JobFileWriter) -> None:
        writer.write([*open_job.job.log, parse_reading(line, open_job.circuit)], ())

    return jobs.change(jobs.folder / "a.toml", seen, act)


def shown(jobs: JobStore) -> list[str]:
    return [show_measured(m) for m in load_job(jobs.folder / "a.toml").measured]


def test_a_page_may_be_behind_its_own_changes_only(jobs: JobStore) -> None:
    start = jobs.open(jobs.folder / "a.toml").version
    second = reading(jobs, start, "ohm R1 120k").version
    reading(jobs, start, "ohm R2 119k")
    assert shown(jobs) == ["120 kΩ", "119 kΩ"]
    file = jobs.folder / "a.toml"
    theirs = file.read_text(encoding="utf-8") + "# theirs\n"
    file.write_text(theirs, encoding="utf-8")
    for seen in (start, second, "", "nonsense"):
        with pytest.raises(ChangedMeanwhileError):
            reading(jobs, seen, "ohm R1 1k")
    assert file.read_text(encoding="utf-8") == theirs


def test_a_job_is_read_again_only_when_a_file_has_changed(
    jobs: JobStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever changes it, job or board, and even if size and time of the file are as before."""
    file, board_file, read = jobs.folder / "a.toml", jobs.folder / "jam.toml", []
    monkeypatch.setattr(job_store, "load_job", lambda path, _: read.append(path) or load_job(path))

    def times() -> int:
        read.clear()
        for _ in range(4):
            jobs.open(file)
        return len(read)

    assert times() <= 2
    assert times() == 0
    reading(jobs, jobs.open(file).version, "ohm R1 120k")
    assert times() == 0
    for path, before, after in ((file, "120 k", "121 k"), (board_file, "10k", "12k")):
        data, stamp = path.read_text(encoding="utf-8"), path.stat().st_mtime_ns
        assert before in data
        path.write_text(data.replace(before, after), encoding="utf-8")
        os.utime(path, ns=(stamp, stamp))
        assert times() >= 1
    open_job = jobs.open(file)
    assert [show_measured(m) for m in open_job.job.measured] == ["121 kΩ"]
    assert open_job.job.board.output.resistor.resistance_ohm == 12e3
    board_file.unlink()
    with pytest.raises(InputError):
        jobs.open(file)


def test_another_server_knows_nothing_of_these_changes(jobs: JobStore) -> None:
    start = jobs.open(jobs.folder / "a.toml").version
    now = reading(jobs, start, "ohm R1 120k").version
    other = JobStore(jobs.folder)
    with pytest.raises(ChangedMeanwhileError):
        reading(other, start, "ohm R2 1k")
    reading(other, now, "ohm R2 119k")
    assert shown(jobs) == ["120 kΩ", "119 kΩ"]


def test_a_change_in_the_last_moment_is_noticed(jobs: JobStore) -> None:
    """After the page has looked at the file, and before it writes."""
    file = jobs.folder / "a.toml"
    theirs = file.read_text(encoding="utf-8") + "# theirs\n"

    def act(open_job: OpenJob, writer: JobFileWriter) -> None:
        file.write_text(theirs, encoding="utf-8")
        writer.write([parse_reading("ohm R1 120k", open_job.circuit)], ())

    with pytest.raises(ChangedMeanwhileError):
        jobs.change(file, jobs.open(file).version, act)
    assert file.read_text(encoding="utf-8") == theirs


@pytest.mark.parametrize("path", ["answer", "meter"])
@pytest.mark.parametrize(
    "text", ["value = 1[[readings]]", '[[readings]]\nfunction = "dcc"\nvalue = 1']
)
def test_a_job_that_cannot_be_read_is_told_of(jobs: JobStore, path: str, text: str) -> None:
    """In words, above the list of jobs."""
    sheet = ReadingsPage(PageState(folder=jobs.folder), jobs)
    file = jobs.folder / "a.toml"
    seen = jobs.open(file).version
    broken = f"{file.read_text(encoding='utf-8')}{text}\n"
    file.write_text(broken, encoding="utf-8")
    body = urlencode(
        {"seen": seen, "where": "another", "say": "ohm R1 1k", "dc_input": "x"}
    ).encode()

    async def receive() -> dict[str, object]:
        return {"type": "http.request", "body": body, "more_body": False}

    route = next(r for r in sheet.routes() if r.path == f"/job/{{name}}/{path}")
    form = (b"content-type", b"application/x-www-form-urlencoded")
    scope = {
        "type": "http",
        "method": "POST",
        "query_string": b"",
        "path": f"/job/a/{path}",
        "path_params": {"name": "a"},
        "headers": [form],
    }
    answer = asyncio.run(route.endpoint(Request(scope, receive)))
    assert answer.status_code == 422
    assert "a.toml: " in unescape(bytes(answer.body).decode())
    assert file.read_text(encoding="utf-8") == broken


def test_a_closed_job_is_left_alone(jobs: JobStore) -> None:
    file = jobs.folder / "a.toml"
    closed = 'closed = 2026-02-03\nfound = "R1 open"\n' + file.read_text(encoding="utf-8")
    file.write_text(closed, encoding="utf-8")
    with pytest.raises(InputError, match="closed on 2026-02-03"):
        reading(jobs, jobs.open(file).version, "ohm R1 120k")
    assert file.read_text(encoding="utf-8") == closed


def test_the_meter_goes_from_job_to_job(jobs: JobStore) -> None:
    file = jobs.folder / "a.toml"
    texts = {"dc_input": "1M", "ac_kind": "average"}
    jobs.change(file, jobs.open(file).version, lambda _, writer: writer.write_meter(texts))
    board = jobs.folder / "jam.toml"
    jobs.begin(jobs.folder / "b.toml", load_board(board), board)
    meter = load_job(jobs.folder / "b.toml").meter
    assert meter.dc_input_ohm == 1e6
    assert str(meter.ac_kind) == "average"
    with pytest.raises(InputError, match="allowed: a new job file"):
        jobs.begin(jobs.folder / "b.toml", load_board(board), board)


def test_the_meter_of_the_settings(jobs: JobStore) -> None:
    """A job that says none is read with it; a new one says it, where no job did before."""
    texts = {"dc_input": "1M", "ac_kind": "average"}
    meter = replace(usual_meter(), dc_input_ohm=1e6, ac_kind=AcKind.AVERAGE)
    bench = JobStore(jobs.folder, Settings(meter=meter, meter_texts=texts))
    open_job = bench.open(jobs.folder / "a.toml")
    assert (open_job.job.meter, open_job.meter) == (meter, texts)
    board = jobs.folder / "jam.toml"
    bench.begin(jobs.folder / "b.toml", load_board(board), board)
    assert load_job(jobs.folder / "b.toml").meter.dc_input_ohm == 1e6
    bench.change(
        jobs.folder / "b.toml",
        bench.open(jobs.folder / "b.toml").version,
        lambda _, writer: writer.write_meter({"dc_input": "3M", "ac_kind": ""}),
    )
    assert bench.open(jobs.folder / "b.toml").job.meter == replace(usual_meter(), dc_input_ohm=3e6)


@pytest.mark.parametrize("name", ["", "../x", "a/b", "C:x", "a\\b", ".x", "a\nb", "x" * 101])
def test_a_job_is_a_file_of_the_folder(name: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"^job: found "):
        PageState(folder=tmp_path).job_file(name)


def no_room(path: Path, before: bytes | None, data: bytes) -> Path:
    """Stands for a disk that takes no more."""
    raise InputError(f"{path.name}: found a place that cannot be written (No space left on device)")


def test_no_board_stays_behind_without_its_job(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its file is written first; there is room for that one only."""
    state = PageState(folder=tmp_path)
    monkeypatch.setattr(job_file, "replace_whole", no_room)
    with pytest.raises(InputError, match="No space left"):
        begin_job(state, JobStore(tmp_path), state.unit("bench"), "jam-job")
    assert list(tmp_path.iterdir()) == []


def test_no_capture_stays_behind_without_its_readings(
    jobs: JobStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = ReadingsPage(PageState(folder=jobs.folder), jobs)
    scope = {"type": "http", "query_string": b"", "path": "/job/a/capture", "headers": []}
    asked = Request({**scope, "path_params": {"name": "a"}})
    seen = jobs.open(jobs.folder / "a.toml").version
    sent = PostedForm({"seen": seen, "where": "capture"}, SCOPE.encode(), "scope.csv")
    before = {each: each.read_bytes() for each in jobs.folder.iterdir()}
    with monkeypatch.context() as patch:
        patch.setattr(job_file, "replace_whole", no_room)
        sheet._take_capture(asked, sent)
    assert {each: each.read_bytes() for each in jobs.folder.iterdir()} == before
    sheet._take_capture(asked, sent)
    assert {each.name for each in jobs.folder.glob("*.csv")} == {"a-capture.csv"}


def test_links_that_lead_nowhere_are_passed_over(jobs: JobStore) -> None:
    """Neither captures nor counts of past faults stop at one."""
    (jobs.folder / "gone.toml").symlink_to("nowhere.toml")
    (jobs.folder / f"a{captures.ENDING}.csv").symlink_to("nowhere.csv")
    before = tasks.stamp_of(jobs.folder)
    assert "a.toml" in before
    assert "gone.toml" not in before
    assert captures.last_capture(jobs.folder / "a.toml") is None
    assert any(entry.file.name == "a.toml" for entry in jobs.history())


@pytest.mark.parametrize(
    "name", ["con", "LPT1.old", "what?", "a:b", "ends.", "nul", "pipe|", "COM¹"]
)
def test_names_that_windows_refuses_are_told(tmp_path: Path, name: str) -> None:
    """Microsoft, "Naming Files, Paths, and Namespaces": letters and names that are reserved."""
    state = PageState(folder=tmp_path)
    with pytest.raises(InputError, match="Windows takes too"):
        begin_job(state, state.jobs, state.unit("bench"), name)
    assert list(tmp_path.iterdir()) == []


def test_a_name_that_only_begins_like_one_of_these_is_taken(tmp_path: Path) -> None:
    state = PageState(folder=tmp_path)
    assert begin_job(state, state.jobs, state.unit("bench"), "console-job").exists()
