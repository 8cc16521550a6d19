"""Fields become a board file, and each problem stands beside its field."""

from __future__ import annotations

from typing import Any

import pytest

from zcd.bench.fields import START, all_fields, long_form, merged, read, shown

FILE: dict[str, Any] = {
    "name": "Invented proofing cabinet",
    "mains": {"voltage": "120 V", "frequency": "60 Hz"},
    "rectifier": "1N4007",
    "optocoupler": "817 B",
    "chain": {"resistors": ["47k", {"value": "47k", "style": "1206"}]},
    "output": {"pull_up": "10k", "supply": "5 V"},
    "controller": {"low_threshold": "0.8 V"},
}


def test_what_to_begin_with_is_a_board() -> None:
    board, errors = read(long_form(START), {})
    assert errors == {}
    assert board is not None
    assert [r.resistance_ohm for r in board.chains[0]] == [100e3, 150e3]


def test_every_field_reads_as_written() -> None:
    base = long_form(START)
    typed = {
        "mains": "120 V 60 Hz",
        "chain.resistors": "4k7, 120 k , 33k",
        "led.capacitor": "10 nF",
        "feed.kind": "switched",
    }
    board, errors = read(base, typed)
    assert errors == {}
    assert board is not None
    assert [r.resistance_ohm for r in board.chains[0]] == [4.7e3, 120e3, 33e3]
    assert board.mains.rms_v == 120.0
    assert board.led_capacitor is not None
    assert board.relay is not None


@pytest.mark.parametrize(
    ("key", "text", "words"),
    [
        ("chain.resistors", "100k, heavy", "heavy"),
        ("mains", "lots", "lots"),
        ("output.supply", "", "supply"),
        ("optocoupler.family", "996", "996"),
        ("clamp.part", "1N4148", "clamp"),
        ("output.pull_up", "x" * 201, "too long"),
    ],
)
def test_a_problem_stands_beside_its_field(key: str, text: str, words: str) -> None:
    board, errors = read(long_form(START), {key: text})
    assert board is None
    assert list(errors) == [key]
    assert words in errors[key] or "allowed" in errors[key]


def test_what_no_field_shows_stays_in_the_file() -> None:
    base = long_form(FILE)
    assert shown(base, all_fields()["chain.resistors"]) is None
    assert shown(base, all_fields()["mains"]) == "120 V 60 Hz"
    assert shown(base, all_fields()["rectifier.part"]) == "1N4007"
    assert shown(base, all_fields()["led.resistor"]) == ""
    whole = merged(base, {"chain.resistors": "1k", "output.supply": "3.3 V"})
    assert whole["chain"]["resistors"] == FILE["chain"]["resistors"]
    assert whole["controller"] == FILE["controller"]
    assert whole["output"] == {"pull_up": "10k", "supply": "3.3 V"}
    assert base["output"]["supply"] == "5 V"


def test_an_emptied_field_leaves_the_file() -> None:
    base = long_form(START)
    assert "rectifier" not in merged(base, {"rectifier.part": ""})
    assert merged(base, {}) == base
