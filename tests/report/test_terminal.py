"""What the terminal shows: 80 columns, no colour needed, plain when piped."""

from __future__ import annotations

import io
from collections import Counter
from dataclasses import replace

import pytest
from rich.console import Console

from tests.boards import VARIANTS
from tests.jobs.demo_job import DARK, FAILS, HOLDS, RESISTORS, solved, solved_board
from zcd.margin.check import Check
from zcd.refdata import cite
from zcd.report.of_check_answer import finding_lines
from zcd.report.of_check_document import check_document
from zcd.report.terminal import print_document
from zcd.report.text import offset_text


def printed(
    check: Check, *, encoding: str = "utf-8", terminal: bool = False, width: int = 80
) -> str:
    raw = io.BytesIO()
    file = io.TextIOWrapper(raw, encoding=encoding)
    console = Console(file=file, width=width, force_terminal=terminal, legacy_windows=False)
    print_document(check_document(check), console)
    file.flush()
    return raw.getvalue().decode(encoding)


def squeezed(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("text", [HOLDS, FAILS, DARK])
@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
def test_no_line_is_wider_than_80_columns(text: str, encoding: str) -> None:
    lines = printed(solved(text).check, encoding=encoding).splitlines()
    assert max(map(len, lines)) <= 80


@pytest.mark.parametrize("text", [HOLDS, FAILS, DARK])
def test_no_word_is_broken_or_lost_at_80_columns(text: str) -> None:
    """The same words as on a wide terminal, only laid out otherwise."""
    narrow, wide = (Counter(printed(solved(text).check, width=w).split()) for w in (80, 100))
    rules = {word for word in narrow | wide if set(word) == {"-"}}
    assert {w: n for w, n in narrow.items() if w not in rules} == {
        w: n for w, n in wide.items() if w not in rules
    }


@pytest.mark.parametrize(
    "name",
    [
        *("two-led", "across the LED"),
        *(pytest.param(name, marks=pytest.mark.slow) for name in ("bridge", "two chains")),
    ],
)
def test_every_topology_fits(name: str) -> None:
    lines = printed(solved_board(VARIANTS[name]).check).splitlines()
    assert max(map(len, lines)) <= 80


DESCRIBED = ", calculated as described, not measured"
"""Behind the name of a board that was checked."""


def test_name_and_verdict_come_first() -> None:
    holds = printed(solved().check).splitlines()
    assert holds[0].strip() == f"Ostrel D3 mushroom dryer, invented{DESCRIBED}"
    assert (
        holds[1].strip()
        == "PASSES. Sync works from 114 to 126 V (the band checked); no part is overloaded."
    )
    fails = printed(solved(FAILS).check).splitlines()
    assert fails[1].strip() == "FAILS: R1 and R2 are overloaded."
    assert any(line.strip().startswith("- FAIL: R1") for line in fails[2:6])


def test_piped_text_is_plain() -> None:
    text = printed(solved().check)
    assert "\x1b" not in text
    assert not set(text) & set("─│━┃┏┓╭╮")


def test_ascii_output_spells_units_out() -> None:
    text = printed(solved().check, encoding="ascii")
    assert "30 kohm" in text
    assert "60 degC" in text
    assert "?" not in text


def test_a_terminal_gets_bold_but_no_colour_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    text = printed(solved(FAILS).check, terminal=True)
    assert "\x1b[1m" in text
    assert "\x1b[3" not in text
    assert "FAILS" in text


def test_a_failing_rule_is_named_in_the_table_of_rules() -> None:
    check = solved(FAILS).check
    failed = sum(not rule.passes for rule in check.every_rule)
    found = sum(line.startswith("FAIL: ") for line in finding_lines(check))
    assert printed(check).count("FAIL") == 1 + found + failed  # 1: the headline


def test_levels_say_offsets_in_words_and_the_failed_rule() -> None:
    holds, dark = (squeezed(printed(solved(text).check, width=100)) for text in (HOLDS, DARK))
    levels = solved(HOLDS).check.levels
    assert f"falls {' '.join(offset_text(x.fall_offset_s) for x in levels)}" in holds
    assert "lock yes yes yes yes yes" in holds
    # each cell on two lines, in the width of its column
    assert f"lock {' '.join(['NO: pin never'] * 5)} {' '.join(['low'] * 5)}" in dark
    assert "falls - - - - -" in dark


def test_life_names_the_view_that_counts() -> None:
    text = squeezed(printed(solved().check))
    assert "half of the CTR lost in five 48 years counts" in text
    assert "indicative only over a century" in text


def test_sources_are_numbered_and_cited() -> None:
    text = squeezed(printed(solved().check))
    assert "CTR limits [EL-817]" not in text
    assert squeezed(cite("YAGEO-RC")) in text


def test_all_assumptions_stand_there() -> None:
    text = printed(solved().check)
    for assumption in solved().board.assumptions:
        assert f" {assumption.key} " in text


def test_odd_values_are_pointed_out() -> None:
    odd = HOLDS.replace(RESISTORS, '["104k", "43k"]')
    assert "R1 = 104 kΩ is no standard value" in squeezed(printed(solved(odd).check))
    assert "Check first" not in printed(solved().check)


def test_cautions_stand_there() -> None:
    text = squeezed(printed(solved().check))
    assert "CAUTION" in text
    assert "local codes" in text.lower()
    assert "Prove dead" in text


def test_markup_in_a_name_is_shown_as_it_is() -> None:
    check = solved().check
    hostile = replace(check, board=replace(check.board, name="[bold]x[/] \x1b[31m"))
    assert printed(hostile).splitlines()[0].strip() == f"[bold]x[/] ?[31m{DESCRIBED}"


def test_shorts_name_the_part_that_is_hit_hardest() -> None:
    """With R1 shorted R2 bears the mains: half of 126 V squared over 43 k is 185 mW, of 125 mW."""
    text = printed(solved().check)
    part = text[text.index("If one part shorts") : text.index("A surge of")]
    (line,) = (line for line in part.splitlines() if line.startswith(" R1 "))
    assert "R2 180 mW" in line
    assert "144 %" in line
    assert "R2 125 V" in line
    assert line.split()[-1] == "warning"
    (line,) = (line for line in part.splitlines() if line.startswith(" D1 "))
    assert "R2 122 mW" in line
    assert "2.36 mA" in part


def test_surge_is_shown_as_advice_with_limits() -> None:
    text = printed(solved().check)
    part = text[text.index("A surge of 1 kV") : text.index("Assumed, because")]
    assert "no part of the verdict" in part
    (line,) = (line for line in part.splitlines() if line.startswith(" R2 voltage"))
    assert line.split()[2:7] == ["721", "V", "max", "400", "V"]
    assert "warning" in line
    assert "as remembered, not read" in " ".join(text.split())


def test_too_little_resistor_is_told_how_many_would_share() -> None:
    text = " ".join(printed(solved(FAILS).check).split())
    assert "in series, 21.5 kΩ each, would share it; 3 even with one of them shorted" in text
