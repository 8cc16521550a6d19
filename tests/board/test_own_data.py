"""Parts that are in no table: by their own data, or by the class that their body tells."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests.board.boards import edited
from zcd.board.diode_names import diode_by_words, table_part
from zcd.board.drawer import parse_drawer
from zcd.board.files import board_from_dict
from zcd.board.json_schema import file_schema
from zcd.board.model import Board, Diode, Optocoupler
from zcd.board.optocouplers import TWO_LED_FAMILIES, as_new
from zcd.board.schema import BoardFile
from zcd.circuit.build import build_circuit
from zcd.circuit.points import leads_text
from zcd.diagnosis.faults import faults_of
from zcd.diagnosis.reading_syntax import parse_place
from zcd.diagnosis.readings import useful_readings
from zcd.errors import InputError
from zcd.margin.stress import led_current_limit_a
from zcd.physics.diode import thermal_voltage_v
from zcd.report.of_board import read_as_line
from zcd.report.of_readings_card import short_reading


def coupler(written: Any, **tables: Any) -> Optocoupler:
    return board_from_dict(edited(optocoupler=written, **tables)).optocoupler


def rectifier(written: Any) -> Diode:
    part = board_from_dict(edited(rectifier=written)).rectifier
    assert part is not None
    return part


def refusal(**tables: Any) -> str:
    with pytest.raises(InputError) as caught:
        board_from_dict(edited(**tables))
    return str(caught.value)


@pytest.mark.parametrize(
    ("ctr", "limits", "test_a"),
    [
        ("50..600 % at 5 mA", (0.5, 6.0), 5e-3),
        ("50-600% @ 5mA", (0.5, 6.0), 5e-3),
        ("CTR 100 to 300 % at IF = 10 mA", (1.0, 3.0), 10e-3),
        ("80…160 %", (0.8, 1.6), 5e-3),
        ("120 % at 1 mA", (1.2, 1.2), 1e-3),
        ("120 %", (1.2, 1.2), 5e-3),
    ],
)
def test_ctr_as_a_data_sheet_prints_it(
    ctr: str, limits: tuple[float, float], test_a: float
) -> None:
    part = coupler({"ctr": ctr})
    assert (part.ctr_min_ratio, part.ctr_max_ratio) == pytest.approx(limits)
    assert part.test_current_a == pytest.approx(test_a)


def test_limits_of_the_led() -> None:
    part = coupler({"ctr": "50..600 % at 5 mA", "led_current": "20 mA", "led_reverse_voltage": 6})
    assert led_current_limit_a(part)[0] == 0.02
    assert part.led.reverse_rating_v == 6.0
    assert led_current_limit_a(coupler("817C"))[0] == 0.05


def test_a_name_in_no_table_beside_own_data() -> None:
    written = {"family": "QX9017", "ctr": "50..400 % at 5 mA"}
    board = board_from_dict(edited(optocoupler=written))
    assert board.optocoupler == coupler({"ctr": "50..400 % at 5 mA"})
    assert 'OC1 "QX9017" = a part in no table, by its own data' in read_as_line(board)
    assert "drives a triac" in refusal(optocoupler={**written, "family": "MOC3021"})


def test_own_data_stand_in_place_of_the_family_s() -> None:
    """Everlight prints 50 % to 600 % at 5 mA for the unranked EL817."""
    part = coupler({"family": "817", "ctr_min": "90 %"})
    assert part.ctr_min_ratio == 0.9
    assert part.ctr_max_ratio == 6.0
    assert part.family == "817"


def test_a_part_by_its_own_data_is_the_same_when_new() -> None:
    part = coupler({"ctr": "50..600 % at 5 mA", "remaining": "40 %"})
    assert as_new(part) == replace(part, remaining_ratio=1.0)


@pytest.mark.parametrize(
    ("written", "family", "limits"),
    [
        # as wide as the rows of reference/ctr_grades.csv: 817 50-600 %, 4N27 from 10 %
        ("four-pin coupler", "four-pin coupler", (0.5, 6.0)),
        ("4-pin optocoupler", "four-pin coupler", (0.5, 6.0)),
        ("?", "four-pin coupler", (0.5, 6.0)),
        ("DIP-6", "six-pin coupler", (0.1, 6.0)),
        ("6 pin coupler", "six-pin coupler", (0.1, 6.0)),
    ],
)
def test_only_the_class_is_known(written: str, family: str, limits: tuple[float, float]) -> None:
    board = board_from_dict(edited(optocoupler=written))
    part = board.optocoupler
    assert part.family == family
    assert (part.ctr_min_ratio, part.ctr_max_ratio) == limits
    (said,) = [a for a in board.assumptions if a.key == "optocoupler.ctr"]
    assert family in said.source


def test_two_leds() -> None:
    two = {"rectifier": None, "chain": {"topology": "two-led"}}
    for written in ("AC coupler", "?", "AC input optocoupler", {"ctr": "20..300 % at 1 mA"}):
        assert coupler(written, **two).family in TWO_LED_FAMILIES
    assert "a part with one LED" in refusal(optocoupler="AC coupler")
    assert "a part with two LEDs" in refusal(optocoupler={"ctr": "50 %", "leds": 1}, **two)


@pytest.mark.parametrize(
    ("written", "line"),
    [
        ({"ctr_min": "300 %", "ctr_max": "100 %"}, "not above the highest CTR, 100 %"),
        ({"ctr": "80 %", "ctr_max": "100 %"}, "a measured ctr, or ctr_min and ctr_max"),
        ({"ctr": "50..600 % at 0 mA"}, "the LED current of the CTR"),
        (
            {"family": "817", "test_current": "5 mA", "led_current": "2 mA"},
            'optocoupler.test_current: found "5 mA"; allowed: not above the highest LED current',
        ),
        ({"family": "six-pin coupler", "grade": "C"}, "no grade, as six-pin coupler is a class"),
        ({"led_current": "50 mA"}, 'optocoupler = {ctr = "50..600 % at 5 mA"}'),
        ("QX77", 'optocoupler = {ctr = "50..600 % at 5 mA"}, or its class: four-pin coupler'),
    ],
)
def test_contradicting_data_of_a_coupler_are_one_line(written: Any, line: str) -> None:
    text = refusal(optocoupler=written)
    assert line in text
    assert "\n" not in text


@pytest.mark.parametrize(
    ("written", "rating_v", "label"),
    [
        ({"reverse_voltage": "600 V", "current": "1 A"}, 600.0, "600 V 1 A rectifier"),
        ("600V 1A", 600.0, "600 V 1 A rectifier"),
        ("1 A rectifier", 1000.0, "1 A rectifier"),
        ("bridge 800 V, 0.5 A", 800.0, "800 V 500 mA bridge"),
        ("bridge rectifier", 1000.0, "bridge"),
        ({"part": "diode", "reverse_voltage": "400 V"}, 400.0, "400 V rectifier"),
        ({"part": "1N4148", "reverse_voltage": "100 V"}, 100.0, "1N4148"),
    ],
)
def test_a_rectifier_by_its_own_data(written: Any, rating_v: float, label: str) -> None:
    part = rectifier(written)
    assert (part.junction.reverse_rating_v, part.part) == (rating_v, label)


def test_a_rating_that_nobody_read_is_said() -> None:
    board = board_from_dict(edited(rectifier="1 A rectifier"))
    (said,) = [a for a in board.assumptions if a.key == "rectifier.reverse_voltage"]
    assert said.value == "1 kV"
    assert said.source == "not written; such parts stand 50 V to 1 kV"


@pytest.mark.parametrize(
    "written", ["BZX84C5V1", "5V1 zener", "zener 5.1 V", {"breakdown_voltage": "5.1 V"}]
)
def test_a_zener_across_the_led(written: Any) -> None:
    """Pro Electron: C5V1 in a zener's name is 5.1 V within 5 %."""
    board = board_from_dict(edited(clamp=written, chain={"topology": "half-wave-clamped"}))
    assert board.clamp is not None
    law = board.clamp.junction
    above_v = (
        law.emission_ratio
        * float(thermal_voltage_v(25.0))
        * np.log(5e-3 / law.saturation_current_a)
    )
    assert law.reverse_rating_v + above_v == pytest.approx(5.1)
    assert law.is_zener
    assert board.clamp.part.startswith("zener 5.1 V")


# Power: data sheets of the series at 25 °C (General Semiconductor 1N4728 and BZX55, Taiwan
# Semiconductor BZX85 and BZX79, Diodes Inc. BZT52 on FR-4, Formosa MS 1N5221B); voltages: the same,
# and Pro Electron (C: within 5 %).
@pytest.mark.parametrize(
    ("written", "volts", "watts"),
    [
        ("1N4733A", 5.1, 1.0), ("1N4742", 12.0, 1.0), ("1N4751A-T", 30.0, 1.0),
        ("1N5231B", 5.1, 0.5), ("IN5242B", 12.0, 0.5), ("BZX55C5V1", 5.1, 0.5),
        ("BZX85C5V1", 5.1, 1.3), ("BZX 85 C24", 24.0, 1.3), ("BZX79-C6V2", 6.2, 0.5),
        ("BZT52C5V1S", 5.1, 0.37), ("ZMM5.1", 5.1, 0.5), ("ZPD5V1", 5.1, 0.5),
        ("C5V1", 5.1, None), ("5V1", 5.1, None), ("5.1V", 5.1, None), ("24 V", 24.0, None),
        ("5,1 V 0.5 W zener", 5.1, 0.5), ("zener diode 5.1 volt 1/2 W", 5.1, 0.5),
    ],
)  # fmt: skip
def test_a_zener_by_its_number(written: str, volts: float, watts: float | None) -> None:
    own = diode_by_words(written)
    assert own is not None
    assert (own.kind, own.breakdown_v, own.power_w) == ("zener", volts, watts)


@pytest.mark.parametrize("written", ["zener", "zener ?", "zener 0.5 W"])
def test_a_zener_without_a_voltage_is_asked_back(written: str) -> None:
    assert 'allowed: its voltage with it, such as "5V1 zener"' in refusal(rectifier=written)


# KBL406: 4 A, 600 V, and B250C1000: 1000 mA, by the makers' numbering, remembered; four single
# diodes are a bridge too.
@pytest.mark.parametrize(
    ("written", "part"),
    [
        ("KBL406", "600 V 4 A bridge"), ("2W10", "1 kV 2 A bridge"), ("B250C1000", "1 A bridge"),
        ("mb6s bridge", "MB6S"), ("4 x 1N4007", "1N4007"), ("1N4007 x4", "1N4007"),
        ("1N4007 1000V 1A", "1N4007"), ("diode 1N4007 (DO-41)", "1N4007"),
    ],
)  # fmt: skip
def test_bridges_and_diodes_with_words_beside_them(written: str, part: str) -> None:
    assert rectifier(written).part == part


@pytest.mark.parametrize(
    ("written", "line"),
    [
        ({"reverse_voltage": "600 V", "breakdown_voltage": "100 V"}, "not below the rated reverse"),
        (
            {"part": "1N4007", "breakdown_voltage": "600 V"},
            "not below the rated reverse voltage, 1 k",
        ),
        ({"ref": "D1"}, 'a diode such as "1N4007"; for any other part'),
        ("XY12", 'rectifier = {reverse_voltage = "600 V", current = "1 A"}'),
        ("T4", 'write "1N4148W" if the body is a SOD-123'),
    ],
)
def test_what_is_no_diode_is_one_line(written: Any, line: str) -> None:
    text = refusal(rectifier=written)
    assert line in text
    assert "\n" not in text


# Marks of makers: Zibo Seno (A1 to A7 are SOD4001 to SOD4007), HTSEMI and ASEMI (M1 to M7), their
# sheets' ratings; suffixes are those of reels and bodies.
@pytest.mark.parametrize(
    ("printed", "name"),
    [
        ("IN4007", "1N4007"), ("1N4007G", "1N4007"), ("1N4007-T", "1N4007"), ("4007", "1N4007"),
        ("1n4148 TR", "1N4148"), ("LL4148-GS08", "LL4148"), ("SM4007", "M7"), ("SOD4004", "M4"),
        ("A6", "M6"), ("S1M", "S1M"), ("DF06S", "DF06"), ("W10M", "W10"), ("KBP206", "KBP206"),
        ("A7", None), ("T4", None), ("1N5819", None), ("M8", None), ("BAV99", "BAV99"),
        ("BAT54S", "BAT54"), ("BAV99W", "BAV99"), ("LL43", "BAT43"), ("BAT42WS", "BAT42"),
        ("LL4007", "1N4007"), ("DL4004", "1N4004"), ("1N4007W", "1N4007"),
    ],
)  # fmt: skip
def test_markings_of_diodes(printed: str, name: str | None) -> None:
    assert table_part(printed) == name


def test_no_diode_in_words() -> None:
    two = {"rectifier": "none", "clamp": "none", "optocoupler": "814", "chain": {}}
    board = board_from_dict(edited(**two))
    assert (board.topology, board.rectifier, board.clamp) == ("two-led", None, None)


def test_a7_is_a_rectifier_where_a_pair_cannot_stand() -> None:
    board = board_from_dict(edited(rectifier="A7"))
    assert board.rectifier is not None
    assert board.rectifier.part == "M7"
    assert "1 A 1000 V (two pins; with three it is no rectifier)" in read_as_line(board)
    clamped = {"clamp": "A7", "chain": {"topology": "half-wave-clamped"}}
    assert 'with 3 pins the pair "BAV99"' in refusal(**clamped)


@pytest.mark.parametrize("text", ["1N5819", "", "M7 or so", "BAV99", "T4", "diode 4"])
def test_what_is_no_description_of_a_diode(text: str) -> None:
    assert diode_by_words(text) is None


def said_of(**tables: Any) -> str:
    return read_as_line(board_from_dict(edited(**tables)))


def test_names_of_makers_are_said() -> None:
    assert '"LTV-817S-C" = 817 grade C' in said_of(optocoupler="LTV-817S-C")
    assert '"PC817X3" = 817 grade C' in said_of(optocoupler="PC817X3")
    assert '"IN4007" = 1N4007' in said_of(rectifier="IN4007")
    assert said_of(optocoupler="817 C", rectifier="1n4007") == ""


def test_a_board_by_own_data_can_be_changed() -> None:
    board: Board = board_from_dict(edited(optocoupler={"ctr": "50..600 % at 5 mA"}))
    assert board.with_(optocoupler="817C").optocoupler.family == "817"
    assert board.with_(rectifier="M7").rectifier != board.rectifier


def test_editors_know_the_keys() -> None:
    keys = file_schema(BoardFile, "board file")["properties"]
    own = keys["optocoupler"]["anyOf"][1]["properties"]
    assert {"ctr_min", "ctr_max", "test_current", "led_current", "leds"} <= own.keys()
    diodes = keys["rectifier"]["anyOf"][1]
    assert {"reverse_voltage", "current", "breakdown_voltage"} <= diodes["properties"].keys()
    assert diodes["required"] == []


def test_what_nobody_can_read_is_taken_as_wide_as_its_class() -> None:
    board = board_from_dict(edited(rectifier="unreadable", optocoupler="unreadable"))
    assert board.optocoupler.family == "four-pin coupler"
    said = read_as_line(board)
    assert '"unreadable" = rectifier, its rating not known' in said
    assert '"unreadable" = any four-pin coupler' in said


def test_a_sentence_that_says_it_cannot_be_read() -> None:
    read = coupler("unreadable, 4 pin DIP, transistor output"), coupler("no marking, 6-pin")
    assert [part.family for part in read] == ["four-pin coupler", "six-pin coupler"]
    assert rectifier("don't know, black SMD diode, no marking left") == rectifier("?")
    assert "Darlington" in refusal(optocoupler="TLP627")


def test_least_ctr_alone() -> None:
    for written in ("min 50 %", ">50%", "at least 50 %"):
        part = coupler({"ctr": written})
        assert (part.ctr_min_ratio, part.ctr_max_ratio) == (0.5, 6.0)


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("MOC3021", "this one drives a triac"),
        ("6N137", "this one has a logic output"),
        ("4N33", "this one has a Darlington output"),
    ],
)
def test_other_kinds_of_couplers_are_named(written: str, words: str) -> None:
    assert words in refusal(optocoupler=written)


def test_a_maker_before_the_name() -> None:
    assert coupler("SHARP PC817 B").grade == "B"
    assert rectifier("SMD M7").part == "M7"


def test_a_bridge_in_one_piece_is_one_part_with_its_leads() -> None:
    legs = {"topology": "bridge", "resistors": ["120k"], "return_resistors": ["120k"]}
    board = board_from_dict(edited(rectifier="MB6S", chain=legs))
    circuit = build_circuit(board)
    assert board.rectifier is not None
    assert board.rectifier.ref == "BR1"
    nodes = [circuit.node(f"BR1{lead}") for lead in ("~1", "~2", "+", "-")]
    assert nodes[1:] == ["return.1", "led+", "led-"]
    assert nodes[0] not in nodes[1:]
    assert leads_text("BR1~1+", nodes[0], circuit) == ("BR1~1", "BR1+")
    assert leads_text("BR1~1+", nodes[2], circuit) == ("BR1+", "BR1~1")
    over = parse_place("ohm BR1+ BR1~1", circuit)
    assert over == parse_place("ohm BR1~1+ reversed", circuit)
    assert short_reading(over, circuit) == "ohm BR1+, BR1~1"
    assert parse_place("ohm led+ R1/BR1~1", circuit) == over
    faults = [fault for fault in faults_of(circuit) if fault.part.startswith("BR1")]
    assert {fault.mode for fault in faults} == {"open", "short", "leaky", "intermittent"}
    assert {fault.repair for fault in faults if fault.is_replaced} == {"BR1"}
    assert not [r for r in useful_readings(board, circuit) if r.lifted.startswith("BR1")]


def test_four_single_diodes_are_four_parts() -> None:
    board = board_from_dict(edited(rectifier="1N4007", chain={"topology": "bridge"}))
    refs = {fault.repair for fault in faults_of(build_circuit(board))}
    assert {"D1a", "D1b", "D1c", "D1d"} <= refs


@pytest.mark.parametrize("beside", ["ctr_min", "ctr_max", "test_current"])
def test_what_the_ctr_as_printed_says_is_not_written_again(beside: str) -> None:
    """One of the two would be dropped without a word."""
    value = "1 mA" if beside == "test_current" else "300 %"
    with pytest.raises(InputError, match=rf"optocoupler\.{beside}: found .* which says it too"):
        coupler({"ctr": "50..600 % at 5 mA", beside: value})


# Sharp PC817 sheet: B is 130 to 260 %, unranked 50 to 600 %, both at 5 mA; 1N4007: 1000 V, 1 A.
@pytest.mark.parametrize(
    ("tables", "line"),
    [
        ({"rectifier": "1N4007 600 V"}, "rectifier: found .* the name or 600 V, .* it has 1 kV"),
        ({"rectifier": "1N4007 3 A"}, "the name or 3 A, not both"),
        ({"rectifier": "1N5408 1 A"}, "the name or 1 A, not both"),
        ({"rectifier": {"part": "1N4007", "reverse_voltage": "700 V"}}, "1 kV, as the part is 1N4"),
        ({"rectifier": {"part": "MB6S", "current": "4 A"}}, "500 mA, as the part is MB6S"),
        ({"rectifier": {"part": "600 V 1 A rectifier", "reverse_voltage": 400}}, "600 V, as the p"),
        ({"rectifier": "BZX84C5V1 6.2 V"}, "the name or 6.2 V, not both: by its name it has 5.1 V"),
        ({"rectifier": {"part": "1N4733A", "breakdown_voltage": "12 V"}}, "5.1 V, as the part is"),
        ({"rectifier": {"part": "1N4733A", "breakdown_voltage": "5.8 V"}}, "5.1 V, as the part is"),
        ({"rectifier": "KBL406 400 V"}, "the name or 400 V, not both: by its name it has 600 V"),
        ({"optocoupler": {"family": "PC817 B", "ctr": "400 %"}}, "at most 260 % of 817 grade B"),
        ({"optocoupler": {"family": "817", "ctr": "900 %"}}, "at most 600 % of 817"),
        ({"optocoupler": {"family": "817 B", "ctr_min": "300 %"}}, "130 % to 260 %, the CTR of"),
        ({"optocoupler": {"family": "817 B", "ctr": "200..400 %"}}, "found .200 %.; allowed: 130"),
        ({"optocoupler": {"family": "817", "led_current": "0.2 A"}}, "50 mA or near, of 817"),
        ({"optocoupler": {"family": "817", "led_reverse_voltage": 60}}, "5 V or near, of 817"),
        ({"optocoupler": {"family": "817", "leds": 2}}, "leds: found 2; allowed: 1, those of 817"),
    ],
)  # fmt: skip
def test_a_figure_that_its_name_rules_out_is_one_line(tables: dict[str, Any], line: str) -> None:
    text = refusal(**tables)
    assert re.search(line, text)
    assert "\n" not in text


@pytest.mark.parametrize(
    "written",
    [
        {"family": "817 B", "ctr": "60 %"},  # what age has left
        {"family": "817 B", "ctr": "265 %"},  # the error of a bench
        {"family": "817 B", "ctr": "300 % at 1 mA"},  # the grade says nothing of 1 mA
        {"family": "817 B", "ctr": "50..600 % at 5 mA"},
        {"family": "EL817", "led_current": "60 mA", "led_reverse_voltage": "6 V"},
        {"family": "PS2561 N", "ctr": "50..400 %"},  # limits that the tables have from memory
    ],
)
def test_figures_that_agree_with_the_name_stay(written: dict[str, Any]) -> None:
    assert coupler(written).family in {"817", "2561"}


@pytest.mark.parametrize(
    "written",
    [
        "1N4007 1000V 1A",
        "1N4148 100 V",
        "1N4148 200 mA",
        "BZX84C5V1 5.1 V",
        "MB6S 0.8 A",
        "1N5408 2 A",
        "M7 1 kV",
    ],
)
def test_figures_beside_a_diode_that_agree(written: str) -> None:
    assert rectifier(written).part


def test_a_figure_in_a_traced_line_and_in_a_drawer_is_held_against_its_name() -> None:
    circuit = ["feed - R1 82k - D1 1N4007 400 V > - led+", "led- - neutral"]
    text = refusal(rectifier=None, chain=None, circuit=circuit)
    assert "the name or 400 V, not both" in text
    for text, line in (
        ('diodes = ["1N4007 400 V"]', "the name or 400 V, not both"),
        ('optocouplers = [{family = "817", grade = "A", ctr = "400 %"}]', "at most 160 %"),
    ):
        with pytest.raises(InputError, match=line):
            parse_drawer(text)


# NEC's marks: the first letter of the lot line is the rank ("PS2" and "-1" left off the name);
# Orient prints 300 % at least for ORPC-817SC-H, and nothing that makes the C of SC a rank.
@pytest.mark.parametrize(
    ("printed", "family", "grade"),
    [
        ("PS2561A-1", "2561A", "any"), ("2561A N301", "2561A", "N"), ("PS2561AL-1", "2561A", "any"),
        ("PS2701A-1", "2701", "any"), ("701A N301", "2701", "N"), ("ORPC-817SC", "817", "any"),
        ("ORPC-817SC-H", "817", "D"), ("ORPC-817S-C-TP-F", "817", "C"), ("817SC", "817", "C"),
    ],
)  # fmt: skip
def test_marks_of_the_lot_and_letters_that_are_no_rank(
    printed: str, family: str, grade: str
) -> None:
    part = coupler(printed)
    assert (part.family, part.grade) == (family, grade)


def test_a_clamp_may_be_one_diode_of_a_pair() -> None:
    clamped = {"clamp": "BAV99", "chain": {"topology": "half-wave-clamped"}}
    assert '"BAV99" = one diode of a BAV99' in said_of(**clamped)
    hot = board_from_dict(edited(**clamped | {"clamp": "BAT54S"})).clamp
    assert hot is not None
    assert hot.junction.gap_v < 0.8  # a Schottky barrier, not silicon's gap
