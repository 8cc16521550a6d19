"""Job files as people and editors lay them out: added to without loss, or refused.

What a file holds is told by `tomllib`, Python's own reader of TOML 1.0, never by what wrote it.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Callable, Iterator
from datetime import date
from itertools import cycle, product
from pathlib import Path
from typing import Any

import pytest

from tests.jobs.demo_job import HOLDS
from zcd.circuit.build import build_circuit
from zcd.diagnosis.faults import faults_of
from zcd.diagnosis.job import load_job
from zcd.diagnosis.reading_syntax import parse_reading
from zcd.diagnosis.retest_record import RetestReading, RetestRecord, Verdict
from zcd.errors import InputError
from zcd.jobs import job_text
from zcd.jobs.closing import close_job, find_fault
from zcd.jobs.job_file import JobFileWriter
from zcd.jobs.retests import keep_retest

TODAY = date(2026, 5, 6)
Plain = dict[str, Any]

NOTES = {
    "none": "",
    "line": 'note = "hums"  # [sic]\n',
    "header inside": "note = '''\n[readings]\n[[readings]]\nvalue = \"4.21 V\"\n'''\n",
    "quoted header": 'note = """\\\n  [meter] \\\n  [[retests]]\n"""\n',
    "multi-line list": 'flags = [\n  "sync", # [display]\n]\n',
}
READINGS = {
    "none": "",
    "tables": '# the pin\n[[readings]]   # first\nfunction = "dc"\nvalue = "4.98 V"\n',
    "indented": '  [[ readings ]]\n    function = "dc"\n    value = 4.98\n',
    "in brackets": 'readings = [{function = "dc", value = "4.98 V"}]\n',
    "brackets, a line each": (
        'readings = [\n  {function = "dc", value = 4.98}, # [1]\n'
        '  {over = "R1", function = "ohm", value = "OL"},\n]\n'
    ),
    "empty brackets": "readings = []  # none yet\n",
    "dotted": 'readings = [{function = "dc", value = "1 V"}]\nmeter.dc_input = "1M"\n',
}
REST = {
    "none": "",
    "meter": '\n# mine\n[meter]\ndc_input = "10M"\n',
    "meter in braces": 'meter = {dc_input = "10M"}\n',
    "retests": (
        '\n[[retests]]\ntaken = 2026-05-05\nverdict = "good"\nsure = "97 %"\n'
        'readings = [\n  {reading = "DC volts, [pin]", shown = "4.9 V"},\n]\n'
    ),
    "retests in brackets": (
        'retests = [{taken = 2026-05-05, verdict = "not good", sure = "2 %"}] # [once]\n'
    ),
    "readings after the meter": (
        '[meter]\ndc_input = "10M"\n[[readings]]\nfunction = "dc"\nvalue = "nothing"\n'
    ),
}
ENDS: dict[str, Callable[[str], bytes]] = {
    "as it is": lambda text: text.encode(),
    "no last line end": lambda text: text.rstrip("\n").encode(),
    "Windows": lambda text: text.replace("\n", "\r\n").encode(),
    "Windows, no last line end": lambda text: text.rstrip("\n").replace("\n", "\r\n").encode(),
    "byte order mark": lambda text: b"\xef\xbb\xbf" + text.encode(),
    "empty lines at the end": lambda text: f"{text}\n\n".encode(),
    "a comment at the end": lambda text: f"{text}# [end]".encode(),
}


@pytest.fixture
def job_file(tmp_path: Path) -> Path:
    (tmp_path / "board.toml").write_text(HOLDS)
    return tmp_path / "job.toml"


@pytest.fixture
def no_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    """For the disk, many hundred times; what is meant is what is written."""
    monkeypatch.setattr(os, "fsync", lambda file: None)


def said_by(data: bytes) -> Plain:
    return tomllib.loads(data.decode("utf-8-sig"))


def answer(path: Path) -> Plain:
    """One more reading."""
    job = load_job(path)
    circuit = build_circuit(job.board)
    writer = JobFileWriter(path, circuit, log=job.log)
    writer.keep([*job.log, parse_reading("ohm R2 lifted 150k", circuit)], job.flags)
    assert load_job(path).log == writer.log
    entry = {"function": "ohm", "over": "R2", "lifted": True, "value": "150 kΩ"}
    return {"readings": [entry]}


def retest(path: Path) -> Plain:
    """One more retest, with a table in a table."""
    again = RetestReading(reading="DC volts, pin to logic0", shown="2.65 V", good_board="2.4 V")
    record = RetestRecord(taken=TODAY, verdict=Verdict.GOOD, good_ratio=0.975, readings=(again,))
    keep_retest(load_job(path), record)
    assert load_job(path).retests[-1] == record
    readings = [{"reading": again.reading, "shown": "2.65 V", "good_board": "2.4 V"}]
    return {
        "retests": [{"taken": TODAY, "verdict": "good", "sure": "97.5 %", "readings": readings}]
    }


def close(path: Path) -> Plain:
    """What it was."""
    job = load_job(path)
    close_job(job, find_fault(faults_of(build_circuit(job.board)), "R2 drift"), "both", TODAY)
    assert load_job(path).closed == TODAY
    return {"found": "R2 drift", "kind": "resistor drift", "repair": "both", "closed": TODAY}


def meter(path: Path) -> Plain:
    """Another key of the meter."""
    job = load_job(path)
    writer = JobFileWriter(path, build_circuit(job.board), log=job.log)
    writer.write_meter({"ac_kind": "average"})
    return {"meter": {"ac_kind": "average"}}


def joined(before: Plain, added: Plain) -> Plain:
    """The old content plus the new, which goes behind it in lists."""
    both = dict(before)
    for key, new in added.items():
        old = before.get(key)
        both[key] = [*old, *new] if isinstance(old, list) else {**old, **new} if old else new
    return both


def texts() -> list[str]:
    """Job files in which every note meets every way to write readings, and so on."""
    result = []
    for note, readings, rest in product(NOTES, READINGS, REST):
        lines = [NOTES[note], READINGS[readings], REST[rest]]
        # keys of the file itself stand before all tables
        lines.sort(key=lambda part: part.lstrip().startswith(("[", "#")))
        text = "".join(['# mine\nboard = "board.toml"\n', *lines])
        try:
            tomllib.loads(text)
        except tomllib.TOMLDecodeError:
            continue  # such as a list in brackets that tables go on with
        result.append(text)
    return result


def files(every: bool, turn: int = 0) -> Iterator[tuple[str, bytes]]:
    """Job files, every other with one kind of ends, or each with all; and the name of those."""
    if every:
        yield from ((ends, ENDS[ends](text)) for text, ends in product(texts(), ENDS))
    else:
        yield from ((ends, ENDS[ends](text)) for text, ends in zip(texts()[turn::2], cycle(ENDS)))


EVERY = pytest.mark.parametrize(
    "every", [False, pytest.param(True, marks=pytest.mark.slow)], ids=["sample", "every"]
)


@EVERY
@pytest.mark.parametrize(("turn", "act"), [(0, answer), (1, retest), (0, close), (1, meter)])
def test_the_old_content_and_the_new(
    turn: int, act: Callable[[Path], Plain], every: bool, job_file: Path, no_waiting: None
) -> None:
    for ends, before in files(every, turn):
        job_file.write_bytes(before)
        added = act(job_file)
        after = job_file.read_bytes()
        assert said_by(after) == joined(said_by(before), added)
        comments = [line.partition("#")[2].strip() for line in before.decode().splitlines()]
        assert [comment for comment in comments if comment not in after.decode()] == []
        assert after.startswith(b"\xef\xbb\xbf") == before.startswith(b"\xef\xbb\xbf")
        assert (after.count(b"\r\n") == after.count(b"\n")) == ("Windows" in ends)


@EVERY
def test_an_answer_taken_back(every: bool, job_file: Path, no_waiting: None) -> None:
    """What was there before it is there after it."""
    for _, before in files(every):
        job_file.write_bytes(before)
        log = load_job(job_file).log
        answer(job_file)
        job = load_job(job_file)
        JobFileWriter(job_file, build_circuit(job.board), log=job.log).keep(log, job.flags)
        held = said_by(job_file.read_bytes())
        assert held.pop("readings", []) == said_by(before).get("readings", [])
        assert held == {k: v for k, v in said_by(before).items() if k != "readings"}


def test_only_what_is_added_is_new(job_file: Path) -> None:
    """Of a file in the usual layout not a line changes, nor its place among the others."""
    text = (
        '# mine\nboard = "board.toml"\nnote = """\n[x]\n"""\n\n# [why]\n[meter]\nac_input = "1M"\n'
        '\n[[readings]] # 1\nfunction = "dc"\nvalue = 1  # V\n\n# later\n[[retests]]\n'
        'taken = 2026-05-05\nverdict = "good"\nsure = "97 %"'
    )
    job_file.write_text(text)
    for act in (answer, retest, meter, close):
        act(job_file)
    lines = iter(job_file.read_text().splitlines())
    assert [line for line in text.splitlines() if line not in lines] == []


def test_a_layout_that_would_lose_something_is_refused(
    job_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever is behind it: a text that says anything else than it should is not written."""
    import tomlkit

    before = (
        'board = "board.toml"\n[[readings]]\nfunction = "dc"\nvalue = "4.21 V"\n'
        '[meter]\ndc_input = "1M"\n'
    )
    job_file.write_text(before)
    inner = tomlkit.dumps
    for wrong in (
        lambda text: text.replace("4.21 V", "4.2 V"),
        lambda text: re.sub(r'"4\.21 V"\n+', '"4.21 V"', text),
        lambda text: text.replace("150 kΩ", "15 kΩ").replace("97.5 %", "9 %").replace("both", ""),
        lambda text: "",
    ):
        for act in (answer, retest, close):
            with monkeypatch.context() as patch:
                patch.setattr(tomlkit, "dumps", lambda *a, wrong=wrong: wrong(inner(*a)))
                with pytest.raises(InputError, match=r"^job\.toml: found a layout .*wrote nothing"):
                    act(job_file)
            assert job_file.read_text() == before


def test_a_file_that_is_none_by_now_is_left_alone(job_file: Path) -> None:
    """An editor has saved something else, or half of it, since it was read."""
    job_file.write_text('board = "board.toml"\n')
    job = load_job(job_file)
    circuit = build_circuit(job.board)
    writer = JobFileWriter(job_file, circuit)
    fault = find_fault(faults_of(circuit), "R2 drift")
    record = RetestRecord(taken=TODAY, verdict=Verdict.GOOD, good_ratio=0.9)
    for theirs, told in (
        (b'board = "board.toml"\nnote = "', "a quote that is not closed"),
        (b'board = "board.toml"\nmood = 3\n', "mood"),
        (b"", "an empty file"),
        (b"\xff\xfe", "bytes that are not UTF-8 text in line 1"),
        (b'version = 2\nboard = "board.toml"\n', "version: found 2; .*newer zcd"),
    ):
        job_file.write_bytes(theirs)
        for act in (
            lambda: close_job(job, fault, "", TODAY),
            lambda: keep_retest(job, record),
            lambda: writer.keep([parse_reading("ohm R1 1k", circuit)], ()),
        ):
            with pytest.raises(InputError, match=rf"^job\.toml: .*{told}"):
                act()
        assert job_file.read_bytes() == theirs


def test_a_file_stays_small_enough_to_be_read(
    job_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(job_text, "LARGEST_FILE_BYTES", 100)
    before = 'board = "board.toml"\n' + "#" * 60
    job_file.write_text(before)
    for act in (answer, retest, close):
        with pytest.raises(InputError, match=r"^job\.toml: found [1-3]\d\d bytes to write"):
            act(job_file)
        assert job_file.read_text() == before


def test_what_no_file_can_hold_is_refused(job_file: Path) -> None:
    """Bytes of the command line that are no UTF-8."""
    job_file.write_text('board = "board.toml"\n')
    job = load_job(job_file)
    fault = find_fault(faults_of(build_circuit(job.board)), "R2 drift")
    with pytest.raises(InputError, match="found a text that is not UTF-8"):
        close_job(job, fault, "R2 \udcff", TODAY)
    assert job_file.read_text() == 'board = "board.toml"\n'
