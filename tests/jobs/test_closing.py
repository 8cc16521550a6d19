"""Closing a job: its file says what it was, and stays a person's file."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from tests.diagnosis.boards import board
from tests.jobs.demo_job import HOLDS
from zcd.circuit.build import build_circuit
from zcd.diagnosis.faults import faults_of
from zcd.diagnosis.job import load_job
from zcd.errors import InputError
from zcd.jobs import closing
from zcd.jobs.closing import close_job, find_fault

TODAY = date(2026, 5, 6)
WRITTEN = """\
# from the shop at the corner
board = "board.toml"
flags = ["sync"]   # the display said so

[[readings]]       # the pin
function = "dc"
value = "4.98 V"
"""


@pytest.fixture
def job_file(tmp_path: Path) -> Path:
    (tmp_path / "board.toml").write_text(HOLDS)
    path = tmp_path / "job.toml"
    path.write_text(WRITTEN)
    return path


def close(path: Path, found: str = "R2 drift", repair: str = "R1, R2 renewed") -> None:
    job = load_job(path)
    close_job(job, find_fault(faults_of(build_circuit(job.board)), found), repair, TODAY)


def test_what_it_was_is_read_back_and_the_rest_stays(job_file: Path) -> None:
    close(job_file)
    job = load_job(job_file)
    assert (job.found, job.repair, job.closed) == ("R2 drift", "R1, R2 renewed", TODAY)
    assert len(job.measured) == 1
    text = job_file.read_text()
    assert [line for line in WRITTEN.splitlines() if line not in text] == []
    assert 'kind = "resistor drift"' in text


def test_a_job_without_readings_and_without_a_last_line_end(job_file: Path) -> None:
    job_file.write_text('board = "board.toml"\nflags = []')
    close(job_file, "healthy", "")
    job = load_job(job_file)
    assert (job.found, job.repair, job.closed) == ("healthy", "", TODAY)


@pytest.mark.parametrize(
    ("written", "key"),
    [
        ("R2 burnt", "R2 open"),
        ("r2 has drifted", "R2 drift"),
        ("D1 shorted", "D1 short"),
        ("OC1 LED dead", "OC1 LED open"),
        ("OC1 weak", "OC1 aged"),
        ("opto weak", "OC1 aged"),
        ("optocoupler worn", "OC1 aged"),
        ("pull-up loose joint", "pull-up intermittent"),
        ("dry joint at R2", "R2 intermittent"),
        ("cold joint R2", "R2 intermittent"),
        ("R2 dry joint", "R2 intermittent"),
        ("R2 cracked solder joint", "R2 intermittent"),
        ("R2 O/C", "R2 open"),
        ("R2 a tenth of its value fitted", "R2 wrong value x0.1"),
        ("diode S/C", "D1 short"),
        ("rectifier wrong way round", "D1 reversed"),
        ("LED open circuit", "OC1 LED open"),
        ("transistor shorted", "OC1 transistor short"),
        ("pullup burnt", "pull-up open"),
        ("micro dead", "controller input dead"),
        ("no fault found", "healthy"),
    ],
)
def test_words_of_the_trade_are_taken(job_file: Path, written: str, key: str) -> None:
    assert find_fault(faults_of(build_circuit(load_job(job_file).board)), written).key == key


@pytest.mark.parametrize(
    ("written", "key"),
    [
        ("R1 and R2 drifted", "R1 drift + R2 drift"),
        ("R1, R2 burnt", "R1 open + R2 open"),
        ("R1 open + R2 drifted", "R1 open + R2 drift"),
        ("R1 R2 burnt", "R1 open + R2 open"),
        ("R2 and R2 drifted", "R2 drift"),
    ],
)
def test_two_parts_are_two_faults(job_file: Path, written: str, key: str) -> None:
    """The sheet and the record have both, and none is looked for that was found."""
    close(job_file, written)
    assert load_job(job_file).found == key


@pytest.mark.parametrize(
    ("written", "key"),
    [
        ("relay contact burnt", "K1 contact resistive"),
        ("K1 contact burnt", "K1 contact resistive"),
        ("dirty contacts", "K1 contact resistive"),
        ("relay contacts stuck", "K1 contact welded"),
        ("coil burnt", "K1 coil open"),
    ],
)
def test_a_relay_is_named_by_its_pieces(written: str, key: str) -> None:
    """A burnt contact still closes; a burnt coil does not."""
    assert find_fault(faults_of(build_circuit(board("switched"))), written).key == key


@pytest.mark.parametrize(
    ("written", "offered"),
    [
        ("relay dead", "one of these: K1 coil open, K1 driver open, K1 contact open"),
        ("R2 wrong value", "one of these: R2 low, R2 wrong value x"),
        ("no 5 V", "supply missing"),
        ("fuse blown", "one of these: mains missing$"),
        ("triac", "one of these: drive not firing$"),
        ("moisture", "chain leaky"),
        ("R1, R2 and D1 burnt", r'one fault, or two with a plus: "R1 open \+ R2 open"'),
    ],
)
def test_what_is_not_one_fault_is_offered(written: str, offered: str) -> None:
    with pytest.raises(InputError, match=offered):
        find_fault(faults_of(build_circuit(board("switched"))), written)


def test_a_part_alone_is_offered_its_faults(job_file: Path) -> None:
    faults = faults_of(build_circuit(load_job(job_file).board))
    with pytest.raises(InputError, match=r"one of these: R2 open, R2 drift"):
        find_fault(faults, "R2")


def test_what_is_not_understood_is_told_how_to_write(job_file: Path) -> None:
    faults = faults_of(build_circuit(load_job(job_file).board))
    with pytest.raises(InputError, match=r'PART and one of .*\(dry joint\), such as "R\d+ inter'):
        find_fault(faults, "something odd")


def test_what_a_person_types_is_text(job_file: Path) -> None:
    close(job_file, repair='"""\n[[readings]]\nx = 1')
    assert load_job(job_file).repair == '"""\n[[readings]]\nx = 1'


def test_a_closed_job_is_not_closed_again(job_file: Path) -> None:
    close(job_file)
    before = job_file.read_text()
    with pytest.raises(InputError, match="closed on 2026-05-06"):
        close(job_file, "R1 open")
    assert job_file.read_text() == before


def test_a_board_file_is_no_job(job_file: Path) -> None:
    with pytest.raises(InputError, match='found "a board file"'):
        close(job_file.with_name("board.toml"))


def test_the_nearest_fault_is_named(job_file: Path) -> None:
    with pytest.raises(InputError, match="R2 drift"):
        close(job_file, "R2 drfit")


def test_case_and_spaces_do_not_matter(job_file: Path) -> None:
    close(job_file, "  r2   DRIFT ")
    assert load_job(job_file).found == "R2 drift"


def test_a_change_by_somebody_else_is_kept(job_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file is read again before it is replaced."""
    inner = closing._with_keys

    def meanwhile(text: str, keys: str) -> str:
        job_file.write_text("# changed\n")
        return inner(text, keys)

    monkeypatch.setattr(closing, "_with_keys", meanwhile)
    with pytest.raises(InputError, match="changes made by somebody else"):
        close(job_file)
    assert job_file.read_text() == "# changed\n"


def test_free_words_are_answered_with_the_faults_they_may_mean(job_file: Path) -> None:
    with pytest.raises(InputError, match="OC1 transistor short"):
        close(job_file, "the transistor of the optocoupler was shorted")
