"""No reader keeps a person waiting, however long the input grows and whatever fills it.

What is longer than a value, a name or a line can be is refused by its length; what is as long as is
allowed, or one line of a large file, is read in a moment.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path

import pytest

from tests.board.boards import SMALLEST
from zcd.board import mains_plate, markings, quantity_kinds
from zcd.board.drawer import parse_drawer
from zcd.board.files import parse_board
from zcd.board.units import LONGEST_TEXT, nearest, parse_quantity
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit
from zcd.diagnosis.capture import read_capture
from zcd.diagnosis.reading_syntax import parse_reading
from zcd.errors import InputError
from zcd.practice.record import summaries

LONG = 200_000
"""Characters of a value that nobody means: 1 MB is refused for its size alone."""
LONGEST_S = 1.0
"""Of one input. A pattern that is not linear takes minutes over these."""
FILLS = (" ", "0", "1", "k", ".", "-", "- ", "1 ", "1,", "k1", "1k ", "/", "1/", "(", "a ", " to ",
         "±", "+ 1%", "x", "2x", "'", "[", "#", "..", "~ ", "\u00a0", " V", "nF ", "a.", "- 1",
         "Hz ", "R", "W ", "red ", "OL ", "lifted ", "smd ", ", ")  # fmt: skip
STARTS = ("", "120", "230 V", "36k", "817", "1N4007", "dc pin logic0 ", "about ", "increment")
ENDS = ("", "!", " Hz", "%")
STEP = 8

VALUES = {
    "mains": SMALLEST.replace("230 V 50 Hz", "@"),
    "resistor": SMALLEST.replace('["120k"', '["@"'),
    "chain": SMALLEST.replace('["120k", "120k"]', '"@"'),
    "optocoupler": SMALLEST.replace("817C", "@"),
    "rectifier": SMALLEST.replace("1N4007", "@"),
    "pull-up": SMALLEST.replace('"10k"', '"@"'),
    "capacitor": SMALLEST + 'pin_capacitor = "@"\n',
    "style": SMALLEST.replace("[chain]", '[chain]\nstyle = "@"'),
}
"""Board files with a place for any value."""


@cache
def circuit() -> Circuit:
    return build_circuit(parse_board(SMALLEST, "board.toml"))


def in_file(form: str) -> Callable[[str], object]:
    return lambda text: parse_board(
        form.replace("@", text.replace('"', "").replace("\\", "")), "board.toml"
    )


READERS: dict[str, Callable[[str], object]] = {
    **{f"board file: {name}": in_file(form) for name, form in VALUES.items()},
    "board file: a line": lambda text: parse_board(text, "board.toml"),
    "board file: behind =": lambda text: parse_board(f"mains = {text}", "board.toml"),
    "drawer": lambda text: parse_drawer(f"resistors = ['{text.replace(chr(39), '')}']", "d.toml"),
    "quantity": lambda text: parse_quantity(text, quantity_kinds.RESISTANCE),
    "power": lambda text: parse_quantity(text, quantity_kinds.POWER),
    "reading": lambda text: parse_reading(text, circuit()),
    "reading's value": lambda text: parse_reading(f"dc pin logic0 {text}", circuit()),
    "nearest name": lambda text: nearest(text, ("817", "1N4007", "chain.resistors")),
    "capture's head": lambda text: read_capture(
        (f"{text}\n" + "".join(f"{n},{n % 2}\n" for n in range(120))).encode(), "scope.csv"
    ),
}


def seconds(read: Callable[[str], object], text: str) -> float:
    began = time.process_time()
    with suppress(InputError):
        read(text)
    return time.process_time() - began


def filled(start: str, fill: str, end: str, length: int) -> str:
    return start + fill * ((length - len(start) - len(end)) // len(fill)) + end


@pytest.mark.parametrize("name", READERS)
def test_a_long_input_is_read_or_refused_at_once(name: str) -> None:
    read = READERS[name]
    read_s = seconds(read, "1")  # what is loaded at first use
    # of the many places of a board file each has its share, and all of them have each fill
    first, step = (list(VALUES).index(name[12:]), 4) if name[12:] in VALUES else (0, 1)
    for fill in FILLS[first % step :: step]:
        text = filled(STARTS[len(fill) % 3], fill, "!", LONG)
        read_s = seconds(read, text)
        assert read_s < LONGEST_S, f"{fill!r}: {read_s:.1f} s"


@pytest.mark.parametrize(
    "step", [pytest.param(1, marks=pytest.mark.slow, id="all"), pytest.param(STEP, id="some")]
)
@pytest.mark.parametrize("name", READERS)
def test_the_longest_value_is_read_at_once(name: str, step: int) -> None:
    """Whatever begins, fills and ends it; some: each start and each fill, one with another."""
    read = READERS[name]
    seconds(read, "1")
    for number, start in enumerate(STARTS):
        for fill in FILLS[number % step :: step]:
            text = filled(start, fill, ENDS[len(start) % len(ENDS)], LONGEST_TEXT)
            spent = seconds(read, text)
            assert spent < LONGEST_S / 2, f"{start!r} {fill!r}: {spent:.2f} s"


@pytest.mark.parametrize("read", [markings.resistor_markings, markings.capacitor_marking])
def test_markings_grow_no_faster_than_they_are_long(read: Callable[[str], object]) -> None:
    for fill in FILLS:
        assert seconds(read, filled("1", fill, "!", LONG)) < LONGEST_S, repr(fill)


def test_a_key_of_many_parts_is_refused() -> None:
    for key in (".".join("a" * 50_000), ' . "b"' * 50_000, "[" + ".".join("a" * 50_000) + "]"):
        began = time.process_time()
        with pytest.raises(InputError, match="found a key of 100 parts or more"):
            parse_board(f"mains = 1\na{key} = 1\n", "board.toml")
        assert time.process_time() - began < LONGEST_S


def test_a_text_that_is_too_long_is_told_with_its_key() -> None:
    with pytest.raises(InputError, match=r"^b.toml: mains: found a text of 30000 char.*up to 400"):
        parse_board(VALUES["mains"].replace("@", " " * 30_000), "b.toml")


def test_a_plate_of_blanks_is_read_at_once() -> None:
    for fill in (" ", " V ", "- ", " 1 W"):
        table = {"mains": "230 V" + fill * (LONGEST_TEXT // len(fill)) + "!"}
        began = time.process_time()
        mains_plate.mains_as_printed(table, lambda *_: None)
        assert time.process_time() - began < LONGEST_S / 2


def test_a_record_of_long_lines_is_read_at_once(tmp_path: Path) -> None:
    record = tmp_path / "record.jsonl"
    for line in (
        "[" * LONG,
        '{"level": ' + "9" * LONG,
        json.dumps({"level": " " * LONG}),
        " " * LONG,
    ):
        record.write_text(line + "\n", encoding="utf-8")
        began = time.process_time()
        with suppress(InputError):
            summaries(record)
        assert time.process_time() - began < LONGEST_S
