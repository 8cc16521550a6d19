"""Tests of zcd.board.toml_advice and what a file that is no TOML is answered: what the person did,
and the line as it should stand (which must then be TOML)."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from zcd.board.files import load_board, parse_board
from zcd.board.toml_advice import advice
from zcd.errors import InputError

MISTAKES = [
    ("mains = 230 V", "a value without quotes", 'mains = "230 V"'),
    ("mains = 230V 50Hz   # plate", "a value without quotes", 'mains = "230V 50Hz"'),
    ("rectifier = 1N4007", "a value without quotes", 'rectifier = "1N4007"'),
    ("style = 0805", "a value without quotes", 'style = "0805"'),
    ("c = {r = [68k, 68k]}", "a value without quotes", 'c = {r = ["68k", "68k"]}'),
    ('o = {pull_up = "10k", supply = 5V}', "a value without quotes",
     'o = {pull_up = "10k", supply = "5V"}'),
    ("mains = \u201c230 V\u201d", "curly quotes", 'mains = "230 V"'),
    ("mains = \u2018230 V\u2019", "curly quotes", 'mains = "230 V"'),
    ("mains = \u201e230 V\u201c", "curly quotes", 'mains = "230 V"'),
    ('mains "230 V"', "no = behind a key", 'mains = "230 V"'),
    ("mains 230 V", "no = behind a key", 'mains = "230 V"'),
    ("mains: 230 V", "a colon behind a key", 'mains = "230 V"'),
    ('resistors = "68k", "68k"', "several values without brackets", 'resistors = ["68k", "68k"]'),
    ('r = ["68k" "82k"]', "two values without a comma", 'r = ["68k", "82k"]'),
    ('o = {a = "10k" b = "5 V"}', "two values without a comma", 'o = {a = "10k", b = "5 V"}'),
    ('mains = "230 V",', "a comma at the end of a line", 'mains = "230 V"'),
    ("mains = ", "nothing behind mains =", 'mains = "230 V"'),
    ('mains = ""230 V""', "two quotes at each end", 'mains = "230 V"'),
    ('mains = "230 V" // plate', '"//" behind a value', 'mains = "230 V"  # plate'),
    ('mains = "230 V";', '";" behind a value', 'mains = "230 V"'),
    ('mains = "230 V" (plate)', '"(" behind a value', 'mains = "230 V"  # plate'),
    ('c = {r = "68k", "68k", s = "1206"}', "several values without brackets", 'r = ["68k", "68k"]'),
    ('feed = kind = "switched"', "two = in a row", 'feed = {kind = "switched"}'),
    ("[chain", "no ] behind a table's name", "[chain]"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "found", "mended"), MISTAKES)
def test_the_line_as_it_should_stand(line: str, found: str, mended: str) -> None:
    with pytest.raises(tomllib.TOMLDecodeError):
        tomllib.loads(line)
    said = advice(line, 1)
    assert said is not None
    assert said[0] == found
    assert said[1].startswith(mended if found[:7] != "nothing" else "a value in quotes")
    tomllib.loads(mended)


def test_the_line_is_named() -> None:
    text = 'mains = "230 V"\n\noptocoupler = 817C\n'
    with pytest.raises(InputError) as caught:
        parse_board(text, "lamp.toml")
    assert str(caught.value) == (
        "lamp.toml: line 3: found a value without quotes; "
        'allowed: optocoupler = "817C" (each value in straight quotes)'
    )


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ('mains = "230 V\nx = 1', "line 1: found a quote that is not closed"),
        ('o = {pull up = "10k"}', 'line 1: found a space in the key "pull up"; allowed: pull_up'),
        ("a = 1\n[b]\nc = 2\n[b]", "line 4: found b a second time; allowed: each key once"),
        ('c = ["1k"\n "2k"]', 'line 2: found no comma at the end of line 1; allowed: c = ["1k",'),
        # what a terminal cannot show is not repeated
        ('c = ["\x80"\n "2k"]', "line 2: found no comma at the end of line 1; allowed: a comma be"),
        ('"mains" = "9 V"\n"mains" = "9 V"\n', "line 2: found mains a second time"),
        ('chain = [\n  "47k",', "line 2: found a list that is not closed (begun in line 1)"),
        ('c = ["1k"\no = {a = "5 V"}', "line 2: found a list that is not closed (begun in line 1)"),
        (
            'o = {\n  a = "5 V",\n}',
            "line 1: found { without } in the same line; allowed: the ",
        ),
        ('o = {a = "5 V"\nb = 1', "line 1: found { without } in the same line"),
        ('c = ["47k", "]"}', "line 1: found [ and } as a pair"),
        ('c = "47k", "47k"]', "line 1: found ] without [ before it"),
        ("= 5", "found text that is no TOML"),
    ],
)
def test_other_mistakes(text: str, found: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_board(text, "lamp.toml")
    assert str(caught.value).startswith(f"lamp.toml: {found}")
    assert "\n" not in str(caught.value)


def test_only_the_wrong_key_is_shown() -> None:
    """What the misspelt key was meant for is not missing as well."""
    text = (
        'mains = "230 V"\nrectifier = "1N4007"\noptocoupler = "817C"\n'
        'chain.resistor = ["68k"]\noutput = {pull_up = "10k", suply = "5 V"}\n'
    )
    with pytest.raises(InputError) as caught:
        parse_board(text, "lamp.toml")
    assert str(caught.value).splitlines() == [
        'lamp.toml: chain.resistor: "resistor" is not known; write "resistors"',
        'lamp.toml: output.suply: "suply" is not known; write "supply"',
    ]


def test_a_key_outside_its_table_is_sent_home() -> None:
    """Whoever writes all keys in one heap is told where each belongs, and nothing else."""
    text = (
        'mains = "230 V"\nrectifier = "1N4007"\noptocoupler = "817C"\n'
        'resistors = ["68k"]\npull_up = "10k"\nsupply = "5 V"\n'
    )
    with pytest.raises(InputError) as caught:
        parse_board(text, "lamp.toml")
    assert str(caught.value).splitlines() == [
        'lamp.toml: resistors: "resistors" is not known here; write chain = {resistors = ...}',
        'lamp.toml: pull_up: "pull_up" is not known here; write output = {pull_up = ...}',
        'lamp.toml: supply: "supply" is not known here; write output = {supply = ...}',
    ]


def test_a_table_of_its_own_inside_another_is_sent_to_the_top() -> None:
    """The nearest key of the table it stands in, rectifier_first, is another thing."""
    text = (
        'mains = "230 V"\noptocoupler = "817C"\noutput = {pull_up = "10k", supply = "5 V"}\n'
        'chain = {resistors = ["68k"], rectifier = "1N4007"}\n'
    )
    with pytest.raises(InputError) as caught:
        parse_board(text, "lamp.toml")
    assert str(caught.value).splitlines() == [
        'lamp.toml: chain.rectifier: "rectifier" is not known here; write rectifier = ... at the '
        "top of the file, above the first table",
    ]


@pytest.mark.parametrize("word", ["half_wave", "Half Wave", "HALF-WAVE", "halfwave"])
def test_a_word_is_read_however_it_is_joined(word: str) -> None:
    text = (
        'mains = "230 V"\noptocoupler = "817C"\noutput = {pull_up = "10k", supply = "5 V"}\n'
        f'rectifier = "1N4007"\nchain = {{resistors = ["68k"], topology = "{word}"}}\n'
        'controller = {edge = "Rising", edges = "BOTH"}\n'
    )
    board = parse_board(text, "lamp.toml")
    assert (board.topology, board.controller.edge) == ("half-wave", "rising")
    two = parse_board(
        'mains = "230 V"\noptocoupler = "?"\noutput = {pull_up = "10k", supply = "5 V"}\n'
        'chain = {resistors = ["68k"], topology = "Two_LED"}\n', "lamp.toml"
    )  # fmt: skip
    assert two.two_leds


def test_a_file_of_nearly_that_name(tmp_path: Path) -> None:
    (tmp_path / "kiln.toml").write_text("", encoding="utf-8")
    with pytest.raises(InputError, match=r'no such file \(did you mean "kiln.toml"\?\)'):
        load_board(tmp_path / "klin.toml")
    with pytest.raises(InputError, match=r"^other.toml: found no such file; allowed"):
        load_board(tmp_path / "other.toml")


def test_a_link_to_nothing_is_not_taken_for_another_of_its_name(tmp_path: Path) -> None:
    link = tmp_path / "kiln.toml"
    link.symlink_to(tmp_path / "gone.toml")
    with pytest.raises(InputError, match=r"^kiln.toml: found a link that leads nowhere; allowed"):
        load_board(link)


def test_a_list_that_is_too_long_is_told_how_long_it_may_be() -> None:
    resistors = ", ".join(['"4k7"'] * 31)
    text = (
        'mains = "230 V"\noptocoupler = "817C"\noutput = {pull_up = "10k", supply = "5 V"}\n'
        f'rectifier = "1N4007"\nchain = {{resistors = [{resistors}]}}\n'
    )
    with pytest.raises(InputError) as caught:
        parse_board(text, "lamp.toml")
    assert str(caught.value) == (
        "lamp.toml: chain.resistors: found a list of 31; allowed: 30 at the most"
    )
