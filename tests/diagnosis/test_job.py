"""Job files: what they say, and one line for each thing that is wrong."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.diagnosis.boards import TEXTS
from zcd.circuit.build import build_circuit
from zcd.diagnosis.functions import Function
from zcd.diagnosis.job import Job, load_job
from zcd.diagnosis.meters import OVERLOAD, AcKind, usual_meter
from zcd.diagnosis.reading_syntax import parse_reading
from zcd.errors import InputError
from zcd.report.of_diagnosis import flags_line

BOARD = 'board = "proofer.toml"\n'
READING = BOARD + "[[readings]]\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a board file."""
    (tmp_path / "proofer.toml").write_text(TEXTS["switched"], encoding="utf-8")
    return tmp_path


def job(folder: Path, text: str) -> Job:
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return load_job(folder / "job.toml")


GOOD = (
    BOARD
    + """\
note = "came in without its fan"
flags = ["sync", "fan"]
[meter]
dc_input = "1M"
ac_kind = "average"
dc_accuracy = "0.5 %"
[[readings]]
function = "dc"
value = "4.98 V"
[[readings]]
function = "ohm"
over = "r2"
value = "OL"
[[readings]]
function = "ac"
red = "feed"
black = "neutral"
value = 0.3
"""
)


def test_good_job(folder: Path) -> None:
    result = job(folder, GOOD)
    assert result.board.name == "Invented dough proofer"
    assert result.flags == ("sync", "fan")
    assert result.note == "came in without its fan"
    assert result.meter.dc_input_ohm == 1e6
    assert result.meter.ac_kind is AcKind.AVERAGE
    assert result.meter.dc_accuracy_ratio == pytest.approx(0.005)
    assert result.meter.ac_input_ohm == usual_meter().ac_input_ohm
    taken = [(m.reading.function, m.reading.red, m.reading.black, m.value) for m in result.measured]
    assert taken == [
        (Function.DC, "pin", "logic0", 4.98),
        (Function.OHM, "chain.1", "chain.2", OVERLOAD),
        (Function.AC, "feed", "neutral", 0.3),
    ]


@pytest.mark.parametrize("lifted", ["false", "true"])
@pytest.mark.parametrize("black", ["chain.1", "R1/R2"])
def test_a_reading_may_be_named_as_the_output_names_it(
    folder: Path, lifted: str, black: str
) -> None:
    """Probes and the part between them, where they agree."""
    path, where = folder / "job.toml", f'function = "ohm"\nred = "chain.2"\nblack = "{black}"\n'
    path.write_text(f'{READING}{where}over = "R2"\nlifted = {lifted}\nvalue = "130k"')
    (result,) = load_job(path).measured
    assert (result.reading.red, result.reading.black) == ("chain.2", "chain.1")
    assert result.reading.lifted == ("R2" if lifted == "true" else "")
    path.write_text(f'{READING}{where}over = "R1"\nlifted = {lifted}\nvalue = "130k"')
    with pytest.raises(InputError, match="or all three where they agree"):
        load_job(path)


@pytest.mark.parametrize("turned", ["false", "true"])
def test_a_reading_over_several_parts_as_every_screen_names_it(folder: Path, turned: str) -> None:
    """As `-r "ohm R1 to R2 OL"` reads it."""
    path = folder / "job.toml"
    over = f'function = "ohm"\nover = "R1 to R2"\nreversed = {turned}\nvalue = "OL"'
    path.write_text(READING + over)
    (result,) = load_job(path).measured
    backwards = " reversed" if turned == "true" else ""
    assert result == parse_reading(
        f"ohm R1 to R2{backwards} OL", build_circuit(load_job(path).board)
    )
    path.write_text(READING + over.replace("to R2", "to R9"))
    with pytest.raises(InputError, match=r"readings\[1\].over: .*R9"):
        load_job(path)


def test_board_file_is_a_job_without_readings(folder: Path) -> None:
    result = load_job(folder / "proofer.toml")
    assert (result.measured, result.flags) == ((), ())
    assert result.meter == usual_meter()


BAD = {
    "unknown key": (BOARD + "colour = 3", "job.toml: colour: found",
                    "allowed: version, board, appliance, note"),
    "unknown key of a reading": (READING + 'function = "dc"\nvalue = 1\nzinc = 2',
                                 "readings[1].zinc", "allowed: function"),
    "missing board file": ('board = "gone.toml"', 'board: found "gone.toml"',
                           "a board file beside"),
    "board is a folder": ('board = "."', "found a directory", "board file"),
    "no board": ('[[readings]]\nfunction = "dc"\nvalue = 1', "job.toml: board: found nothing",
                 "allowed: the board file's name"),
    "board is no text": ("board = 3", "job.toml: board: found 3", "allowed"),
    "unknown node": (READING + 'function = "dc"\nred = "tp9"\nblack = "logic0"\nvalue = 1',
                     "job.toml: readings[1]", "tp9"),
    "across": (READING + 'function = "dc"\nred = "line"\nblack = "logic0"\nvalue = 1',
               "job.toml: readings[1]", "same side of the optocoupler"),
    "one probe": (READING + 'function = "dc"\nred = "pin"\nvalue = 1', "readings[1]", "`black`"),
    "unknown part": (READING + 'function = "ohm"\nover = "R9"\nvalue = 1', "readings[1].over",
                     "allowed: one of"),
    "hidden part": (READING + 'function = "ohm"\nover = "OC1.led.leak"\nvalue = 1',
                    'readings[1].over: found "OC1.led.leak"', "allowed: one of"),
    "both ways": (READING + 'function = "ohm"\nover = "R1"\nred = "pin"\nvalue = 1',
                  "readings[1].over", "either `over`"),
    "unknown function": (READING + 'function = "amps"\nvalue = 1', "readings[1].function",
                         "allowed: one of dc"),
    "function is no text": (READING + "function = 3\nvalue = 1", "readings[1].function: found 3",
                            "allowed"),
    "bad value": (READING + 'function = "dc"\nvalue = "much"', 'readings[1].value: found "much"',
                  "allowed: DC volts"),
    "no value": (READING + 'function = "dc"', "readings[1].value: found nothing", "allowed"),
    "overload of volts": (READING + 'function = "dc"\nvalue = "OL"', 'found "OL"',
                          "allowed: DC volts"),
    "yes": (READING + 'function = "ohm"\nover = "R1"\nlifted = "yes"\nvalue = 1',
            'readings[1].lifted: found "yes"', "allowed: true (one end of the part is lifted) or"),
    "one": (READING + 'function = "ohm"\nover = "R1"\nreversed = 1\nvalue = 1',
            "readings[1].reversed: found 1", "allowed: true (probes the other way round) or false"),
    "no date": (BOARD + "closed = 0", "closed: found 0", "allowed: a date such as 2026-03-14"),
    "no such date": (BOARD + 'closed = "2026-02-30"', 'closed: found "2026-02-30"', "2026-03-14"),
    "a moment": (BOARD + "closed = 2026-03-14T00:00:00", "closed: found 2026-03-14 00:00:00",
                 "allowed: a date such as 2026-03-14"),
    "nan": (READING + 'function = "dc"\nvalue = nan', "readings[1].value: found nan", "allowed"),
    "inf": (READING + 'function = "ohm"\nover = "R1"\nvalue = inf', "value: found inf", '"OL"'),
    "negative AC": (READING + 'function = "ac"\nred = "feed"\nblack = "neutral"\nvalue = -1',
                    "found -1", "allowed: AC volts from 0 V"),
    "true": (READING + 'function = "dc"\nvalue = true', "readings[1].value: found true", "allowed"),
    "a list": (READING + 'function = "dc"\nvalue = [1]', "readings[1].value: found a list",
               "allowed"),
    "a table": (READING + 'function = "dc"\nvalue = {a = 1}', "readings[1].value: found a table",
                "allowed"),
    "a date": (READING + 'function = "dc"\nvalue = 2026-01-02', "readings[1].value: found 2026",
               "allowed"),
    "unknown flag": (BOARD + 'flags = ["door"]', 'flags[1]: found "door"', "one of sync, fan"),
    "flags are text": (BOARD + 'flags = "sync"', 'flags: found "sync"', "a list"),
    "bad meter": (BOARD + '[meter]\nac_kind = "moving iron"', "meter.ac_kind: found",
                  "one of true-rms"),
    "meter out of range": (BOARD + '[meter]\ndc_input = "1"', "meter.dc_input: found",
                           "allowed: an input resistance from"),
    "meter is a number": (BOARD + "meter = 3", "job.toml: meter: found 3", "a table"),
    "readings are a number": (BOARD + "readings = 3", "job.toml: readings: found 3",
                              "[[readings]]"),
    "only flags": ('flags = ["sync"]', "job.toml: board: found nothing",
                   "allowed: the board file's name"),
    "only a note": ('note = "x"', "job.toml: board: found nothing",
                    "allowed: the board file's name"),
    "only a meter": ('[meter]\nac_kind = "average"', "job.toml: board: found nothing",
                     "allowed: the board file's name"),
    "bare duty": (READING + 'function = "duty"\nvalue = 0.5', "readings[1].value: found 0.5",
                  'allowed: a share of time such as "48 %"'),
    "no TOML": ("= 1", "job.toml: found text that is no TOML", "allowed"),
    "empty": ("", "job.toml: found an empty file", "allowed: a job or board file"),
    "blank": ("\n \n", "job.toml: found an empty file", "allowed: a job or board file"),
}  # fmt: skip


@pytest.mark.parametrize("name", list(BAD))
def test_bad_job_is_refused(folder: Path, name: str) -> None:
    """The file, the key, what was found and what is allowed, on each line."""
    text, result, allowed = BAD[name]
    with pytest.raises(InputError) as caught:
        job(folder, text)
    message = str(caught.value)
    assert result in message
    assert allowed in message
    for line in message.splitlines():
        assert ".toml: " in line or folder.name in line


def test_every_problem_has_its_line(folder: Path) -> None:
    text = READING + 'function = "dc"\nvalue = "x"\n[[readings]]\nfunction = "watts"\nvalue = 1\n'
    with pytest.raises(InputError) as caught:
        job(folder, text)
    lines = str(caught.value).splitlines()
    assert [line.split(":")[1].strip() for line in lines] == [
        "readings[1].value",
        "readings[2].function",
    ]


def test_files_that_are_none(folder: Path) -> None:
    (folder / "job.bin").write_bytes(b"\xff\x00\x80board")
    for path, result in (
        (folder, "a directory"),
        (folder / "gone.toml", "no such file"),
        (folder / "job.bin", "not UTF-8"),
    ):
        with pytest.raises(InputError, match=result) as caught:
            load_job(path)
        assert path.name in str(caught.value)


def test_board_with_problems_is_named(folder: Path) -> None:
    (folder / "proofer.toml").write_text('mains = "230 V"\n', encoding="utf-8")
    with pytest.raises(InputError) as caught:
        job(folder, GOOD)
    assert all(line.startswith("proofer.toml: ") for line in str(caught.value).splitlines())


def test_codes_of_the_appliance_go_with_the_flags(folder: Path) -> None:
    result = job(folder, BOARD + 'flags = {sync = "F3", fan = "blinks 5"}')
    assert result.flags == ("sync", "fan")
    assert result.codes == {"sync": "F3", "fan": "blinks 5"}
    assert flags_line(result) == "Flags reported: F3 (sync), blinks 5 (fan)."


@pytest.mark.parametrize(
    ("flags", "message"),
    [('{door = "F1"}', 'found "door"'), ("{sync = 3}", "flags.sync: found 3"),
     ('{sync = " "}', "what the appliance shows"), ('{"a\\nb" = 0}', "flags.a?b: found 0")],
)  # fmt: skip
def test_codes_that_cannot_be_used_are_named(folder: Path, flags: str, message: str) -> None:
    with pytest.raises(InputError, match=re.escape(message)):
        job(folder, f"{BOARD}flags = {flags}")
