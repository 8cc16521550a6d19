"""The ranking finds faults that were put in, on boards drawn apart from its own samples."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from tests.diagnosis.atlases import atlas_of, suppressed_atlas
from tests.diagnosis.boards import SUPPRESSED_TEXT
from tests.diagnosis.truth import alike, draw, finds
from zcd.board.files import parse_board
from zcd.diagnosis.expected_readings import list_expected_readings
from zcd.diagnosis.fault_dictionary import FaultDictionary, make_fault_dictionary
from zcd.diagnosis.faults import with_fault
from zcd.diagnosis.functions import Function
from zcd.diagnosis.information import SURE, Posterior, expected, spectrum
from zcd.diagnosis.likelihood import Fit
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import OVERLOAD, usual_meter
from zcd.diagnosis.next_reading import MIN_RISE, MOST_READINGS
from zcd.diagnosis.rank import (
    UNMODELLED,
    Diagnosis,
    Ranked,
    diagnose,
    in_any_case,
    posterior_weights,
    present,
    together_names,
)
from zcd.diagnosis.reading_syntax import parse_reading
from zcd.diagnosis.readings import AccessLevel, Measured, Power, Reading

FloatArray = NDArray[np.float64]

LEAST_HIT_SHARE = 0.9


def measured(*texts: str, name: str = "switched") -> list[Measured]:
    """Readings as entered, such as ``dc pin logic0 4.98``."""
    result = []
    for text in texts:
        function, a, b, value = text.split()
        number = OVERLOAD if value == "OL" else float(value)
        a, b = (atlas_of(name).circuit.node(node) for node in (a, b))
        result.append(
            Measured(reading=Reading(function=Function(function), red=a, black=b), value=number)
        )
    return result


def belief(dictionary: FaultDictionary, weights: FloatArray, none: float) -> Posterior:
    return Posterior(
        weights=weights, member=dictionary.member, unmodelled=none, holds=dictionary.holds
    )


def keys(diagnosis: Diagnosis) -> list[str]:
    return [ranked.key for ranked in diagnosis.ranked]


@pytest.mark.parametrize("coil_v", [22.5, 23.7, 24.5])
def test_driven_coil_and_dead_contact(coil_v: float) -> None:
    """Coil at its voltage, switched terminal dead: the contact (common practice, no source)."""
    result = diagnose(atlas_of(), measured(f"dc coil+ coil- {coil_v}", "ac feed neutral 0.3"))
    assert result.ranked[0].key == "K1 contact open"
    assert "the sync chain is not at fault" in result.ranked[0].words
    chain = [r.probability for r in result.ranked if r.fault and r.fault.part in ("R1", "R2", "D1")]
    assert sum(chain) < 0.01


@pytest.mark.parametrize("coil_v", [26.0, 27.0, 30.0])
def test_driven_coil_on_an_unregulated_supply(coil_v: float) -> None:
    """A relay's supply is seldom regulated and its value is assumed, not read off a part."""
    readings = measured(f"dc coil+ coil- {coil_v}", "ac feed neutral 0.3", "ohm coil+ coil- 1600")
    result = diagnose(atlas_of(), readings)
    assert result.ranked[0].key == "K1 contact open"
    assert present(result.ranked) > 0.75


@pytest.mark.slow
@pytest.mark.parametrize(
    "name", ["switched", "half-wave-clamped", "clamped", "bridge", "two-led", "emitter follower"]
)
def test_fault_put_in_is_first(name: str) -> None:
    """All dead and isolated readings entered; the true fault, or one that shows the same."""
    dictionary = atlas_of(name)
    cases = draw(dictionary, np.random.default_rng(7), 4)
    misses = []
    for case in cases:
        result, diagnosis = finds(dictionary, case)
        if not result:
            misses.append((dictionary.faults[case.fault].key, diagnosis.ranked[0].key))
    share = 1.0 - len(misses) / len(cases)
    print(f"{name}: {share:.1%} of {len(cases)}; missed {misses}")
    assert share >= LEAST_HIT_SHARE, misses


def test_plain_ohms_reading_of_a_drifted_resistor_is_believed() -> None:
    """1.8 Mohm over a 110 k resistor and no pulses: that resistor, whatever else."""
    readings = measured(
        "ohm feed chain.1 1.82e6", "ohm chain.1 chain.2 130e3", "ohm logic+ pin 44.6e3",
        "ohm pin logic0 OL", "dc logic+ logic0 5.24", "dc pin logic0 4.2",
        "frequency pin logic0 0", "duty pin logic0 0",
    )  # fmt: skip
    readings.append(
        Measured(reading=Reading(function=Function.LOW_TIME, red="pin", black="logic0"), value=0.0)
    )
    result = diagnose(atlas_of(), readings)
    assert result.ranked[0].key == "R1 drift", [(r.key, r.probability) for r in result.ranked[:3]]


@pytest.mark.parametrize("key", ["R1", "R2"])
def test_drift_is_sized(key: str) -> None:
    """Four times its value lies between the 10 % and the 90 % point of the answer."""
    nodes, ohm = {"R1": ("feed chain.1", 440e3), "R2": ("chain.1 chain.2", 520e3)}[key]
    result = diagnose(atlas_of(), measured(f"ohm {nodes} {ohm}"))
    first = result.ranked[0]
    assert first.key == f"{key} drift"
    assert first.amount is not None
    assert 0.8 * first.amount[0] < 4.0 < 1.2 * first.amount[2]


@pytest.mark.parametrize(
    "texts",
    [
        ("dc pin logic0 1.0", "dc logic+ logic0 12.02", "ohm chain.1 chain.2 5"),
        ("ohm feed chain.1 OL", "ohm chain.1 chain.2 OL", "ohm logic+ pin 0.1"),
        ("dc logic+ logic0 0", "ohm feed chain.1 OL", "diode led+ led- OL"),
    ],
)
def test_conflicting_readings_are_none_of_these(texts: tuple[str, ...]) -> None:
    result = diagnose(atlas_of(), measured(*texts))
    assert result.ranked[0].key == UNMODELLED, keys(result)[:3]


def test_probabilities_sum_to_one() -> None:
    for texts in ((), ("dc pin logic0 4.98",), ("ohm chain.1 chain.2 OL", "dc pin logic0 4.98")):
        result = diagnose(atlas_of(), measured(*texts))
        assert_allclose(sum(r.probability for r in result.ranked), 1.0)
        weights, none = posterior_weights(atlas_of(), measured(*texts))
        assert_allclose(weights.sum() + none, 1.0)
        assert np.all(weights >= 0.0)
        assert len(result.ranked) == len(atlas_of().faults) + 1


def test_order_of_entering_does_not_matter() -> None:
    texts = ["dc pin logic0 4.98", "ohm chain.1 chain.2 131e3", "diode led+ led- 1.05",
             "dc logic+ logic0 5.01", "ac feed neutral 0.2"]  # fmt: skip
    rng = np.random.default_rng(1)
    first = diagnose(atlas_of(), measured(*texts))
    for _ in range(4):
        # the last one says in which state the board is left, and so what costs least to read next
        again = diagnose(atlas_of(), measured(*rng.permutation(texts[:-1]), texts[-1]))
        assert keys(again)[:10] == keys(first)[:10]
        assert_allclose(
            [r.probability for r in again.ranked], [r.probability for r in first.ranked], atol=1e-12
        )
        assert again.conclusion == first.conclusion


def test_gain_is_never_negative() -> None:
    dictionary = atlas_of()
    for texts in ((), ("dc pin logic0 4.98",), ("dc pin logic0 2.6", "frequency pin logic0 50")):
        weights, none = posterior_weights(dictionary, measured(*texts))
        shares = np.array([w.sum() for w in dictionary.by_fault(weights)]) / (1.0 - none)
        before = -(1.0 - none) * np.sum(shares * np.log2(shares + 1e-300))
        for reading in dictionary.readings:
            worth = expected(dictionary.spectrum(reading), belief(dictionary, weights, none))
            assert 0.0 <= worth.bits <= before
            assert 0.0 <= worth.rise <= 1.0
            assert 0.0 <= worth.settles <= 1.0 + 1e-9


def test_gain_of_a_reading_that_is_always_the_same_is_zero() -> None:
    dictionary = atlas_of()
    weights, none = posterior_weights(dictionary, [])
    same = np.full((dictionary.simulated, dictionary.severity.shape[1]), 5.0)
    supply = Reading(function=Function.DC, red="logic+", black="logic0")
    result = spectrum(Fit(supply, same, dictionary.meter, dictionary.states))
    worth = expected(result, belief(dictionary, weights, none))
    assert_allclose([worth.bits, worth.settles], 0.0, atol=1e-9)
    # far from what all of them show none of these comes first
    assert worth.rise < MIN_RISE


def test_reading_taken_is_not_suggested_again() -> None:
    dictionary = atlas_of()
    taken: list[Measured] = []
    healthy = dictionary.faults[0]
    for _ in range(len(dictionary.readings) + 1):
        result = diagnose(dictionary, taken)
        if result.suggestion is None:
            break
        reading = result.suggestion.reading
        assert reading not in [m.reading for m in taken]
        shown = np.sort(dictionary.by_fault(dictionary.predictions(reading))[0])
        middle = shown[shown.size // 2]
        taken.append(Measured(reading=reading, value=float(middle)))
    assert result.suggestion is None
    assert result.ranked[0].fault is healthy


@pytest.mark.slow
@pytest.mark.parametrize("name", ["switched", "bridge"])
def test_suggestions_find_the_fault_in_fewer_readings_than_the_card(name: str) -> None:
    """From nothing, until settled or nothing is left to tell; against the card from its top."""
    dictionary = atlas_of(name)
    order = [line.reading for line in list_expected_readings(dictionary)]
    counts: dict[str, list[int]] = {"suggested": [], "card": []}
    right = []
    for case in draw(dictionary, np.random.default_rng(11), 1, live=True):
        shown = dict(zip(case.readings, case.shown, strict=True))
        for way, number in counts.items():
            taken: list[Measured] = []
            result = diagnose(dictionary, taken)
            down = iter(order)
            while result.suggestion is not None:
                asked = result.suggestion.reading
                following = asked if way == "suggested" else next(down, None)
                if following is None:
                    break
                taken.append(Measured(reading=following, value=float(shown[following])))
                result = diagnose(dictionary, taken)
            number.append(len(taken))
            if way == "suggested":
                first = result.ranked[0].fault
                same = first is not None and dictionary.faults.index(first) == case.fault
                blamed = first is not None and alike(
                    dictionary, case, dictionary.faults.index(first)
                )
                right.append(same or blamed)
    means = {way: float(np.mean(each)) for way, each in counts.items()}
    print(f"{name}: mean readings {means}, right {np.mean(right):.1%} of {len(right)}")
    assert means["suggested"] < 0.65 * means["card"]
    assert np.mean(right) >= LEAST_HIT_SHARE


def test_sure_answer_asks_for_nothing_more() -> None:
    result = diagnose(atlas_of(), measured("dc pin logic0 4.98", "ohm chain.1 chain.2 OL"))
    assert result.ranked[0].key == "R2 open"
    assert present(result.ranked) >= SURE
    assert result.suggestion is None
    assert result.stopped == "sure"
    assert "R2 is open" in result.conclusion


def test_mains_on_the_isolated_side_stops_the_work() -> None:
    """230 V at a 5 V pin is no fault to go on measuring at."""
    result = diagnose(atlas_of(), measured("dc pin logic0 230"))
    assert result.conclusion.startswith("STOP, unplug")
    assert result.suggestion is None


@pytest.mark.parametrize("line", ["dc pin logic0 <0.1 V", "dc logic+ logic0 < 4 V"])
def test_an_upper_bound_is_no_danger(line: str) -> None:
    result = diagnose(atlas_of(), [parse_reading(line, atlas_of().circuit)])
    assert "STOP" not in result.conclusion
    over = parse_reading("dc pin logic0 over 60 V", atlas_of().circuit)
    assert diagnose(atlas_of(), [over]).stopped == "danger"


def test_live_readings_come_last() -> None:
    """A doubtful pin sends the hand to a dead test before the live chain."""
    result = diagnose(atlas_of(), measured("dc pin logic0 2.9"))
    assert result.suggestion is not None
    assert result.suggestion.access is not AccessLevel.MAINS


@pytest.mark.parametrize("load_v", [0.0, 3.6])
def test_dead_feed_behind_a_suppressor_is_the_contact(load_v: float) -> None:
    """A connected load takes what the suppressor lets through (100 nF, 500 ohm: 3.6 V)."""
    suppressed = suppressed_atlas()
    line = f"ac feed neutral {load_v}"
    taken = [parse_reading(text, suppressed.circuit) for text in ("dc K1.coil 23.7 V", line)]
    result = diagnose(suppressed, taken)
    assert result.ranked[0].key == "K1 contact open", result.ranked[:3]


def test_one_resistor_is_a_chain() -> None:
    """A bridged only resistor puts the mains on the LED: still solved, still ranked."""
    one = parse_board(
        'mains = "230 V"\nrectifier = "1N4007"\noptocoupler = "817B"\n'
        'chain = {resistors = ["91k"], style = "1 W"}\n'
        'output = {pull_up = "22k", supply = "5 V"}\n'
    )
    dictionary = make_fault_dictionary(one, usual_meter())
    result = diagnose(dictionary, [parse_reading("ohm R1 OL", dictionary.circuit)])
    assert result.ranked[0].key == "R1 open"


def test_pulses_that_a_loose_joint_makes_jump() -> None:
    """A jumping reading is explained by a joint, and by nothing that stays as it is."""
    lines = ("dc pin logic0 unstable", "frequency unstable", "ohm R1 110k", "ohm R2 130k")
    result = diagnose(atlas_of(), [parse_reading(line, atlas_of().circuit) for line in lines])
    assert all("intermittent" in key for key in keys(result)[:3]), keys(result)[:5]


def test_slip_is_named() -> None:
    """One reading against three that agree is doubtful; the three are believed."""
    lines = ("dc pin logic0 2.65 V", "frequency 50", "dc logic+ logic0 0 V", "ohm R1 110k")
    result = diagnose(atlas_of(), [parse_reading(line, atlas_of().circuit) for line in lines])
    assert [m.reading.words for m in result.suspects] == ["DC volts, logic+ to logic0"]
    assert result.ranked[0].key == "healthy"


def test_agreeing_readings_have_no_suspect() -> None:
    result = diagnose(atlas_of(), measured("dc pin logic0 4.98", "ohm chain.1 chain.2 OL",
                                          "dc logic+ logic0 5.0"))  # fmt: skip
    assert result.suspects == ()


def test_leaks_at_one_place_are_named_together() -> None:
    """From collector to emitter, or from pin to ground: the same two nodes (by inspection).

    Ohm's law for a leak of 12 k, the pull-up of 47 k, and 4.7 k on the supply: 47 k beside
    16.7 k, 12 k beside 51.7 k; under power 1.02 V between pulses as long as these.
    """
    lines = ("dc logic+ logic0 5.0 V", "ohm logic+ pin 12.3k", "ohm pin logic0 9.74k",
             "dc pin logic0 0.51 V")  # fmt: skip
    result = diagnose(atlas_of(), [parse_reading(line, atlas_of().circuit) for line in lines])
    assert {"pin leaky", "OC1 transistor leaky"} <= {r.key for r in result.indistinguishable}
    assert "one of these, which no reading worth its effort tells apart" in result.conclusion


@pytest.mark.parametrize(
    ("name", "key", "severity"), [("clamped", "D1 leaky", 0.2), ("half-wave", "pin leaky", 0.5)]
)
def test_what_shows_the_same_is_lifted_or_named_with_a_leak(
    name: str, key: str, severity: float
) -> None:
    """Beside the diode or the LED, at the pin or the transistor: the same two nodes (by
    inspection), so no reading with both in place parts them."""
    made = atlas_of(name)
    fault, circuit = with_fault(made.circuit, key, severity)
    bench, taken = MeterModel(made.board, circuit, made.meter), list[Measured]()
    while (result := diagnose(made, taken)).suggestion is not None:
        reading = result.suggestion.reading
        taken.append(Measured(reading=reading, value=float(bench.read([reading])[0, 0])))
    assert result.indistinguishable[0].key == key
    lifted = [m for m in taken if m.reading.lifted]
    parted = any({m.reading.red, m.reading.black} == fault.across for m in lifted)
    same = {f.repair for f in made.faults if f.across == fault.across}
    assert parted or {r.fault.repair for r in result.indistinguishable if r.fault} >= same


def test_dirt_at_the_chain_is_one_answer() -> None:
    """Cleaned in one go, whichever two points it joins (by inspection)."""
    faults = {fault.key: fault for fault in atlas_of().faults}
    assert faults["chain leaky"].repair == faults["chain leaky to neutral"].repair
    assert faults["chain leaky"].repair != faults["OC1 LED leaky"].repair


def test_fan_flag_alone_clears_the_sync_circuit() -> None:
    """The controller has its sync: drive or fan, which readings here cannot part."""
    lines = ("dc pin logic0 2.65 V", "frequency 50", "low time 9.5 ms")
    taken = [parse_reading(line, atlas_of().circuit) for line in lines]
    result = diagnose(atlas_of(), taken, flags=("fan",))
    assert set(keys(result)[:2]) == {"drive not firing", "fan not turning"}
    both = diagnose(atlas_of(), taken, flags=("sync", "fan"))
    assert both.ranked[0].key == "controller input dead"


def test_two_faults_are_found_where_one_does_not_do() -> None:
    result = diagnose(atlas_of(), measured("ohm feed chain.1 OL", "ohm chain.1 chain.2 OL",
                                          "diode led+ led- 1.05"))  # fmt: skip
    assert result.ranked[0].key == "R1 open + R2 open"


def test_range_and_bound_rank_like_values_within() -> None:
    """Anything above 1 Mohm over 130 k may be open; what has a value has not lost it, and is no
    decade off."""
    for line, first in (("ohm R2 over 1M", "R2 open"), ("ohm R2 500k..1M", "R2 drift")):
        result = diagnose(atlas_of(), [parse_reading(line, atlas_of().circuit)])
        assert result.ranked[0].key == first


def test_ghost_supply_behind_a_suppressor_dies_under_low_impedance() -> None:
    """100 nF at 50 Hz is 31.8 k: 21.6 V stay over 3 k, 230 V over 5 M (by hand)."""
    suppressed = make_fault_dictionary(parse_board(SUPPRESSED_TEXT), usual_meter(), samples=4)
    reading = Reading(function=Function.LOW_Z, red="feed", black="neutral")
    number = [f.key for f in suppressed.faults].index("K1 contact open")
    shown = suppressed.by_fault(suppressed.predictions(reading))[number]
    # mains up to 5 % high, capacitor up to 20 %
    assert shown.max() < 1.05 * 1.2 * 230.0 * 3e3 / np.hypot(3e3, 31.8e3)


@pytest.mark.parametrize(
    ("share", "certain"), [(0.5, "D1 short"), (0.96, None)], ids=["none listed", "one alone"]
)
def test_what_is_in_any_case_is_certain_whatever_the_second_is(
    share: float, certain: str | None
) -> None:
    """0.5 with one second fault, 0.48 with another, 0.01 alone: 0.99 (by addition)."""
    faults = {fault.key: fault for fault in atlas_of().faults}
    first = "D1 short + OC1 LED open" if certain else "R1 open"
    shares = {first: share, "D1 short + OC1 LED short": 0.48 if certain else 0.02, "D1 short": 0.01}
    ranked = [Ranked(fault=faults[key], probability=p) for key, p in shares.items()]
    result = in_any_case(ranked)
    assert (result and result.key) == certain
    if result is not None:
        assert_allclose(result.probability, 0.99)


@pytest.mark.parametrize("ohm", [30.0, 70.0, 100.0, 150.0, 300.0])
def test_a_bridge_across_the_led_is_found_at_any_size(ohm: float) -> None:
    """The test current (1 mA into a short, behind 2.7 kOhm) drops over it what Ohm's law says."""
    volts = usual_meter().diode_open_v * ohm / (2.7e3 + ohm)
    result = diagnose(
        atlas_of(),
        measured("dc pin logic0 5.0", f"diode led+ neutral {volts}", f"ohm neutral led+ {ohm}"),
    )
    there = [r.probability for r in result.ranked if r.key in ("OC1 LED short", "OC1 LED leaky")]
    assert sum(there) > 0.9


def test_a_resistor_of_30_megohm_is_an_open_one() -> None:
    """Between a drift of a hundred times and nothing at all lie most real opens."""
    texts = ("ohm chain.1 chain.2 18.5e6", "ohm feed chain.1 110e3", "ohm feed chain.2 18.6e6")
    result = diagnose(atlas_of(), measured(*texts))
    assert result.indistinguishable[0].fault is not None
    assert result.indistinguishable[0].fault.repair == "R2"
    assert present(result.ranked) > SURE


def test_nothing_is_sure_while_a_reading_contradicts_it() -> None:
    """A chain that conducts as a whole, and a part of it that reads open: it is read again."""
    texts = [
        "ohm feed chain.2 240e3", "diode chain.2 led- 1.58", "dc led+ led- 0.55",
        "ac feed neutral 230", "dc pin logic0 4.98", "ohm feed chain.1 110e3",
        "ohm logic+ pin 46.5e3", "ohm neutral led+ OL", "ac feed chain.1 56.3",
        "dc pin logic0 4.98",  # once more: a transistor is not named for one level
    ]  # fmt: skip
    settled = diagnose(atlas_of(), measured(*texts))
    assert settled.stopped == "sure"
    once = diagnose(atlas_of(), measured(*texts, "ohm chain.1 chain.2 OL"))
    assert [m.reading.words for m in once.suspects] == ["ohms, chain.1 to chain.2"]
    assert once.stopped != "sure"
    assert once.suggestion is not None
    assert once.suggestion.again in once.suspects
    twice = diagnose(atlas_of(), measured(*texts, *2 * ["ohm chain.1 chain.2 OL"]))
    assert twice.stopped != "sure"


def test_open_and_resistive_contact_are_one_answer() -> None:
    texts = ["dc coil+ coil- 24", "ac feed neutral 0.5", "ohm coil+ coil- 1440"]
    result = diagnose(atlas_of(), measured(*texts))
    assert result.indistinguishable[0].fault is not None
    assert result.indistinguishable[0].fault.repair == "K1"


def test_an_open_chain_resistor_is_found_unplugged() -> None:
    """All readings up to the answer in one state of the board."""
    dictionary = atlas_of()
    taken: list[Measured] = []
    number = next(k for k, f in enumerate(dictionary.faults) if f.key == "R2 open")
    while (step := diagnose(dictionary, taken).suggestion) is not None and len(taken) < 8:
        assert step.reading.power is Power.DEAD
        shown = np.sort(dictionary.by_fault(dictionary.predictions(step.reading))[number])
        taken.append(Measured(reading=step.reading, value=float(shown[shown.size // 2])))
    assert diagnose(dictionary, taken).stopped == "sure"
    assert len(taken) <= 4


def test_one_reading_that_decides_is_not_enough() -> None:
    once = diagnose(atlas_of(), measured("ohm chain.1 chain.2 OL"))
    assert once.stopped != "sure"
    assert once.suggestion is not None
    assert once.suggestion.reading.power is Power.DEAD
    twice = diagnose(atlas_of(), measured(*2 * ["ohm chain.1 chain.2 OL"]))
    assert twice.stopped == "sure"


def test_none_of_these_is_never_sure() -> None:
    """Two parts read as none does that is listed, and again: nobody knows what it is."""
    texts = ("ohm feed chain.1 OL", "ohm chain.1 chain.2 OL", "ohm logic+ pin 0.1")
    result = diagnose(atlas_of(), measured(*texts, *texts))
    assert result.ranked[0].key == UNMODELLED
    assert result.stopped != "sure"


def test_a_part_that_fails_always_or_now_and_then_is_one_answer() -> None:
    """0.6 now and then, 0.38 always: 0.98 that a new relay mends it (by addition)."""
    faults = {fault.key: fault for fault in atlas_of().faults}
    shares = {"K1 contact intermittent": 0.6, "K1 contact open": 0.38, "R1 open": 0.02}
    result = in_any_case([Ranked(fault=faults[k], probability=p) for k, p in shares.items()])
    assert result is not None
    assert result.fault is not None
    assert result.fault.repair == "K1"
    assert_allclose(result.probability, 0.98)


def test_what_is_left_open_is_named_in_few_answers() -> None:
    """A good board, and those faults beyond it that the flags alone would tell, are one answer."""
    faults = {fault.key: fault for fault in atlas_of().faults}
    keys_of = ("healthy", "drive not firing", "K1 contact intermittent", "K1 coil intermittent")
    told = together_names([Ranked(fault=faults[key], probability=0.2) for key in keys_of])
    assert told == ("a good sync circuit", "K1 joints")


def test_no_more_is_asked_than_a_person_has_patience_for() -> None:
    lines = [f"dc pin logic0 {2.5 + 0.5 * k} V" for k in range(MOST_READINGS)]
    taken = [parse_reading(line, atlas_of().circuit) for line in lines]
    assert diagnose(atlas_of(), taken).suggestion is None


def test_what_is_concluded_is_read_by_itself() -> None:
    """The whole chain open and R1 well leaves R2, or a joint of R1 that opens now and then: R2 is
    to be read before it is named (common practice, no source)."""
    result = diagnose(atlas_of(), measured("ohm feed chain.2 OL", "ohm feed chain.1 110e3"))
    assert result.ranked[0].key == "R2 open"
    assert result.suggestion is not None
    assert result.suggestion.reading == Reading(
        function=Function.OHM, red="chain.1", black="chain.2"
    )
    assert result.stopped == ""


def test_parts_that_read_wrong_alone_are_named_whatever_else_is() -> None:
    """R1 bridged, in the circuit too, and R2 far too high, each with an end lifted: no listed fault
    explains both."""
    alone = [
        Measured(reading=replace(m.reading, lifted=ref), value=m.value, repeated=True)
        for ref, m in zip(
            ("R1", "R2"), measured("ohm feed chain.1 1.7", "ohm chain.1 chain.2 9e6"), strict=True
        )
    ]
    readings = measured(
        "ohm feed chain.1 1.7", "ohm logic+ pin 44.6e3",
        "dc pin logic0 1.1", "frequency pin logic0 50",
    )  # fmt: skip
    result = diagnose(atlas_of(), [*alone, *readings])
    (named,) = result.indistinguishable
    assert named.fault is not None
    assert set(named.fault.members) == {"R1 short", "R2 drift"}
    assert named is result.ranked[0]
    assert sum(r.probability for r in result.ranked) == pytest.approx(1.0)
    assert result.conclusion.startswith("two faults: R1 is bridged")


def test_an_open_output_is_not_sure_while_a_warm_joint_shows_the_same() -> None:
    """All dead readings good, the pin never low: only a reading under power tells them apart, once
    the joints between the parts have read well too."""
    lines = ("ohm feed chain.2 240e3", "diode chain.2 led+ 0.57", "diode led+ led- 1.05",
             "ohm logic+ pin 47e3", "dc logic+ logic0 5.0", "dc pin logic0 4.98")  # fmt: skip
    taken = measured(*lines, name="half-wave")
    result = diagnose(atlas_of("half-wave"), taken)
    for _ in range(4):
        assert result.stopped != "sure"
        assert result.suggestion is not None
        if result.suggestion.reading.power is not Power.DEAD:
            break
        good = Measured(reading=result.suggestion.reading, value=result.suggestion.good.middle)
        taken = [*taken, good]
        result = diagnose(atlas_of("half-wave"), taken)
    assert result.suggestion is not None
    assert result.suggestion.reading.power is Power.LIVE
    assert {"OC1 transistor open", "R2 intermittent"} <= set(keys(result)[:8])


@pytest.mark.parametrize(("volts", "key"), [(94, "OC1 LED open"), (102, "OC1 reversed")])
def test_an_optocoupler_is_turned_only_where_nothing_else_may_be_bad(volts: int, key: str) -> None:
    """Dark one way, and the clamp beside its LED reads good: open, or turned round, which passes
    current once it breaks down. A new one mends either (by inspection)."""
    found = _diagnosed(
        "clamped", "ohm R1 110k", "ohm R2 130k", "diode led- led+ 0.57 V", "diode led+ led- OL",
        "dc pin logic0 4.98 V", f"ac R1 {volts} V",
    )  # fmt: skip
    assert found.ranked[0].key == "OC1 reversed"
    assert (found.indistinguishable[0].key, found.stopped) == (key, "sure")


def test_a_burnt_contact_is_not_doubted_for_what_lies_between_two_samples() -> None:
    """100 kOhm at the contact: 6.7 V at a meter of 3 kOhm, and over R1, which has every other
    half-wave, 0.386 of the peak of its share (Ohm's law; rms of a half-wave without its mean)."""
    loaded_v = 230.0 * 3.0 / 103.0
    over_v = 0.386 * 2.0**0.5 * 230.0 * 110.0 / (110.0 + 130.0 + 100.0)
    found = _diagnosed(
        "switched", "ohm R1 to R2 240k", "diode led+ led- 1.055 V",
        f"low-z feed neutral {loaded_v:.3g} V", f"ac R1 {over_v:.3g} V",
    )  # fmt: skip
    assert (found.ranked[0].key, found.suspects) == ("K1 contact resistive", ())


def test_what_a_part_reads_alone_is_taken_once_more_and_then_believed() -> None:
    """A pull-up of 47 k that reads 12 k with an end lifted, whatever else the board has (by
    inspection); once, it may be a slip."""
    once = _diagnosed("switched", "ohm pull-up lifted 12k")
    assert once.suggestion is not None
    assert once.suggestion.again == once.measured[0]
    twice = _diagnosed("switched", *2 * ["ohm pull-up lifted 12k"])
    assert (twice.indistinguishable[0].key, twice.stopped) == ("pull-up low", "sure")


def _diagnosed(name: str, *texts: str) -> Diagnosis:
    made = atlas_of(name)
    taken = [parse_reading(text, made.circuit) for text in texts]
    return diagnose(made, taken, flags=("sync",))
