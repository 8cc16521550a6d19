"""Many processes at one job file in the same moment: what was said holds, and nothing else."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest

from tests.jobs.crowd import Command, Said, crowd
from tests.jobs.demo_job import HOLDS
from zcd.circuit.build import build_circuit
from zcd.diagnosis.job import load_job
from zcd.diagnosis.reading_syntax import parse_reading

NOTE = "note = '''\n[readings]\n'''  # mine\n"


@pytest.fixture
def job_file(tmp_path: Path) -> Path:
    """Without a last line end, as many editors leave it."""
    (tmp_path / "board.toml").write_text(HOLDS)
    path = tmp_path / "job.toml"
    path.write_text(f'{NOTE}board = "board.toml"\n[[readings]]\nfunction = "dc"\nvalue = "4.21 V"')
    return path


def closers(count: int) -> list[Command]:
    return [
        (["close", "job.toml", "--found", "R2 drift", "--repair", f"by {n}"], "")
        for n in range(count)
    ]


def answerers(count: int) -> list[Command]:
    return [
        (["diagnose", "job.toml", "--ask", "--no-record"], f"ohm R1 {100 + n}k\n")
        for n in range(count)
    ]


def require_told(said: Said) -> None:
    """In one line, with the code for what cannot be used."""
    assert said.code == 2
    assert re.fullmatch(r"zcd: job\.toml: found [^\n]*; allowed: [^\n]*\n", said.err)


def require_sound(job_file: Path) -> None:
    """What was there is there, and nothing beside."""
    assert job_file.read_text().startswith(NOTE)
    assert load_job(job_file).log[0].value == 4.21
    assert sorted(each.name for each in job_file.parent.iterdir()) == ["board.toml", "job.toml"]


@pytest.mark.parametrize("count", [4, pytest.param(60, marks=pytest.mark.slow)])
def test_one_of_many_closes_the_job(job_file: Path, count: int) -> None:
    told = crowd(job_file.parent, closers(count))
    (winner,) = (number for number, said in enumerate(told) if said.code == 0)
    assert told[winner].out == "job.toml closed: R2 gone high. Next: zcd report job.toml\n"
    for said in told[:winner] + told[winner + 1 :]:
        require_told(said)
        assert "found a job that was closed on 2" in said.err
        assert said.out == ""
    job = load_job(job_file)
    assert (job.found, job.repair) == ("R2 drift", f"by {winner}")
    require_sound(job_file)


@pytest.mark.parametrize("count", [3, pytest.param(60, marks=pytest.mark.slow)])
def test_what_many_said_was_kept_is_there(job_file: Path, count: int) -> None:
    told = crowd(job_file.parent, answerers(count))
    kept = [n for n, said in enumerate(told) if said.code == 0]
    for number, said in enumerate(told):
        assert ("Kept in job.toml" in said.out) == (number in kept)
        assert number in kept or said.code == 2
    job = load_job(job_file)
    circuit = build_circuit(job.board)
    wanted = [parse_reading(f"ohm R1 {100 + n}k", circuit).value for n in kept]
    assert Counter(m.value for m in job.measured[1:]) == Counter(wanted)
    assert len(kept) == count
    require_sound(job_file)


@pytest.mark.parametrize("count", [2, pytest.param(20, marks=pytest.mark.slow)])
def test_answers_retests_and_an_end_at_once(job_file: Path, count: int) -> None:
    """All that was said to be kept or closed is; an answer after the end is refused."""
    retests: list[Command] = [
        (["retest", "board.toml", "-r", "ohm R1 100k", "--job", "job.toml", "--by", f"{n}"], "")
        for n in range(count)
    ]
    asked = [*answerers(count), *retests, *closers(count)]
    told = crowd(job_file.parent, asked)
    answers, again, ends = told[:count], told[count : 2 * count], told[2 * count :]
    assert sorted(said.code for said in ends) == [0] + [2] * (count - 1)
    assert all("Kept in job.toml" in said.out and said.code < 2 for said in again)
    job = load_job(job_file)
    assert sorted(record.by for record in job.retests) == sorted(map(str, range(count)))
    assert len(job.log) == 1 + sum("Kept in job.toml" in said.out for said in answers)
    assert {said.code for said in answers} <= {0, 2}
    assert job.found == "R2 drift"
    require_sound(job_file)
