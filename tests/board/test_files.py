"""Tests of zcd.board.files, and through it of the schema and the rules: each bad file is refused
in one line that names file, key, what was found and what is allowed."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

from tests.board.boards import FULL, SMALLEST, edited
from zcd.board.files import board_from_dict, load_board, parse_board
from zcd.board.toml_files import LARGEST_FILE_BYTES
from zcd.errors import InputError


def refused(keys: dict[str, Any]) -> list[str]:
    with pytest.raises(InputError) as caught:
        board_from_dict(keys, "lamp.toml")
    return str(caught.value).splitlines()


def test_load_board_reads_a_file(tmp_path: Path) -> None:
    path = tmp_path / "tray.toml"
    path.write_text(FULL, encoding="utf-8")
    assert load_board(path) == parse_board(FULL, "tray.toml")
    assert load_board(str(path)).name == "Invented seed-tray heater"


def test_byte_order_mark_and_windows_line_ends(tmp_path: Path) -> None:
    path = tmp_path / "tray.toml"
    path.write_bytes(b"\xef\xbb\xbf" + FULL.replace("\n", "\r\n").encode())
    assert load_board(path) == parse_board(FULL, "tray.toml")


def test_board_is_named_after_its_file(tmp_path: Path) -> None:
    path = tmp_path / "kiln 3.toml"
    path.write_text(SMALLEST, encoding="utf-8")
    assert load_board(path).name == "kiln 3"


@pytest.mark.parametrize(
    ("key", "written", "line"),
    [
        ("capacitor", "100n", "write the circuit as you trace it, in place of chain"),
        ("paths", ["a"], "write the circuit as you trace it, in place of chain"),
        ("antiparallel_diode", "1N4148", 'write "clamp"'),
        ("pullup", "10k", "write output = {pull_up = ...}"),
        ("wattage", "1 W", "write chain = {style = ...}"),
        ("voltage", "230 V", "write mains = {voltage = ...} or output = {supply = ...}"),
        ("R7", "68k", 'write chain = {R7 = "68k"}, or output'),
        ("varistor", "S10K275", "leave it out, it changes nothing here"),
    ],
)
def test_a_key_that_people_write_is_answered(key: str, written: Any, line: str) -> None:
    (said,) = refused({**edited(), key: written})
    assert said.startswith(f'lamp.toml: {key}: "{key}" is not known')
    assert line in said


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (None, "no such file"),
        (b"", "an empty file"),
        (b" \n\t\n", "an empty file"),
        (b"mains = 1\n\xff\xfe", "bytes that are not UTF-8 text in line 2"),
        (b"\x89PNG\r\n\x1a\n", "bytes that are not UTF-8 text in line 1"),
        (b"a = 1\0", "text that is no TOML"),
        (b"#" * (LARGEST_FILE_BYTES + 1), f"{LARGEST_FILE_BYTES + 1} bytes"),
        (b"mains = 230 V\n", "a value without quotes"),
        (b'mains = "230 V"\nrectifier = 1N4007\n', "a value without quotes"),
        (b"style = 0805\n", "a value without quotes"),
        (b'mains = "230 V"\nmains = "120 V"\n', "mains a second time"),
        (b"a = " + b"[" * 100_000, "lists or tables nested too deep"),
        (b"a = " + b"9" * 10_000, "a number with too many digits"),
    ],
)
def test_unreadable_file(tmp_path: Path, content: bytes | None, found: str) -> None:
    path = tmp_path / "lamp.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(
        InputError, match=rf"^lamp\.toml: (line \d: )?found {found}.*; allowed: \S"
    ) as caught:
        load_board(path)
    assert "\n" not in str(caught.value)


def test_directory_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=rf"^{tmp_path.name}: found a directory; allowed: "):
        load_board(tmp_path)


def test_device_is_refused() -> None:
    with pytest.raises(InputError, match=r"^null: found no ordinary file; allowed: "):
        load_board("/dev/null")


def test_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "lamp.toml"
    path.write_text(SMALLEST, encoding="utf-8")

    def refuse(*_: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(InputError, match=r"cannot be read \(Permission denied\); allowed: "):
        load_board(path)


def test_file_name_with_a_line_break_stays_on_one_line(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"^a\?b: found no such file"):
        load_board(tmp_path / "a\nb")


RESISTOR = "a resistance such as"
RESISTANCES = "a list of resistances"
BAD_KEYS: list[tuple[dict[str, Any], str, str, str]] = [
    # missing tables and keys
    ({"mains": None}, "mains", "nothing", 'mains = "230 V 50 Hz"'),
    ({"chain": None}, "chain", "nothing", "a table with resistors"),
    ({"optocoupler": None}, "optocoupler", "nothing", 'optocoupler = "817C"'),
    ({"output": None}, "output", "nothing", "supply"),
    ({"rectifier": None}, "rectifier", "nothing", "such as 1N4007"),
    ({"mains": {"frequency": "50 Hz"}}, "mains.voltage", "nothing", "an AC voltage such as"),
    ({"chain": {"resistors": None}}, "chain.resistors", "nothing", RESISTANCES),
    ({"chain": {"resistors": [{"ref": "R1"}]}}, "chain.resistors[1].value", "nothing", RESISTOR),
    ({"output": {"supply": None}}, "output.supply", "nothing", '"5 V"'),
    ({"output": {"pull_up": None}}, "output", "nothing", "a pull-up (pull_up"),
    ({"rectifier": {"ref": "D1"}}, "rectifier.part", "nothing", "1N4007"),
    ({"optocoupler": {"grade": "C"}}, "optocoupler.family", "nothing", "817C"),
    # unknown keys
    ({"mains": {"voltage": 230, "hz": 50}}, "mains.hz", '"hz"', "voltage, frequency, "),
    (
        {"chain": {"resistors": ["1k", {"value": "1k", "tol": 1}]}},
        "chain.resistors[2].tol",
        '"tol"',
        "value, ref, tolerance, style",
    ),
    ({"led": {"resistor": {"value": 1, "r": 1}}}, "led.resistor.r", '"r"', "value, ref"),
    ({"a\nb": 1}, '"a?b"', '"a?b"', "name, mains, feed"),
    # wrong types
    ({"mains": True}, "mains", "true", "an AC voltage such as"),
    ({"mains": [230]}, "mains", "a list", "a table, or a short form"),
    ({"chain": 120}, "chain", "120", "a table with resistors"),
    ({"output": 5}, "output", "5", "a table with pull_up"),
    ({"chain": {"resistors": "many"}}, "chain.resistors", '"many"', RESISTANCES),
    ({"chain": {"resistors": {}}}, "chain.resistors", "a table", RESISTANCES),
    ({"chain": {"resistors": []}}, "chain.resistors", "a list", RESISTANCES),
    ({"chain": {"resistors": ["1k"] * 31}}, "chain.resistors", "a list of 31", "30 at the most"),
    ({"chain": {"resistors": [["1k"]]}}, "chain.resistors[1]", "a list", RESISTANCES),
    ({"chain": {"resistors": [True]}}, "chain.resistors[1]", "true", RESISTOR),
    ({"chain": {"parallel": ["1k"]}}, "chain.parallel[1]", '"1k"', "a list of lists"),
    ({"chain": {"rectifier_first": "yes"}}, "chain.rectifier_first", '"yes"', "true or false"),
    ({"chain": {"topology": 3}}, "chain.topology", "3", "one of half-wave, clamped"),
    ({"chain": {"style": 12.06}}, "chain.style", "12.06", 'text in quotes such as "1206"'),
    ({"rectifier": False}, "rectifier", "false", 'text in quotes such as "1N4007"'),
    ({"rectifier": ["1N4007"]}, "rectifier", "a list", "a diode such as"),
    ({"optocoupler": ""}, "optocoupler", '""', 'text in quotes such as "817C"'),
    ({"name": ""}, "name", '""', "a line of text, 1 to 80 characters"),
    ({"name": "x" * 81}, "name", '"' + "x" * 40 + '..."', "1 to 80 characters"),
    ({"name": "a\nb"}, "name", '"a?b"', "a line of text"),
    ({"service": 60}, "service", "60", "a table"),
    (
        {"chain": {"joint_capacitor": {"after": "1", "capacitance": "1n"}}},
        "chain.joint_capacitor.after",
        '"1"',
        "a whole number",
    ),
    # wrong quantities
    ({"chain": {"resistors": ["1k", "2,200"]}}, "chain.resistors[2]", '"2,200"', "thousands"),
    ({"chain": {"resistors": ["10 nF"]}}, "chain.resistors[1]", '"10 nF"', RESISTOR),
    ({"chain": {"resistors": ["1m"]}}, "chain.resistors[1]", '"1m"', "M is mega"),
    ({"chain": {"resistors": [-5]}}, "chain.resistors[1]", "-5", "from 100 mΩ to 1 GΩ"),
    ({"chain": {"resistors": [float("nan")]}}, "chain.resistors[1]", "nan", RESISTOR),
    ({"chain": {"resistors": [float("inf")]}}, "chain.resistors[1]", "inf", RESISTOR),
    ({"chain": {"resistors": [0]}}, "chain.resistors[1]", "0", "from 100 mΩ to 1 GΩ"),
    ({"chain": {"tolerance": "60 %"}}, "chain.tolerance", '"60 %"', "from 0 % to 50 %"),
    ({"mains": "230 W"}, "mains", '"230 W"', "an AC voltage such as"),
    ({"mains": "0 V"}, "mains", '"0 V"', "from 1 V to 1 kV"),
    ({"mains": "230 V 5 Hz"}, "mains", '"5 Hz"', "from 10 Hz to 1 kHz"),
    ({"output": {"supply": "5 A"}}, "output.supply", '"5 A"', "a voltage such as"),
    ({"output": {"supply": "230 V"}}, "output.supply", '"230 V"', "from 1 V to 50 V"),
    ({"output": {"pull_up": "10 uF"}}, "output.pull_up", '"10 uF"', RESISTOR),
    ({"led": {"capacitor": "10k"}}, "led.capacitor", '"10k"', "a capacitance such as"),
    (
        {"optocoupler": {"family": "817", "ctr": 250}},
        "optocoupler.ctr",
        "250",
        'from 0.1 % to 2000 % such as "250 %"',
    ),
    (
        {"mains": {"voltage": 230, "harmonics": [{"order": 3, "fraction": 5}]}},
        "mains.harmonics[1].fraction",
        "5",
        "from 0 % to 100 %",
    ),
    (
        {"mains": {"voltage": 230, "harmonics": [{"order": 3, "fraction": 0.1, "phase": 90}]}},
        "mains.harmonics[1].phase",
        "90",
        "write the unit",
    ),
    (
        {"mains": {"voltage": 230, "harmonics": [{"order": 1, "fraction": 0.1}]}},
        "mains.harmonics[1].order",
        "1",
        "a whole number from 2 to 50",
    ),
    (
        {"controller": {"low_threshold": "1 mA"}},
        "controller.low_threshold",
        '"1 mA"',
        'such as "1 V" or "20 %"',
    ),
    ({"controller": {"edge": "up"}}, "controller.edge", '"up"', "one of falling, rising"),
    (
        {"controller": {"max_offset": 2}},
        "controller.max_offset",
        "2",
        "from 1 µs to 100 ms",
    ),
    (
        {"controller": {"max_transition": 0}},
        "controller.max_transition",
        "0",
        "from 1 µs to 100 ms",
    ),
    (
        {"controller": {"period_tolerance": "0 %"}},
        "controller.period_tolerance",
        '"0 %"',
        "from 0.01 % to 50 %",
    ),
    (
        {"service": {"hot_temperature": "200 °C"}},
        "service.hot_temperature",
        '"200 °C"',
        "from -55 °C to 150 °C",
    ),
    # parts that are not in the library
    (
        {"rectifier": "1N4070"},
        "rectifier",
        '"1N4070"',
        'rectifier = {reverse_voltage = "600 V", current = "1 A"}',
    ),
    ({"optocoupler": "999"}, "optocoupler", '"999"', 'optocoupler = {ctr = "50..600 % at 5 mA"}'),
    ({"optocoupler": "817E"}, "optocoupler", '"817E"', "a grade of 817"),
    (
        {"optocoupler": {"family": "817", "grade": "E"}},
        "optocoupler.grade",
        '"E"',
        "a grade of 817",
    ),
    ({"chain": {"style": "1026"}}, "chain.style", '"1026"', 'did you mean "1206"'),
    (
        {"output": {"pull_up": {"value": "1k", "style": "9"}}},
        "output.pull_up.style",
        '"9"',
        "one of 0402",
    ),
    ({"mains": {"voltage": 230, "band": "230"}}, "mains.band", '"230"', "one of 230 +-10 %"),
    # what contradicts itself
    ({"chain": {"topology": "halfwaves"}}, "chain.topology", '"halfwaves"', 'mean "half-wave"'),
    (
        {"clamp": "1N4148", "chain": {"topology": "half-wave"}},
        "clamp",
        '"1N4148"',
        "only with clamped, half-wave-clamped",
    ),
    ({"optocoupler": "814"}, "optocoupler", '"814"', "a part with one LED"),
    (
        {"rectifier": None, "chain": {"topology": "two-led"}},
        "optocoupler",
        '"817C"',
        'a part with two LEDs for topology two-led: "814"',
    ),
    (
        {"optocoupler": "814", "chain": {"topology": "two-led"}},
        "rectifier",
        '"1N4007"',
        "no rectifier with topology two-led",
    ),
    (
        {"clamp": "1N4148", "chain": {"topology": "clamped"}},
        "rectifier",
        '"1N4007"',
        "no rectifier with topology clamped",
    ),
    ({"rectifier": None, "chain": {"topology": "clamped"}}, "clamp", "nothing", "1N4148"),
    (
        {"output": {"pull_down": "1k"}},
        "output",
        '"both"',
        "internal_pull_up; or both) or a pull_down",
    ),
    (
        {"chain": {"topology": "bridge", "rectifier_first": False}},
        "chain.rectifier_first",
        "false",
        "only with topology half-wave",
    ),
    (
        {"chain": {"joint_capacitor": {"after": 3, "capacitance": "1n"}}},
        "chain.joint_capacitor.after",
        "3",
        "1 to 2",
    ),
    (
        {
            "chain": {
                "topology": "bridge",
                "joint_capacitor": {"after": 3, "capacitance": "1n"},
            }
        },
        "chain.joint_capacitor.after",
        "3",
        "1 to 2, the number of resistors in the line leg",
    ),
    (
        {"chain": {"joint_capacitor": {"after": 0, "capacitance": "1n"}}},
        "chain.joint_capacitor.after",
        "0",
        "a whole number",
    ),
    (
        {"chain": {"resistors": [{"ref": "R1", "value": 1}, {"ref": "R1", "value": 1}]}},
        "chain.resistors[2].ref",
        '"R1"',
        "not used before (chain.resistors[1].ref)",
    ),
    (
        {"rectifier": {"part": "M7", "ref": "U1"}, "optocoupler": {"family": 817, "ref": "U1"}},
        "optocoupler.ref",
        '"U1"',
        "not used before (rectifier.ref)",
    ),
    ({"rectifier": {"part": "M7", "ref": "D 1"}}, "rectifier.ref", '"D 1"', "a reference such as"),
    (
        {"feed": {"suppressor": {"resistance": 100, "capacitance": "100n"}}},
        "feed.kind",
        "nothing",
        '"switched", as suppressor belongs',
    ),
    (
        {"feed": {"kind": "direct", "coil_supply": 12}},
        "feed.kind",
        '"direct"',
        '"switched", as coil_supply belongs',
    ),
    (
        {"mains": {"voltage": "230 V", "band": "120 service"}},
        "mains.voltage",
        '"230 V"',
        "114 V to 126 V",
    ),
    (
        {"mains": {"voltage": 230, "band": "EN 50160", "tolerance": "5 %"}},
        "mains.band",
        '"EN 50160"',
        "band or tolerance, not both",
    ),
    (
        {"mains": {"voltage": 230, "harmonics": [{"order": 3, "fraction": 0.1}] * 2}},
        "mains.harmonics",
        '"order 3 twice"',
        "each order once",
    ),
    (
        {"controller": {"low_threshold": "3 V", "high_threshold": "2 V"}},
        "controller.low_threshold",
        '"3 V"',
        "below the high threshold, 2 V",
    ),
    (
        {"controller": {"low_threshold": "4.5 V"}},
        "controller.low_threshold",
        '"4.5 V"',
        "below the high threshold, 4 V",
    ),
    ({"controller": {"low_threshold": 0}}, "controller.low_threshold", '"0 V"', "above 0 V"),
    (
        {"controller": {"high_threshold": "5 V"}},
        "controller.high_threshold",
        '"5 V"',
        "below the supply, 5 V",
    ),
    (
        {"service": {"hot_temperature": "10 °C"}},
        "service.hot_temperature",
        '"10 °C"',
        "not below the bench temperature, 25 °C",
    ),
]


@pytest.mark.parametrize(
    ("edit", "key", "found", "allowed"),
    BAD_KEYS,
)
def test_bad_file_is_refused_in_one_line(
    edit: dict[str, Any], key: str, found: str, allowed: str
) -> None:
    (line,) = refused(edited(**edit))
    start, _, end = line.partition("; allowed: ")
    assert start == f"lamp.toml: {key}: found {found}"
    assert allowed in end


def test_several_problems_are_one_line_each() -> None:
    lines = refused(
        edited(
            mains="230 W",
            chain={"resistors": ["1k", "2,200", {"value": "x", "ref": 1}]},
            output={"suply": 1},
        )
    )
    assert [": ".join(line.split(": ")[:2]) for line in lines] == [
        "lamp.toml: mains",
        "lamp.toml: chain.resistors[2]",
        "lamp.toml: chain.resistors[3].value",
        "lamp.toml: chain.resistors[3].ref",
        "lamp.toml: output.suply",
    ]
    assert all("; allowed: " in line for line in lines[:-1])
    assert lines[-1].endswith('write "supply"')


def test_several_contradictions_are_one_line_each() -> None:
    chain = {"topology": "half-wave"}
    lines = refused(edited(clamp="1N4148", optocoupler="814", rectifier="1N9999", chain=chain))
    assert [line.split(": ")[1] for line in lines] == ["rectifier", "clamp", "optocoupler"]


def test_a_flood_of_problems_is_cut() -> None:
    lines = refused(edited(**{f"key{n}": n for n in range(1000)}))
    assert len(lines) == 21
    assert lines[-1] == "lamp.toml: found 980 more problems; allowed: none"


def test_deep_table_is_refused() -> None:
    with pytest.raises(InputError, match=r"^lamp\.toml: a: found \"a\"; allowed: "):
        parse_board(SMALLEST.replace("[chain]", "a" + ".a" * 90 + " = 1\n[chain]"), "lamp.toml")


def test_plain_numbers_are_si_values() -> None:
    words = board_from_dict(edited())
    numbers = board_from_dict(
        edited(
            mains={"voltage": 230, "frequency": 50.0},
            chain={"resistors": [120_000, 120e3]},
            output={"pull_up": 10_000, "supply": 5},
        )
    )
    assert numbers == words


def test_what_only_looks_like_a_file_is_not_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As Linux's /proc/kmsg, of which only its owner may be kept waiting: here, a pipe."""
    path = tmp_path / "board.toml"
    os.mkfifo(path)
    writer = os.open(path, os.O_RDWR)
    monkeypatch.setattr(Path, "is_file", lambda _: True)
    with pytest.raises(InputError, match=r"^board\.toml: found a file that cannot be read"):
        load_board(path)
    os.close(writer)


@pytest.mark.parametrize(
    ("edit", "key", "near"),
    [
        ({"optocuopler": 1}, "optocuopler", "optocoupler"),
        ({"output": {"suply": 1}}, "output.suply", "supply"),
        ({"chain": {"resistor": 1}}, "chain.resistor", "resistors"),
    ],
)
def test_a_misspelt_key_is_told_with_what_to_write(
    edit: dict[str, Any], key: str, near: str
) -> None:
    (line,) = refused(edited(**edit))
    name = key.rpartition(".")[2]
    assert line == f'lamp.toml: {key}: "{name}" is not known; write "{near}"'


def test_a_key_that_no_terminal_shows_is_told_with_question_marks() -> None:
    (line,) = refused(edited(**{"\ue000mains": "230 V 50 Hz"}))
    assert line == 'lamp.toml: "?mains": "?mains" is not known; write "mains"'
