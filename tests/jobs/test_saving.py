"""Nothing that happens while a job is saved loses it: kills, no room, no right, other programs."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from datetime import date
from pathlib import Path

import pytest

from tests.jobs.demo_job import HOLDS
from tests.sampled import some
from zcd import files
from zcd.circuit.build import build_circuit
from zcd.cli import main
from zcd.diagnosis.faults import faults_of
from zcd.diagnosis.job import VERSION, load_job
from zcd.diagnosis.job_history import read_job_history
from zcd.diagnosis.reading_syntax import parse_reading
from zcd.errors import InputError
from zcd.files import UNDER_WAY, only_writer, replace_whole, write_whole
from zcd.jobs.closing import close_job, find_fault
from zcd.jobs.job_file import JobFileWriter

CLOSE = ("close", "job.toml", "--found", "R2 drift")
RETEST = ("retest", "board.toml", "-r", "ohm R1 120k", "--job", "job.toml")
NO_ROOM = """\
import resource, sys
sys.dont_write_bytecode = True  # Python 3.11 would leave cut-off ones where there is no room
resource.setrlimit(resource.RLIMIT_FSIZE, (16, 16))
"""
NO_RIGHTS = """\
import ctypes, os, struct, sys
if os.geteuid() == 0:  # the owner only, without the right to overrule
    head = struct.pack("Ii", 0x20080522, 0)
    assert ctypes.CDLL(None).capset(head, bytes(24)) == 0
"""
RUN = "from zcd.cli import main\nraise SystemExit(main(sys.argv[1:]))\n"


@pytest.fixture
def job_file(tmp_path: Path) -> Path:
    (tmp_path / "board.toml").write_text(HOLDS, encoding="utf-8")
    path = tmp_path / "job.toml"
    path.write_text('board = "board.toml"\n', encoding="utf-8")
    return path


def kills(folder: Path, count: int) -> dict[str, int]:
    """What was seen of so many kills."""
    command = [sys.executable, "-m", "tests.jobs.kills", str(folder), str(count), "1"]
    told = subprocess.run(command, check=True, capture_output=True, text=True)
    seen: dict[str, int] = json.loads(told.stdout)
    return seen


@pytest.mark.parametrize("count", [20, pytest.param(1000, marks=pytest.mark.slow)])
def test_a_kill_loses_at_most_the_answer_under_way(tmp_path: Path, count: int) -> None:
    seen = kills(tmp_path, count)
    assert seen["kills"] == count
    assert seen["saved"] > 0
    assert (seen["lost"], seen["broken"], seen["left"]) == (0, 0, 0)


def test_the_prompt_killed_while_one_types(job_file: Path) -> None:
    """Two answers given; the third is typed and not entered."""
    command = [sys.executable, "-c", "import sys\n" + RUN, "diagnose", "job.toml", "--ask"]
    talk = subprocess.Popen(command, cwd=job_file.parent, stdin=subprocess.PIPE,
                            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)  # fmt: skip
    assert talk.stdin is not None
    talk.stdin.write(b"flags sync\nohm R1 120k\nohm R2 12")
    talk.stdin.flush()
    until = time.monotonic() + 120.0
    while b"[[readings]]" not in job_file.read_bytes() and time.monotonic() < until:
        time.sleep(0.05)
    talk.send_signal(signal.SIGKILL)
    talk.communicate()
    job = load_job(job_file)
    assert job.flags == ("sync",)
    assert job.log == (parse_reading("ohm R1 120k", build_circuit(job.board)),)


def refused(folder: Path, start: str, *arguments: str) -> str:
    """What a command says that is run under a limit, and must leave the folder as it is."""
    before = {each: each.read_bytes() for each in folder.iterdir()}
    command = [sys.executable, "-c", start + RUN, *arguments]
    told = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    assert (told.returncode, told.stdout) == (2, "")
    assert {each: each.read_bytes() for each in folder.iterdir()} == before
    line, end = told.stderr.split("\n")
    assert end == ""
    return line


@pytest.mark.parametrize("command", some([CLOSE, RETEST], CLOSE), ids=["close", "retest"])
def test_no_room_on_the_disk(job_file: Path, command: tuple[str, ...]) -> None:
    """A limit of the system itself, which stops the write in the middle."""
    line = refused(job_file.parent, NO_ROOM, *command)
    assert "job.toml: found a place that cannot be written (File too large)" in line


@pytest.mark.parametrize("mode", [0o555, 0o755], ids=["folder", "file"])
def test_a_folder_or_a_file_that_may_only_be_read(job_file: Path, mode: int) -> None:
    job_file.chmod(0o444)
    job_file.parent.chmod(mode)
    try:
        line = refused(job_file.parent, NO_RIGHTS, *CLOSE)
    finally:
        job_file.parent.chmod(0o755)
    assert "job.toml: found a place that cannot be written (Permission denied)" in line


def asked(folder: Path, start: str, typed: str, *arguments: str) -> tuple[int, str, list[str]]:
    """What a prompt ends with, prints and tells, run under a limit."""
    command = [sys.executable, "-c", start + RUN, "diagnose", *arguments, "--ask"]
    told = subprocess.run(
        command, cwd=folder, input=typed, capture_output=True, text=True, check=False
    )
    assert "Traceback" not in told.stderr
    messages = [each.strip() for each in " ".join(told.stderr.split()).split("zcd: ")[1:]]
    return told.returncode, told.stdout, messages


@pytest.mark.parametrize("about", some(["job.toml", "board.toml"], "board.toml"))
def test_an_answer_for_which_there_is_no_room(job_file: Path, about: str) -> None:
    """Nobody is told that it was kept; a job that had none is not begun."""
    files = {each: each.read_bytes() for each in job_file.parent.iterdir()}
    code, out, messages = asked(job_file.parent, NO_ROOM, "ohm R1 120k\nohm R2 1k\n", about)
    assert code == 2
    assert "Kept in" not in out
    name = about if about == "job.toml" else "board-job.toml"
    assert [
        each.startswith(f"{name}: found a place that cannot be written") for each in messages[:2]
    ]
    assert messages[2:] == [
        f"{name}: found no way to keep the last answer, as told above; allowed: the same answer "
        "again, once there is one"
    ]
    assert {each: each.read_bytes() for each in job_file.parent.iterdir()} == files


def test_a_job_that_may_only_be_read(job_file: Path) -> None:
    """It is told what its readings say; an answer is not taken for kept."""
    job_file.write_text(f'{job_file.read_text()}[[readings]]\nfunction = "dc"\nvalue = 4.2\n')
    files = {each: each.read_bytes() for each in job_file.parent.iterdir()}
    for each in files:
        each.chmod(0o444)
    job_file.parent.chmod(0o555)
    try:
        command = [sys.executable, "-c", NO_RIGHTS + RUN, "diagnose", "job.toml", "--json"]
        told = subprocess.run(
            command, cwd=job_file.parent, capture_output=True, text=True, check=False
        )
        code, out, messages = asked(job_file.parent, NO_RIGHTS, "ohm R1 120k\n", "job.toml")
    finally:
        job_file.parent.chmod(0o755)
    assert (told.returncode, told.stderr) == (0, "")
    assert json.loads(told.stdout)["measured"][0]["value_v"] == 4.2
    assert (code, len(messages)) == (2, 2)
    assert "Kept in" not in out
    assert "cannot be written (Permission denied)" in messages[0]
    assert "found no way to keep the last answer" in messages[1]
    assert {each: each.read_bytes() for each in job_file.parent.iterdir()} == files


EDITOR = """\
import sys
from pathlib import Path
from zcd.jobs import conversation
inner = conversation.Answers.take
def take(answers, line, suggested):
    if "R1" in line:
        Path("job.toml").write_text('board = "board.toml"\\nflags = ["fan"]')
    return inner(answers, line, suggested)
conversation.Answers.take = take
"""
"""Another program writes while the first answer is typed."""


@pytest.mark.parametrize(
    "typed", some(["ohm R1 120k\n", "ohm R1 120k\nundo\nend\n"], "ohm R1 120k\nundo\nend\n")
)
def test_another_program_writes_while_one_types(job_file: Path, typed: str) -> None:
    """Its flags stay; the answer is refused, and the end says so."""
    told = asked(job_file.parent, EDITOR, typed, "job.toml")
    assert told[0] == 2
    assert "Kept in" not in told[1]
    assert "found changes made by somebody else meanwhile, and wrote nothing" in told[2][0]
    assert load_job(job_file).flags == ("fan",)
    assert load_job(job_file).log == ()


def test_readings_of_the_command_line_are_kept_before_any_answer(job_file: Path) -> None:
    code, out, messages = asked(
        job_file.parent, "import sys\n", "", "job.toml", "-r", "ohm R1 120k", "-f", "fan"
    )
    assert (code, messages) == (0, [])
    assert "Kept in job.toml" in out
    job = load_job(job_file)
    assert job.log == (parse_reading("ohm R1 120k", build_circuit(job.board)),)
    assert job.flags == ("fan",)


def test_a_folder_that_may_not_be_looked_into(job_file: Path) -> None:
    """Not the same as one without jobs."""
    job_file.parent.chmod(0o311)
    try:
        line = refused(job_file.parent, NO_RIGHTS, "jobs", ".")
    finally:
        job_file.parent.chmod(0o755)
    assert "found a folder that cannot be read (Permission denied)" in line


def test_a_file_removed_meanwhile_stays_so(job_file: Path) -> None:
    job = load_job(job_file)
    circuit = build_circuit(job.board)
    writer = JobFileWriter(job_file, circuit, log=job.log)
    job_file.unlink()
    with pytest.raises(InputError, match=r"job\.toml: found changes made by somebody else"):
        writer.write([parse_reading("ohm R1 120k", circuit)], ())
    with pytest.raises(InputError, match="wrote nothing"):
        close_job(job, find_fault(faults_of(circuit), "R2 drift"), "", date(2026, 5, 6))
    with pytest.raises(InputError, match="wrote nothing"):
        JobFileWriter(job_file, circuit, log=job.log)
    assert [each.name for each in job_file.parent.iterdir()] == ["board.toml"]


def test_a_job_file_says_its_version(job_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One of a later version is told of in one line, whatever else is in it, and left alone."""
    job = load_job(job_file)
    new = job_file.with_name("new.toml")
    writer = JobFileWriter(new, build_circuit(job.board), job.board_file)
    writer.write((), ("sync",))
    text = new.read_text(encoding="utf-8")
    assert f"\nversion = {VERSION}\n" in text
    assert load_job(new).flags == ("sync",)
    later = text.replace(f"version = {VERSION}", "version = 2\nmood = 3")
    new.write_text(later, encoding="utf-8")
    for command in (("close", "--found", "healthy"), ("report",), ("diagnose",)):
        assert main([command[0], str(new), *command[1:]]) == 2
        err = capsys.readouterr().err
        assert "new.toml: version: found 2; allowed: 1 (a newer zcd wrote this file" in err
        assert err.count("\n") == 1
    entry = next(e for e in read_job_history(job_file.parent) if e.file.name == "new.toml")
    assert "version: found 2" in entry.problem
    assert new.read_text(encoding="utf-8") == later


def test_a_board_file_that_was_moved(job_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Told by the line of the job file that names it, with what to do."""
    job_file.with_name("board.toml").rename(job_file.with_name("elsewhere.toml"))
    for command in ("report", "diagnose", "retest"):
        assert main([command, str(job_file)]) == 2
        err = capsys.readouterr().err
        assert re.search(r'job\.toml: board: found "board\.toml"; allowed: .*moved\?', err)
        assert err.count("\n") == 1


def test_a_link_leads_to_what_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "far").mkdir()
    real, link = tmp_path / "far" / "job.toml", tmp_path / "job.toml"
    real.write_bytes(b"old")
    real.chmod(0o640)
    link.symlink_to(real)
    replace_whole(link, b"old", b"new")
    assert link.is_symlink()
    assert real.read_bytes() == b"new"
    assert real.stat().st_mode & 0o777 == 0o640


def test_a_writer_that_does_not_end_is_not_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(files, "PATIENCE_S", 0.05)
    with (
        only_writer(tmp_path),
        pytest.raises(InputError, match="another zcd that has been writing there"),
    ):
        write_whole(tmp_path / "a.html", b"")
    assert list(tmp_path.iterdir()) == []


def test_what_another_machine_may_be_writing_stays(tmp_path: Path) -> None:
    half, old = tmp_path / f"{UNDER_WAY}new", tmp_path / f"{UNDER_WAY}old"
    half.mkdir()
    old.mkdir()
    os.utime(old, (0, 0))
    write_whole(tmp_path / "a.html", b"")
    assert sorted(each.name for each in tmp_path.iterdir()) == [half.name, "a.html"]
