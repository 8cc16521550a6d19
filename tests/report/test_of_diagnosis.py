"""What the readings say, in words."""

from __future__ import annotations

from math import inf

import pytest

from tests.boards import VARIANTS
from tests.jobs.demo_job import OPEN, SETTLED, card, case, dictionary
from zcd.circuit.build import build_circuit
from zcd.circuit.points import parts_at, point_text
from zcd.diagnosis.expected_readings import ExpectedRange
from zcd.diagnosis.faults import faults_of
from zcd.diagnosis.functions import Function
from zcd.diagnosis.rank import Ranked, diagnose, present
from zcd.diagnosis.reading_syntax import parse_reading
from zcd.diagnosis.reading_words import probes_text
from zcd.diagnosis.readings import AccessLevel, Reading
from zcd.report.cautions import BENCH, DEAD, GENERAL, ISOLATED, LIFTED, LIVE, Caution
from zcd.report.of_answers import suggestion_lines
from zcd.report.of_diagnosis import (
    ACCESS_TITLES,
    MAX_SHOWN,
    MIN_SHOWN,
    cautions_for,
    failed_marks,
    measured_table,
    node_texts,
    part_texts,
    ranked_table,
    spread_text,
)
from zcd.report.of_diagnosis_answer import fault_name
from zcd.report.of_diagnosis_text import amount_text, fault_words
from zcd.report.of_readings_card import expected_readings_tables
from zcd.report.text import probability_text


def test_probes_name_the_part_between_them() -> None:
    circuit = dictionary().circuit
    over = Reading(function=Function.OHM, red="chain.1", black="chain.2")
    assert probes_text(over, circuit) == "across R2"
    none = Reading(function=Function.AC, red="line", black="chain.1")
    assert probes_text(none, circuit) == "red on line, black on R1/R2"


def test_probes_over_a_junction_say_which_end_is_red() -> None:
    circuit = dictionary().circuit
    over = Reading(function=Function.DIODE, red="chain.2", black="led+")
    assert probes_text(over, circuit) == "across D1, red on R2/D1, black on led+"
    pin = Reading(function=Function.DC, red="pin", black="logic0")
    assert probes_text(pin, circuit) == "red on pin, black on logic0"


def test_every_point_of_a_chain_is_told_in_words() -> None:
    """A joint is where two parts meet: one of both ends each."""
    circuit = dictionary().circuit
    for node in circuit.nodes:
        if node.startswith("chain."):
            first, second = parts_at(node, circuit)
            assert point_text(node, circuit) == f"between {first} and {second}"
            assert node in circuit[first].nodes
            assert node in circuit[second].nodes


@pytest.mark.parametrize(
    ("function", "low", "high", "words"),
    [
        (Function.DC, 4.85, 5.1, "4.85 to 5.1 V"),
        (Function.DC, 4.9801, 4.9803, "4.98 V"),
        (Function.OHM, 1e6, inf, "1 MΩ to OL"),
        (Function.OHM, inf, inf, "OL"),
        (Function.DUTY, 0.0, 0.466, "up to 46.6 %, or 0 if the meter misses the short highs"),
        (Function.FREQUENCY, 0.0, 100.0, "100 Hz or 0"),
        (Function.FREQUENCY, 50.0, 100.0, "50 to 100 Hz"),
    ],
)
def test_spread_is_one_value_where_its_ends_look_alike(
    function: Function, low: float, high: float, words: str
) -> None:
    assert spread_text(function, ExpectedRange(low=low, middle=low, high=high)) == words


def test_card_is_a_table_a_side_safest_first() -> None:
    sheets = expected_readings_tables(card(), dictionary().circuit)
    assert [side for side, _ in sheets] == list(AccessLevel)
    for side, table in sheets:
        assert table.title == ACCESS_TITLES[side]
        lines = [line for line in card() if line.access is side]
        assert lines
        assert [row[0].splitlines()[0] for row in table.rows] == [
            line.reading.function.row.words for line in lines
        ]
    assert "LIVE" in ACCESS_TITLES[AccessLevel.MAINS]
    assert "proved dead" in ACCESS_TITLES[AccessLevel.DEAD]


def test_card_row_tells_good_from_faulty() -> None:
    (dead, *_) = (table for _, table in expected_readings_tables(card(), dictionary().circuit))
    (row,) = (row for row in dead.rows if row[0] == "ohms\nacross R2")
    faults = row[2].splitlines()
    assert any(line.endswith("OL: R2 open") for line in faults)
    assert sum(line.endswith("R2 gone high") for line in faults) == 1
    assert not any("healthy" in line for line in faults)


def test_faults_that_look_alike_share_a_line() -> None:
    """Coil not driven, or its driver gone: the same voltage."""
    for _, table in expected_readings_tables(card(), dictionary().circuit):
        for row in table.rows:
            values = [line.split(":")[0] for line in row[2].splitlines()]
            assert len(values) == len(set(values))


def test_every_fault_of_the_card_is_in_its_table() -> None:
    rows = [
        row
        for _, table in expected_readings_tables(card(), dictionary().circuit)
        for row in table.rows
    ]
    for line, row in zip(card(), rows, strict=True):
        told = [key for text in row[2].splitlines() for key in text.split(": ")[1].split(", ")]
        assert sorted(told) == sorted(map(fault_words, line.faults))


def test_readings_taken_are_numbered_in_order() -> None:
    table = measured_table(case().diagnosis.measured, dictionary().circuit)
    assert [row[0] for row in table.rows] == ["1", "2", "3"]
    assert [row[3] for row in table.rows] == ["23.7 V", "4.98 V", "OL"]
    assert table.rows[2][1:3] == ("ohms", "across R2")


@pytest.mark.parametrize("texts", [(), OPEN, SETTLED])
def test_ranking_shows_the_likeliest_only(texts: tuple[str, ...]) -> None:
    result = case(texts).diagnosis
    rows = ranked_table(result, dictionary().circuit).rows
    assert 1 <= len(rows) <= MAX_SHOWN
    names = [fault_name(r) for r in result.ranked[: len(rows)]]
    assert [row[1].splitlines()[0] for row in rows] == names
    assert all(r.probability >= MIN_SHOWN for r in result.ranked[: len(rows)])
    assert [row[2] for row in rows] == [r.words for r in result.ranked[: len(rows)]]


@pytest.mark.parametrize(
    ("probability", "words"),
    [(1.0, "over 99 %"), (0.99, "99 %"), (0.5, "50 %"), (0.01, "1 %"), (0.0, "under 1 %")],
)
def test_probability_is_never_certainty(probability: float, words: str) -> None:
    assert probability_text(probability) == words


@pytest.mark.parametrize(
    ("key", "amount", "words"),
    [
        ("R2 drift", (2.0, 3.0, 4.0), "R2 reads as 86 kΩ to 172 kΩ"),
        ("OC1 aged", (0.02, 0.1, 0.5), "CTR at 2 to 50 % of new"),
        ("mains low", (0.4, 0.5, 0.6), "at 48 V to 72 V"),
        ("D1 leaky", (3e3, 5e3, 10e3), "a leak of 3 kΩ to 10 kΩ"),
        ("R2 open", None, ""),
        ("none of these", None, ""),
    ],
)
def test_amounts_have_the_unit_that_a_meter_shows(
    key: str, amount: tuple[float, float, float] | None, words: str
) -> None:
    """A drift in ohms, a loss in per cent, a leak in ohms."""
    fault = next((f for f in dictionary().faults if f.key == key), None)
    ranked = Ranked(fault=fault, probability=0.5, amount=amount)
    assert ranked.key == key
    assert amount_text(ranked, dictionary().circuit) == words


def test_every_fault_with_an_amount_says_it() -> None:
    for ranked in case(()).diagnosis.ranked:
        sized = ranked.fault is not None and ranked.fault.amount is not None
        assert bool(amount_text(ranked, dictionary().circuit)) is sized


def test_next_reading_says_where_and_what_each_answer_means() -> None:
    suggestion = case(()).diagnosis.suggestion
    assert suggestion is not None
    first, *answers = suggestion_lines(suggestion, dictionary().circuit)
    assert first.startswith(suggestion.reading.function.row.words)
    assert probes_text(suggestion.reading, dictionary().circuit) in first
    assert str(suggestion.access) in first
    assert "of the remaining doubt" in first
    told = [key for answer in answers for key in answer.split(": ")[1].split(", ")]
    keys = [outcome.key for outcome in suggestion.outcomes]
    names = ("a good board" if key == "healthy" else fault_words(key) for key in keys)
    assert sorted(told) == sorted(names)


@pytest.mark.parametrize(
    ("sides", "due"),
    [
        ((), GENERAL + DEAD),
        ((AccessLevel.DEAD,), GENERAL + DEAD),
        ((AccessLevel.BENCH,), GENERAL + DEAD + BENCH),
        ((AccessLevel.ISOLATED,), GENERAL + DEAD + ISOLATED),
        ((AccessLevel.MAINS,), GENERAL + DEAD + LIVE),
        ((AccessLevel.MAINS, AccessLevel.DEAD), GENERAL + DEAD + LIVE),
        (tuple(AccessLevel), GENERAL + DEAD + BENCH + ISOLATED + LIVE + LIFTED),
        ((AccessLevel.LIFTED,), GENERAL + DEAD + LIFTED),
    ],
)
def test_cautions_are_those_of_the_sides(
    sides: tuple[AccessLevel, ...], due: tuple[Caution, ...]
) -> None:
    assert cautions_for(sides) == due


def test_readings_at_nodes_are_told_to_the_diagram() -> None:
    result = case(("dc pin logic0 4.98 V", "dc K1.coil 23.7 V", "ohm R2 OL"))
    assert node_texts(result.job.measured, result.circuit) == {"pin": "DC 4.98 V"}
    assert part_texts(result.job.measured, result.circuit) == {
        "K1.coil": "DC 23.7 V",
        "R2": "ohm OL",
    }


NO_PART = ("healthy", "board", "controller", "drive", "fan")


def test_both_of_two_faults_are_marked() -> None:
    pair = next(f for f in dictionary().faults if f.key == "D1 short + OC1 LED open")
    marks = failed_marks(Ranked(fault=pair, probability=1.0), dictionary().circuit)
    assert marks == {"D1": "short", "OC1.led": "open"}


def test_every_fault_is_marked_on_the_diagram() -> None:
    """Each fault but those of no part is at a part or node of the element list."""
    circuit = build_circuit(VARIANTS["contact closed"])
    for fault in faults_of(circuit):
        marks = failed_marks(Ranked(fault=fault, probability=1.0), circuit)
        assert (marks == {}) == (fault.kind in NO_PART), fault.key
        assert all(ref in circuit or ref in circuit.nodes for ref in marks)
    assert failed_marks(Ranked(fault=None, probability=1.0), circuit) == {}


def test_the_table_gives_the_figure_of_the_answer_too() -> None:
    circuit = dictionary().circuit
    texts = ("ohm R2 OL", "ohm R2 OL", "dc pin logic0 4.98")
    result = diagnose(dictionary(), [parse_reading(text, circuit) for text in texts])
    table = ranked_table(result, circuit)
    told = " ".join((str(table.rows[0][0]), table.remark))
    assert probability_text(present(result.ranked)) in told
