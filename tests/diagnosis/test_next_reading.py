"""What a suggested reading says of its answers, its range, and what is out of reach."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import zcd
from tests.diagnosis.atlases import atlas_of, atlas_read_with
from tests.diagnosis.boards import R1_OHM, R2_OHM, board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.fault_dictionary import FaultDictionary
from zcd.diagnosis.information import Posterior
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.next_reading import (
    Answer,
    Suggestion,
    at_once,
    best_reading,
    within_reach,
)
from zcd.diagnosis.rank import diagnose, posterior_weights
from zcd.diagnosis.reading_syntax import parse_place, parse_reading
from zcd.diagnosis.readings import AccessLevel, Power, Reading, access_level
from zcd.report.of_answers import meanings_of

PRESS = """\
name = "Invented trouser press"
mains = "230 V 50 Hz"
rectifier = "MB6S"
optocoupler = "TLP785GB"
chain = {topology = "bridge", resistors = ["56k", "56k"], return_resistors = [], style = "1 W"}
output = {pull_up = "10k", supply = "5 V"}
feed = {kind = "switched", coil_supply = "12 V", coil_resistance = "360"}
"""


def dictionary() -> FaultDictionary:
    return atlas_of("switched")


def place(text: str) -> Reading:
    return parse_place(text, dictionary().circuit)


def suggested(*texts: str) -> Suggestion:
    result = diagnose(dictionary(), [parse_reading(text, dictionary().circuit) for text in texts])
    assert result.suggestion is not None
    return result.suggestion


def answer_of(suggestion: Suggestion, key: str) -> Answer:
    (answer,) = (a for a in suggestion.answers if key in a.keys)
    return answer


def test_every_outcome_is_in_one_answer_and_a_good_board_among_them() -> None:
    result = suggested()
    keys = [key for answer in result.answers for key in answer.keys]
    assert sorted(keys) == sorted(outcome.key for outcome in result.outcomes)
    assert "healthy" in keys


def test_what_a_meter_cannot_part_is_one_answer() -> None:
    """A pin shorted to ground through 10 ohm is a millivolt from a missing supply."""
    keys = ("pin stuck low", "supply missing", "healthy")
    among = np.array([dictionary().faults[f].key in keys for f in dictionary().member])
    weights = np.where(among[:, None], 1.0, np.zeros(dictionary().severity.shape))
    believed = Posterior(
        weights=weights / weights.sum(),
        member=dictionary().member,
        unmodelled=0.0,
        holds=dictionary().holds,
    )
    result = best_reading(dictionary(), believed, [place("dc pin logic0")])
    assert result is not None
    low = answer_of(result, "pin stuck low")
    assert low is answer_of(result, "supply missing")
    assert low.low == 0.0
    assert answer_of(result, "healthy").low > 2.0


@pytest.mark.parametrize(
    ("skipped", "text", "left"),
    [
        # the same two points, probes turned, or another function of the meter
        ("diode D1", "diode D1 reversed", False),
        ("ac feed neutral", "low z feed neutral", False),
        # another state of the board, another instrument, other points
        ("dc pin logic0", "dc pin logic0 bench supply", True),
        ("dc pin logic0", "low time", True),
        ("diode D1", "diode D1 lifted", True),
        ("ohm R1", "ohm R2", True),
    ],
)
def test_what_is_out_of_reach(skipped: str, text: str, left: bool) -> None:
    circuit = build_circuit(board("switched"))
    result = within_reach([place(text)], [place(skipped)], circuit)
    assert result == ([place(text)] if left else [])


@pytest.mark.parametrize(
    ("counts", "highest"),
    [
        # 0.6, 6, 60, 600 V; a 5 V pin
        (6000, 6.0),
        # 0.2, 2, 20, 200 V
        (2000, 20.0),
    ],
)
def test_range_is_one_that_the_meter_has(counts: float, highest: float) -> None:
    made = atlas_read_with(replace(usual_meter(), counts=counts), "switched")
    weights, none = posterior_weights(made, [])
    believed = Posterior(weights=weights, member=made.member, unmodelled=none, holds=made.holds)
    result = best_reading(made, believed, [place("dc pin logic0")])
    assert result is not None
    assert result.full_scale == pytest.approx(highest)
    assert result.full_scale >= max(v for o in result.outcomes for v in o.value)


def test_ohms_are_read_on_the_lowest_range_that_holds_board_and_fault() -> None:
    """R2 of 130 k: not the megohms of an open part, which shows OL on any range."""
    made = atlas_read_with(usual_meter(), "switched")
    weights, none = posterior_weights(made, [])
    believed = Posterior(weights=weights, member=made.member, unmodelled=none, holds=made.holds)
    result = best_reading(made, believed, [place("ohm R2")])
    assert result is not None
    assert result.full_scale in (600e3, 6e6)
    good = next(o for o in result.outcomes if o.key == "healthy")
    assert result.full_scale >= good.value[2]


def test_ranges_of_usual_meters() -> None:
    """Common practice, no source: 600 ohm upwards with 6000 counts, 200 ohm with 2000."""
    meter = usual_meter()
    assert meter.ohm_ranges_ohm == pytest.approx((600.0, 6e3, 60e3, 600e3, 6e6, 20e6))
    small = replace(meter, counts=2000, ohm_range_ohm=2e6)
    assert small.ohm_ranges_ohm == pytest.approx((200.0, 2e3, 20e3, 200e3, 2e6))


@pytest.mark.parametrize("name", ["half-wave", "switched"])
def test_ohms_go_before_live_mains_that_tell_little_more(name: str) -> None:
    """A board on the bench, powered: chain and contact are told unplugged; rule of the trade
    (HSE GS38: dead tests before live ones)."""
    made = atlas_of(name)
    taken = [parse_reading("dc pin logic0 4.99 V", made.circuit)]
    result = diagnose(made, taken, flags=("sync", "fan")).suggestion
    assert result is not None
    assert access_level(made.circuit, result.reading) is not AccessLevel.MAINS
    assert name != "half-wave" or "ohms" in result.reading.words


def test_no_live_part_is_read_where_a_dead_test_tells_as_much() -> None:
    """Pin high, coil fed: the optocoupler or the contact. A diode test over the LED goes before
    volts at its pins, though the board is plugged in (HSE guidance note GS38: live work only where
    it cannot be avoided)."""
    case = zcd.diagnose(
        zcd.loads(PRESS), "ohm R1 to R2 112k", "dc pin 4.97 V", "dc coil+ coil- 11.8 V",
        flags=("sync", "fan"),
    )  # fmt: skip
    assert case.next_reading is not None
    assert case.next_reading.reading.power is Power.DEAD


@pytest.mark.parametrize("name", ["half-wave", "half-wave-clamped"])
def test_the_plug_stays_in_for_a_test_that_tells_little(name: str) -> None:
    """Nothing bad so far, and the pulses are there: what volts over the chain tell, under power as
    it is, is more than the one dead test that is left (common practice, no source)."""
    made = atlas_of(name)
    texts = ("ohm R1 to R2 240k", "ohm pull-up 47k", "dc pin 2.66", "frequency 50")
    if name == "half-wave":
        texts = (*texts[:2], "diode led+ led- 1.05", *texts[2:])
    result = diagnose(made, [parse_reading(text, made.circuit) for text in texts]).suggestion
    assert result is not None
    assert result.reading.power is Power.LIVE


def test_mains_is_read_before_a_fan_that_is_too_slow_is_blamed() -> None:
    """With the fan flag alone: on half its mains a fan hardly turns (common practice, no
    source)."""
    made = atlas_of("half-wave")
    good = ("ohm R1 to R2 240k", "ohm pull-up 47k", "ohm D1 reversed OL")
    taken = [parse_reading(text, made.circuit) for text in good]
    result = diagnose(made, taken, flags=("fan",)).suggestion
    assert result is not None
    assert access_level(made.circuit, result.reading) is AccessLevel.MAINS


def test_beside_a_part_that_is_bad_the_rest_is_looked_for() -> None:
    """R2 reads high alone, and a pin at nothing is no work of R2 (by inspection)."""
    taken = ("dc pin logic0 0.02 V", "ohm R2 200k", "ohm R2 lifted 200k")
    made = dictionary()
    found = diagnose(made, [parse_reading(t, made.circuit) for t in taken], flags=("sync",))
    assert found.indistinguishable[0].key == "R2 drift"
    assert found.suggestion is not None
    assert {found.suggestion.reading.red, found.suggestion.reading.black} == {"pin", "logic0"}
    assert found.suggestion.reading.power is Power.DEAD


@pytest.mark.parametrize("whole_ohm", [400e3, 1e6, 3e6])
def test_a_part_is_expected_to_read_what_the_others_leave_of_the_chain(whole_ohm: float) -> None:
    """In series (Kirchhoff's laws): of what the whole reads, less the good ones."""
    result = suggested(f"ohm R1 to R2 {whole_ohm:g}")
    ref = "R1" if result.reading == place("ohm R1") else "R2"
    left = whole_ohm - (R2_OHM if ref == "R1" else R1_OHM)
    answer = answer_of(result, f"{ref} drift")
    assert 0.85 * left < answer.low <= answer.high < 1.15 * left


def test_two_faults_have_no_answer_beside_a_likelier_one_of_them() -> None:
    keys = {key for a in suggested("ohm R1 to R2 600k").answers for key in a.keys}
    assert {"R1 drift", "R2 drift"} <= keys
    assert not any(" + " in key for key in keys)


def test_an_open_diode_is_told_from_a_meter_that_ends_early() -> None:
    """D1 and the LED in series drop some 1.6 V: most meters show that, an open one at none."""
    made = atlas_of("switched")
    taken = [
        parse_reading(text, made.circuit)
        for text in ("ohm R1 to R2 241k", "diode led+ led- 1.04 V", "dc pin 4.98", "frequency 0")
    ]
    through = parse_place("diode chain.2 neutral", made.circuit)
    weights, none = posterior_weights(made, taken)
    believed = Posterior(weights=weights, member=made.member, unmodelled=none, holds=made.holds)
    answers = at_once(made, believed, through).answers
    (dark,) = (answer for answer in answers if answer.dark)
    assert "D1 open" in dark.keys
    assert all("D1 open" not in answer.keys for answer in answers if not answer.dark)
    suggestion = at_once(made, believed, through)
    told = [meaning.text() for meaning in meanings_of(suggestion)]
    assert any("(OL too if your meter ends lower): D1 open" in text for text in told)
    # silicon and infrared LED at a milliampere: 0.7 V and 1.2 V at most (data sheets' curves)
    assert all(a.low < 2.0 for a in answers if a.dark)


def test_what_is_taken_again_of_two_leds_is_the_one_that_showed_open() -> None:
    made = atlas_of("two-led")
    taken = [parse_reading(t, made.circuit) for t in ("diode led+ led- 1.05", "diode led- led+ OL")]
    result = diagnose(made, taken, flags=("sync",))
    assert result.ranked[0].key == "OC1 second LED open"
    assert result.suggestion is not None
    assert result.suggestion.again == taken[1]
    # probes at the crack's one end light neither LED, at its other end both
    assert sum(r.probability for r in result.ranked if r.key == "R2/OC1 joint open") < 0.05
