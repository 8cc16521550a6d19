"""A retest in the job file: kept whole, read back, and told in lists and reports."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from tests.diagnosis.atlases import atlas_of
from tests.jobs.demo_job import HOLDS
from zcd.diagnosis.job import Job, load_job
from zcd.diagnosis.job_history import read_job_history, search
from zcd.diagnosis.reading_syntax import parse_reading
from zcd.diagnosis.retest import retest
from zcd.diagnosis.retest_record import RetestReading, RetestRecord, Verdict
from zcd.errors import InputError
from zcd.jobs.retests import (
    board_name_for,
    continued_retest,
    keep_retest,
    readings_of_record,
    retest_record_of,
)
from zcd.report.of_job_history import job_history_table, job_history_to_dict
from zcd.report.of_readings_card import MISSED, WIDE_OHMS
from zcd.report.of_retest_record import (
    not_ready_line,
    retest_record_lines,
    retest_record_table,
)

WRITTEN = """\
# from the shop at the corner
board = "board.toml"
flags = ["sync"]   # the display said so

[[readings]]       # the pin
function = "dc"
value = "4.98 V"
"""
BAD = RetestRecord(
    taken=date(2026, 5, 6),
    verdict=Verdict.NOT_GOOD,
    good_ratio=0.02,
    replaced=("R2 43k",),
    readings=(
        RetestReading(reading="ohms, led+ to led-", shown="OL", good_board="1 kΩ", differs=True),
    ),
)
GOOD = RetestRecord(
    taken=date(2026, 5, 7),
    verdict=Verdict.GOOD,
    good_ratio=0.975,
    by='Ada "the iron"',
    replaced=("R2", "OC1 [817C]"),
    board="repaired.toml",
    ctr_ratio=(0.8, 1.1, 1.5),
    headroom=("1.9", "2.35", "over 100"),
    headroom_weak=("0.9 (short)", "1.1", "1.3"),
    readings=(
        RetestReading(reading="DC volts, pin to logic0", shown="2.65 V", good_board="2.4 V"),
    ),
)


@pytest.fixture
def job_file(tmp_path: Path) -> Path:
    (tmp_path / "board.toml").write_text(HOLDS)
    path = tmp_path / "job.toml"
    path.write_text(WRITTEN)
    return path


def test_what_is_kept_is_read_back_in_order_and_the_rest_stays(job_file: Path) -> None:
    for record in (BAD, GOOD):
        keep_retest(load_job(job_file), record)
    job = load_job(job_file)
    assert job.retests == (BAD, GOOD)
    assert len(job.measured) == 1
    assert job_file.read_text().startswith(WRITTEN)


def test_a_job_without_any_table_takes_one(job_file: Path) -> None:
    job_file.write_text('board = "board.toml"\nflags = []')
    keep_retest(load_job(job_file), GOOD)
    assert load_job(job_file).retests == (GOOD,)


def test_the_last_one_stands_in_the_list_of_jobs(job_file: Path) -> None:
    for record in (BAD, GOOD):
        keep_retest(load_job(job_file), record)
    entries = read_job_history(job_file.parent)
    assert entries[-1].retest == GOOD
    assert search(entries, "iron 817c") == entries[-1:]
    assert "retest: good (98 % sure)" in job_history_table(entries, 1).rows[-1][-1]
    told = job_history_to_dict(entries, ".")["jobs"][-1]["retest"]
    assert (told["verdict"], told["ctr_ratio"]) == ("good", [0.8, 1.1, 1.5])


@pytest.mark.parametrize(
    ("change", "board", "replaced", "continues"),
    [
        ({}, "repaired.toml", (), True),
        ({}, "repaired.toml", ("R7 39k",), True),
        ({}, "repaired.toml", ("R8 47k",), False),
        ({}, "other.toml", (), False),
        ({"verdict": Verdict.NOT_GOOD}, "repaired.toml", (), False),
    ],
)
def test_a_retest_goes_on_from_the_last_one_of_the_same_repair(
    job_file: Path,
    change: dict[str, Verdict],
    board: str,
    replaced: tuple[str, ...],
    continues: bool,
) -> None:
    last = RetestRecord(
        taken=date(2026, 3, 14), good_ratio=0.9, board="repaired.toml", replaced=("R7 39k",),
        **{"verdict": Verdict.UNSURE, **change},
    )  # fmt: skip
    job = replace(load_job(job_file), retests=(last,))
    assert (continued_retest(job, board, replaced) is last) is continues


def test_a_reading_taken_again_replaces_the_kept_one() -> None:
    dictionary = atlas_of("half-wave")
    kept = [parse_reading(t, dictionary.circuit) for t in ("ohm R1 110k", "dc pin logic0 2.65 V")]
    record = retest_record_of(retest(dictionary, kept), date(2026, 3, 14))
    again = parse_reading("dc pin logic0 2.7 V", dictionary.circuit)
    job = Job(board=dictionary.board, meter=dictionary.meter)
    (left,) = readings_of_record(record, job, [again])
    assert left.reading == kept[0].reading
    assert left.value == pytest.approx(110e3)


def test_a_board_file_keeps_no_retest(job_file: Path) -> None:
    with pytest.raises(InputError, match='found "a board file"'):
        keep_retest(load_job(job_file.with_name("board.toml")), GOOD)


def test_words_of_a_retest() -> None:
    assert retest_record_lines(GOOD) == [
        'Retested on 2026-05-07 by Ada "the iron": good (98 % sure).',
        "Replaced: R2, OC1 [817C].",
        "CTR, worked out from the measured low time: 80 % to 150 %, most likely 110 %.",
        "CTR reserve on the bench: 1.9 to over 100 times what the board needs, most likely 2.35.",
        "CTR reserve at low mains, hot: 0.9 (short) to 1.3 times what the board needs, most likely "
        "1.1.",
    ]
    vague = replace(GOOD, ctr_ratio=(0.8, 1.8, 5.0), headroom_weak=())
    assert retest_record_lines(vague)[2:] == [
        "CTR, worked out from the measured low time: 80 % or more.",
        "CTR reserve on the bench: 1.9 times what the board needs, or more.",
    ]
    assert retest_record_table(BAD).rows == (("ohms, led+ to led-", "OL", "1 kΩ", "DIFFERS"),)


def test_the_repaired_board_is_named_from_the_job_file(job_file: Path) -> None:
    job = load_job(job_file)
    folder = job_file.parent
    assert board_name_for(job, folder / "board.toml") == ""
    assert board_name_for(job, folder / "after" / "board.toml") == "after/board.toml"
    assert board_name_for(replace(job, file=None), folder / "board.toml") == ""


@pytest.mark.parametrize(
    ("entry", "message"),
    [
        (
            'verdict = "fine"\ntaken = 2026-05-06\nsure = "9 %"',
            'verdict: found "fine".*one of good',
        ),
        ('verdict = "good"\ntaken = "today"\nsure = "9 %"', 'taken: found "today".*a date'),
        ('verdict = "good"\ntaken = 2026-05-06\nsure = "900 %"', 'sure: found "900 %"'),
        ('verdict = "good"\ntaken = 2026-05-06', "sure: found nothing.*a share such as"),
        ('verdict = "good"\ntaken = 2026-05-06\nsure = 0.9\nctr = ["8 %", "much", "9 %"]', "ctr"),
    ],
)
def test_one_line_tells_what_is_wrong(job_file: Path, entry: str, message: str) -> None:
    job_file.write_text(f"{WRITTEN}\n[[retests]]\n{entry}\n")
    with pytest.raises(InputError, match=message):
        load_job(job_file)


def test_the_verdict_of_a_retest_gives_its_reason() -> None:
    slow = RetestReading(
        reading="low time (scope), pin to logic0",
        shown="4 ms",
        good_board="7.77 ms to 9.15 ms",
        differs=True,
    )
    record = replace(BAD, replaced=(), readings=(slow,))
    assert retest_record_lines(record) == ["Retested on 2026-05-06: not good: low time differs."]
    assert not_ready_line((GOOD, record)) == (
        "NOT READY. The last retest failed: low time 4 ms (good 7.77 ms to 9.15 ms)."
    )
    assert not_ready_line((record, GOOD)) == not_ready_line(()) == ""
    unsure = replace(GOOD, verdict=Verdict.UNSURE, good_ratio=0.94)
    sure = ": not passed, 94 % sure that the board is good (95 % needed)."
    assert retest_record_lines(unsure)[0].endswith(sure)


def test_what_cells_of_the_record_leave_open_is_said_below_them() -> None:
    """0 Hz is what a dead circuit reads: there DC volts tell more."""
    beside = RetestReading(
        reading="ohms, across R1 to R2", shown="29.8 kΩ", good_board="up to 32 kΩ"
    )
    narrow = RetestReading(reading="frequency, pin", shown="120 Hz", good_board="120 Hz or 0")
    assert retest_record_table(GOOD).remark == ""
    assert retest_record_table(replace(GOOD, readings=(beside,))).remark == WIDE_OHMS
    missed = retest_record_table(replace(GOOD, readings=(narrow, replace(narrow, shown="0 Hz"))))
    assert missed.remark == MISSED
    assert [row[-1] for row in missed.rows] == ["good", "proves nothing"]
