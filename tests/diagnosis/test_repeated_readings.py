"""When nothing left would change the mind, and when a reading is worth taking again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.sparse import csr_array
from scipy.stats import norm

from tests.diagnosis.atlases import atlas_of
from tests.diagnosis.truth import joint_log
from zcd.board.files import parse_board
from zcd.diagnosis.fault_dictionary import FaultDictionary, make_fault_dictionary
from zcd.diagnosis.functions import Function
from zcd.diagnosis.information import (
    Expected,
    Posterior,
    expected,
    expected_again,
    spectrum,
    together,
)
from zcd.diagnosis.likelihood import (
    OUTLIER_SHARE,
    PULSE_OUTLIER_SHARE,
    TWICE_SHARE,
    Fit,
    merge_repeats,
)
from zcd.diagnosis.meters import OVERLOAD, usual_meter
from zcd.diagnosis.rank import Diagnosis, diagnose
from zcd.diagnosis.reading_syntax import parse_place, parse_reading
from zcd.diagnosis.readings import Measured, Reading
from zcd.report.of_answers import suggestion_lines
from zcd.report.of_diagnosis import hidden_line, measured_table, suspects_line, unseen_parts

PIN = Reading(function=Function.DC, red="pin", black="logic0")
FREQUENCY = Reading(function=Function.FREQUENCY, red="pin", black="logic0")
"""Its error is the same at every frequency."""
GOOD = ("dc pin logic0 2.65 V", "frequency 50 Hz", "low time 9.5 ms")


def dictionary() -> FaultDictionary:
    return atlas_of("switched")


def found(*lines: str) -> Diagnosis:
    return diagnose(dictionary(), [parse_reading(line, dictionary().circuit) for line in lines])


def worth(shares: tuple[float, ...], apart_errors: tuple[float, ...], none: float) -> Expected:
    """Of a reading that shows each fault so many errors from the first."""
    fit = Fit(FREQUENCY, np.full((len(shares), 2), 50.0), usual_meter())
    shown = 50.0 + np.array(apart_errors)[:, None] * fit.noise
    fit = Fit(FREQUENCY, shown, usual_meter())
    return expected(spectrum(fit), believed(shares, none))


def believed(shares: tuple[float, ...], none: float) -> Posterior:
    weights = (1.0 - none) * np.repeat(np.array(shares)[:, None], 2, axis=1) / 2.0
    size = len(shares)
    return Posterior(
        weights=weights, member=np.arange(size), unmodelled=none, holds=csr_array(np.eye(size))
    )


@pytest.mark.parametrize("apart", [0.5, 2.0, 4.0])
def test_rise_is_that_of_two_normal_distributions(apart: float) -> None:
    """The best guess between two equal normals is right with Phi(d / 2) (scipy's); bins as wide as
    the error lose a little of it, and slips leave it at one half."""
    rise = worth((0.5, 0.5), (0.0, apart), 0.0).rise
    assert_allclose(rise, (1.0 - OUTLIER_SHARE) * (norm.cdf(apart / 2.0) - 0.5), rtol=0.12)


def test_reading_that_moves_no_first_place_has_no_rise() -> None:
    """Eight to two, and one error apart: at no value are there four to one against the first, but
    far out, where hardly anything is read."""
    small = worth((0.9, 0.1), (0.0, 0.5), 0.0)
    assert small.bits > 0.0
    assert small.rise < 1e-3
    assert small.settles < 0.2


def test_reading_that_tells_all_settles_all() -> None:
    whole = worth((0.6, 0.3, 0.1), (0.0, 20.0, 40.0), 0.0)
    assert_allclose(whole.rise, 0.4, atol=0.02)
    assert 0.0 <= 1.0 - whole.settles < PULSE_OUTLIER_SHARE  # slips settle nothing


def test_faults_that_count_as_one_are_told_from_the_rest_together() -> None:
    posterior = believed((0.45, 0.45, 0.1), 0.0)
    shown = np.repeat(50.0 + np.array([[0.0], [0.0], [20.0]]), 2, axis=1)
    spread = spectrum(Fit(FREQUENCY, shown, usual_meter()))
    joined = Posterior(
        weights=posterior.weights, member=posterior.member, unmodelled=0.0,
        holds=together(posterior.holds, [0, 1]),
    )  # fmt: skip
    assert expected(spread, posterior).settles < 0.15
    assert expected(spread, joined).settles > 0.95


@pytest.mark.parametrize("slip", [0.0, 1.0])
def test_taking_again_what_was_surely_sound_tells_nothing(slip: float) -> None:
    posterior = believed((0.5, 0.5), 0.0)
    shown = np.repeat(50.0 + np.array([[0.0], [20.0]]), 2, axis=1)
    spread = spectrum(Fit(FREQUENCY, shown, usual_meter()))
    again = expected_again(spread, 90.0, np.full((2, 2), slip), posterior)
    assert_allclose(again.rise, 0.5 * slip, atol=0.02)
    assert_allclose(again.bits, slip, atol=0.1)


def test_reading_that_contradicts_the_others_is_asked_again() -> None:
    diagnosis = found(*GOOD, "ohm R1 OL")
    suggestion = diagnosis.suggestion
    assert suggestion is not None
    assert suggestion.reading == parse_place("ohm R1", dictionary().circuit)
    assert suggestion.again is not None
    assert "take one reading again" in diagnosis.conclusion
    assert (
        "OL contradicts the other readings" in suggestion_lines(suggestion, dictionary().circuit)[0]
    )


def test_what_shows_the_same_again_is_believed() -> None:
    """Open on a dead board and sound under power: a joint, not a probe that slipped twice."""
    once, twice = found(*GOOD, "ohm R1 OL"), found(*GOOD, "ohm R1 OL", "ohm R1 OL")
    assert twice.ranked[0].key == "R1 intermittent"
    before = next(r for r in once.ranked if r.key == "R1 intermittent")
    assert twice.ranked[0].probability > 4.0 * before.probability
    assert [row[-1] for row in measured_table(twice.measured, dictionary().circuit).rows][-1] == (
        "OL, twice"
    )
    following = twice.suggestion
    assert following is None or following.again is None


def test_what_shows_something_else_is_not_asked_a_third_time() -> None:
    diagnosis = found(*GOOD, "ohm R1 OL", "ohm R1 110k")
    assert diagnosis.ranked[0].key == "healthy"
    assert diagnosis.suggestion is None or diagnosis.suggestion.again is None
    assert len(diagnosis.measured) == len(GOOD) + 2


def test_nothing_is_settled_while_one_easy_reading_stands_against_all_others() -> None:
    diagnosis = found("dc pin logic0 4.98", "ohm R2 OL", "dc logic+ logic0 0.02")
    assert diagnosis.ranked[0].key == "R2 open"
    assert diagnosis.stopped == ""
    assert diagnosis.suggestion is not None
    assert diagnosis.suggestion.again is not None
    assert diagnosis.suggestion.reading == parse_place("dc logic+ logic0", dictionary().circuit)


def test_same_again_or_something_else() -> None:
    def read(value: float, low: float | None = None, high: float | None = None) -> Measured:
        return Measured(reading=PIN, value=value, low=low, high=high)

    meter = usual_meter()
    (same,) = merge_repeats([read(4.98), read(4.96)], meter)
    assert same.repeated
    assert same.value == 4.96
    assert len(merge_repeats([read(4.98), read(2.5)], meter)) == 2
    assert len(merge_repeats([read(4.98), read(4.5, 4.0, 5.0)], meter)) == 1
    jumping = Measured(reading=PIN, value=0.0, unstable=True)
    assert len(merge_repeats([read(0.0), jumping], meter)) == 2
    ohm = Reading(function=Function.OHM, red="feed", black="chain.1")
    over = Measured(reading=ohm, value=OVERLOAD)
    assert len(merge_repeats([over, over, Measured(reading=ohm, value=100e3)], meter)) == 2


def test_a_slip_made_twice_is_so_much_rarer() -> None:
    """Odds of what it contradicts (by the law of Bayes): the share of slips."""
    fit = Fit(PIN, np.array([[5.0, 5.0], [0.0, 0.0]]), usual_meter())
    for again, share in ((False, OUTLIER_SHARE), (True, OUTLIER_SHARE * TWICE_SHARE)):
        log_density, log_flat = joint_log([(fit, Measured(reading=PIN, value=5.0, repeated=again))])
        assert_allclose(log_density[1] - log_flat, np.log(share), rtol=1e-6)


def test_doubt_that_stays_asks_for_the_part_alone() -> None:
    lines = (*GOOD, "dc logic+ logic0 5", "ohm R2 130k", "ohm K1.coil OL", "ohm K1.coil OL")
    line = suspects_line(found(*lines), dictionary().circuit)
    assert not line or "alone" in line


def test_a_contradiction_is_shown_beside_what_it_contradicts() -> None:
    """An open resistor in the chain and pulses at the pin: no board shows both."""
    lines = (
        "ohm R1 OL",
        "ohm R2 130k",
        "frequency 50",
        "dc logic+ logic0 5",
        "ac feed neutral 230",
    )
    result = found(*lines)
    assert [m.reading.words for m in result.suspects] == ["ohms, feed to chain.1"]
    assert [m.reading.function for m in result.against] == [Function.FREQUENCY]
    line = suspects_line(result, dictionary().circuit)
    assert "R1" in line
    assert "contradicts frequency" in line
    assert ("Take it again." in line) is (
        result.suggestion is not None and result.suggestion.again in result.suspects
    )


@pytest.mark.parametrize(
    ("lines", "unseen"),
    [
        (
            ("ohm R2 OL", "ohm R2 OL", "ohm R1 110k"),
            ("D1", "OC1.led", "OC1 transistor", "pull-up"),
        ),
        # a pin at the supply has a pull-up
        (("dc pin logic0 4.98", "ohm R2 OL"), ("R1", "D1", "OC1.led", "OC1 transistor")),
        (("dc pin logic0 4.98", "ohm R2 OL", "ohm R1 110k"), ("D1", "OC1.led", "OC1 transistor")),
        # pulses are there: they tell of all parts
        (GOOD, ()),
    ],
)
def test_what_a_fault_hides_is_said(lines: tuple[str, ...], unseen: tuple[str, ...]) -> None:
    diagnosis = found(*lines)
    assert unseen_parts(diagnosis, dictionary().circuit) == unseen
    line = hidden_line(diagnosis, dictionary().circuit)
    assert bool(line) is bool(unseen)
    fault = diagnosis.indistinguishable[0].fault
    renewed = fault.neighbours if fault else ()
    for ref in unseen:  # what is renewed with the part that is named need not be tested
        assert (ref.replace(".led", " LED") in line) is (ref not in renewed)


def test_readings_that_cannot_both_be_right_stand_beside_each_other() -> None:
    """Resistors in series: the row cannot be whole where one of them is open (Ohm's law)."""
    circuit = dictionary().circuit
    open_part = suspects_line(found("ohm R1 OL", "ohm R1 to R2 241k"), circuit)
    assert open_part.startswith("R1 reads OL, but R1 to R2 reads 241 kΩ: one of the two is wrong. ")
    assert suspects_line(found("ohm R1 OL", "ohm R1 to R2 OL"), circuit) == ""
    for first, then in ("101k", "55k"), ("OL", "110k"):
        result = found(f"ohm R1 {first}", f"ohm R1 {then}")
        line = suspects_line(result, circuit)
        shown = [text if text == "OL" else f"{text[:-1]} kΩ" for text in (first, then)]
        assert f"R1 read {shown[0]}, then {shown[1]}" in line
        lifted = result.suggestion is not None and bool(result.suggestion.reading.lifted)
        assert ("Lift one end of R1" in line) is lifted
        assert "Take it again" not in line


NEAR_ITS_LIMIT = """
name = "Invented seed tray warmer"
optocoupler = "814A"
mains = "120 V 60 Hz"
[chain]
topology = "two-led"
resistors = ["20k", "24k", "16k", "22k"]
[output]
pull_up = "24k"
supply = "5 V"
pin_capacitor = "2.7 nF"
"""


def test_level_is_read_again_before_a_board_that_jumped_is_called_good() -> None:
    """A joint that opens now and then reads good half of the time (common practice, no source)."""
    meter = replace(usual_meter(), has_scope=False)
    dictionary = make_fault_dictionary(parse_board(NEAR_ITS_LIMIT), meter)
    lines = ["ohm R1 to R4 81.9k", "ohm pin logic0 2.2M", "diode OC1.led 1.09",
             "ohm pull-up 24.4k", "dc pin logic0 0.6", "dc logic+ logic0 5.0",
             "frequency unstable", "duty 86 %"]  # fmt: skip
    taken = [parse_reading(line, dictionary.circuit) for line in lines]
    elsewhere = [r for r in dictionary.readings if not r.over_pin]
    result = diagnose(dictionary, taken, skipped=elsewhere)
    assert result.ranked[0].key == "healthy"
    assert result.suggestion is not None
    assert result.suggestion.again == taken[4]
    same = diagnose(dictionary, [*taken, taken[4]], skipped=elsewhere)
    assert same.suggestion is None
    jumps = parse_reading("dc pin logic0 unstable", dictionary.circuit)
    found = diagnose(dictionary, [*taken, jumps], skipped=elsewhere)
    assert found.ranked[0].key.endswith("intermittent")
