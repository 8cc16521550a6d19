"""What is tried in place of a diode, a zener, a bridge or a capacitor: its own kind only."""

from __future__ import annotations

import pytest

from tests.diagnosis.boards import board, edited
from tests.substitutes.places import answer
from zcd import api
from zcd.board.drawer import parse_drawer
from zcd.board.files import parse_board
from zcd.board.model import Board, Diode
from zcd.board.parts_library import ZENER, diode, kind_of_diode
from zcd.report.of_substitutes import answer_lines, buy_line
from zcd.report.of_substitutes_document import OF_CAPACITORS, brief_document
from zcd.report.terminal import document_text
from zcd.simulation.drive_parts import Replacements
from zcd.substitutes.diodes import diode_candidates, every_diode
from zcd.substitutes.proposals import Closeness, Proposal

TRACED = """\
name = "Invented glue warmer"
mains = "230 V 50 Hz"
optocoupler = "817C"
circuit = [@]
output = {pull_up = "12k", supply = "5 V", pin_capacitor = "1 nF"}
controller = {max_offset = "5 ms"}
"""
CIRCUITS = {
    "zener across the LED": '''"feed - R7 82k - R8 91k - D1 1N4007 > - led+",
        "led- - neutral", "led+ - ZD1 5V1 < - led-"''',
    "zener in series": '''"feed - R7 82k - R8 91k - D1 1N4007 > - ZD1 33V 500 mW < - led+",
        "led- - neutral"''',
    "bridge": '''"BR1 DB107", "feed - R7 82k - R8 91k - BR1~1", "BR1~2 - neutral",
        "BR1+ - led+", "BR1- - led-"''',
    "series capacitor": '''"feed - C1 22n - R1 1k - x", "x - D1 1N4007 < - neutral",
        "x - R2 1k - led+", "led- - neutral"''',
    "two couplers": '''"feed - R7 82k - R8 91k - led+", "led- - neutral", "led+ - led2-",
        "led- - led2+"''',
}
ZENERS = """diodes = ["1N4148", "1N4007", "M7", "5V1 zener 1.3 W", "5V6 zener", "33 V zener 1.3 W",
    "33 V zener 0.2 W", "30 V zener 1.3 W", "12 V zener"]"""


def traced(name: str) -> Board:
    return parse_board(TRACED.replace("@", CIRCUITS[name]))


def names(proposals: tuple[Proposal, ...]) -> list[str]:
    return [part.part for one in proposals for part in one.parts if isinstance(part, Diode)]


def asked(name: str, ref: str, drawer: str) -> Replacements:
    return api.substitute(traced(name), parse_drawer(drawer), refs=[ref])


@pytest.mark.parametrize("name", ["zener across the LED", "zener in series"])
def test_a_zener_is_replaced_by_zeners_only(name: str) -> None:
    """A diode without breakdown in its place blocks, or clamps at another voltage."""
    for drawer in (ZENERS, "resistors = ['1k']"):
        found = answer(traced(name), "ZD1", parse_drawer(drawer), others=True)
        assert found.proposals
        parts = [part for one in (*found.proposals, *found.others) for part in one.parts]
        assert all(isinstance(p, Diode) and kind_of_diode(p) is ZENER for p in parts)


def test_a_zener_of_less_power_or_another_voltage_only_where_changes_are_asked_for() -> None:
    """33 V 500 mW: 1.3 W bears more; 30 V is 9 % lower; 0.2 W changes something, 12 V is none."""
    found = answer(traced("zener in series"), "ZD1", parse_drawer(ZENERS), others=True)
    assert names(found.proposals) == ["zener 33 V 1.3 W"]
    assert [one.closeness for one in found.proposals] == [Closeness.SAME]
    assert set(names(found.others)) <= {"zener 33 V 200 mW", "zener 30 V 1.3 W"}
    across = answer(traced("zener across the LED"), "ZD1", parse_drawer(ZENERS))
    assert names(across.proposals) == ["zener 5.1 V 1.3 W"]


def test_no_zener_beyond_its_rating() -> None:
    """A 33 V one that carries the LED's milliamperes, in a drawer of 10 mW ones."""
    drawer = parse_drawer('diodes = ["33 V zener 0.01 W"]')
    found = answer(traced("zener in series"), "ZD1", drawer, others=True)
    assert not found.proposals
    assert not found.others


def test_no_zener_in_the_drawer_says_which_to_buy() -> None:
    result = asked("zener in series", "ZD1", 'diodes = ["1N4007", "M7"]')
    (line,) = answer_lines(result.found, result.found.answers[0], 3)
    assert "Buy a 33 V zener diode, 500 mW or more (load " in line
    assert "rectifier" not in line


@pytest.mark.parametrize("name", ["zener in series", "zener across the LED"])
def test_the_power_of_a_zener_is_what_flows_through_it_times_its_voltage(name: str) -> None:
    """In series all of the LED's current passes at 33 V; across the LED none does, at 1.2 V."""
    (load_w,) = answer(traced(name), "ZD1").proposals[0].verdict.zener_w.values()
    strong = answer(traced(name), "ZD1").proposals[0].verdict.levels[-1]
    expected_w = 33.0 * strong.led_mean_a if name == "zener in series" else 0.0
    assert load_w == pytest.approx(expected_w, rel=0.03, abs=1e-6)


def test_no_zener_in_place_of_a_rectifier() -> None:
    drawer = parse_drawer('diodes = ["1N4007", "1000 V zener"]')
    assert names(answer(board(), "D1", drawer, others=True).proposals) == ["1N4007"]


def test_a_bridge_in_one_piece_is_replaced_by_one() -> None:
    drawer = parse_drawer('diodes = ["1N4007", "MB6S", "DB107", "DB103"]')
    found = answer(traced("bridge"), "BR1", drawer)
    assert names(found.proposals) == ["DB107"]
    result = asked("bridge", "BR1", 'diodes = ["1N4007", "DB107"]')
    assert answer_lines(result.found, result.found.answers[0], 3) == ("DB107: the same part",)
    one_piece = edited('"1N4007"', '"DB107"', "bridge")
    result = api.substitute(one_piece, parse_drawer('diodes = ["DB107", "1N4007"]'), refs=["BR1"])
    assert answer_lines(result.found, result.found.answers[0], 3) == ("DB107: the same part",)


def test_two_couplers_at_one_pin_stay_alike() -> None:
    drawer = 'optocouplers = [{family = "817", grade = "C", count = 1}, "785 BLL"]'
    result = asked("two couplers", "OC2", drawer)
    lines = answer_lines(result.found, result.found.answers[0], 3)
    assert lines[0] == "817 C: the same family and grade, any make"
    assert lines[1].startswith("2 x 785 BLL: ")


def test_a_series_capacitor_is_of_class_x2() -> None:
    """IEC 60384-14 (not read; as makers explain it): class X2 across the mains."""
    result = asked("series capacitor", "C1", 'resistors = ["1k"]')
    assert buy_line(result.found, result.found.answers[0]) == "Buy 22 nF, class X2, 275 V~ or more."
    assert OF_CAPACITORS in document_text(brief_document(result)).replace("\n", " ")
    stock = """capacitors = ["22 nF", {value = "22 nF", voltage = "630 V"},
        {value = "22 nF", safety_class = "Y2", voltage = "300 V"},
        {value = "22 nF", safety_class = "X2", voltage = "275 V"},
        {value = "22 nF", safety_class = "X2", voltage = "200 V"},
        {value = "10 nF", safety_class = "X2", voltage = "275 V"}]"""
    result = asked("series capacitor", "C1", stock)
    lines = answer_lines(result.found, result.found.answers[0], 3)
    assert [line.partition(":")[0] for line in lines] == ["22 nF X2 275 V~", "22 nF Y2 300 V~"]


def test_a_pin_capacitor_bears_twice_the_supply() -> None:
    result = asked("bridge", "C1", 'resistors = ["1k"]')
    assert buy_line(result.found, result.found.answers[0]) == "Buy 1 nF, 16 V or more."
    assert OF_CAPACITORS not in document_text(brief_document(result)).replace("\n", " ")
    assert result.all_found
    stock = 'capacitors = [{value = "1 nF", voltage = "6 V"}, {value = "1 nF", voltage = "50 V"}]'
    result = asked("bridge", "C1", stock)
    lines = answer_lines(result.found, result.found.answers[0], 3)
    assert lines == ("1 nF 50 V: the same capacitance",)
    one = 'capacitors = [{value = "2 nF", count = 1}]'
    assert not asked("bridge", "C1", one).all_found


def test_two_capacitors_make_up_one_that_is_not_in_stock() -> None:
    """10 + 12 nF side by side are 22 nF, two of 44 nF one after the other too: each is made for the
    whole voltage, and of class X2 or Y2 on the mains (IEC 60384-14, not read)."""
    stock = """capacitors = ["44n X2 275V", {value = "10 nF"}, "12n X2 300V", "10n Y2 300V",
        "11n X2 200V"]"""
    found = asked("series capacitor", "C1", stock).found
    lines = answer_lines(found, found.answers[0], 3)
    assert lines == (
        "44 nF X2 275 V~ + 44 nF X2 275 V~ in series: the same capacitance",
        "12 nF X2 300 V~ + 10 nF Y2 300 V~ in parallel: the same capacitance",
    )
    assert found.answers[0].proposals[1].board.capacitors == found.board.capacitors
    assert asked("bridge", "C1", 'capacitors = ["2 nF"]').all_found
    found = asked("series capacitor", "C1", stock.replace("44n", "22n")).found
    lines = answer_lines(found, found.answers[0], 3)
    assert lines == ("22 nF X2 275 V~: the same capacitance",)


@pytest.mark.parametrize("text", ["33 V zener 1/2 W", "zener 33 V, 500mW", "33V zener 0.5 W"])
def test_the_power_of_a_zener_is_read(text: str) -> None:
    assert diode(text, ref="ZD1").part == "zener 33 V 500 mW"


@pytest.mark.transcribed(
    "DIOTECH-1N4148", where="ratings: 75 V", why="the verdict needs no more digits", rtol=0.0
)
@pytest.mark.parametrize("name", ["half-wave", "half-wave-clamped", "rectifier first"])
def test_a_signal_diode_is_never_proposed_for_mains(name: str) -> None:
    """75 V repetitive against 358 V, the peak of 253 V; not even with --any."""
    found = answer(board(name), "D1", others=True)
    assert names(found.proposals)[0] == "1N4007"
    assert "1N4148" not in names((*found.proposals, *found.others))


def test_a_signal_diode_on_the_original_is_not_proposed_again() -> None:
    found = answer(edited('"1N4007"', '"1N4148"'), "D1", others=True)
    assert found.proposals
    assert "1N4148" not in names((*found.proposals, *found.others))


def test_a_clamp_gets_its_signal_diode_first() -> None:
    assert names(answer(board("clamped"), "D1").proposals)[0] == "1N4148"


def test_a_bridge_needs_four_of_a_kind() -> None:
    for count, of, enough in ((3, "bridge", False), (4, "bridge", True), (3, "half-wave", True)):
        stock = parse_drawer(f'diodes = [{{part = "M7", count = {count}}}]').diodes
        fitted = board(of).rectifier
        assert fitted is not None
        assert bool(diode_candidates(board(of), stock, fitted)) is enough


def test_every_diode_with_as_high_a_rating_is_tried_first() -> None:
    fitted = board().rectifier
    assert fitted is not None
    found = diode_candidates(board(), every_diode(fitted), fitted)
    ratings = [p.junction.reverse_rating_v for one in found for p in one.parts
               if isinstance(p, Diode)]  # fmt: skip
    like = [one.closeness is not Closeness.OTHER for one in found]
    assert like == [rating >= 1000.0 for rating in ratings]
    assert like == sorted(like, reverse=True)


@pytest.mark.transcribed(
    "MBS-SHEETS", where="ratings: 0.5 A", why="the verdict needs no more digits", rtol=0.0
)
def test_a_diode_for_less_current_comes_later_and_says_so() -> None:
    """MB10S: 0.5 A on a plain board, DB107: 1 A, both 1000 V; a sync input passes milliamperes."""
    stock = 'diodes = ["MB10S", "DB107"]'
    found = asked("bridge", "BR1", stock).found
    first, second = answer_lines(found, found.answers[0], 3)
    assert first == "DB107: the same part"
    assert second.startswith("MB10S: 1 kV too, 500 mA (was 1 A) for ")
    assert second.endswith(" V here; check its case")


def test_a_capacitance_near_it_changes_something() -> None:
    """Twice as much at the pin: only where changes are asked for, and only if the check passes."""
    stock = parse_drawer('capacitors = ["1.5 nF 50 V", "10 nF 50 V", "1 nF 50V"]')
    found = answer(traced("bridge"), "C1", stock, others=True)
    assert [p.parts[0].capacitance_f for p in found.proposals] == [pytest.approx(1e-9)]  # type: ignore[union-attr]
    (other,) = found.others
    assert other.board.output.pin_capacitor == other.parts[0]
    assert other.verdict.passes
    assert not answer(traced("bridge"), "C1", stock).others
