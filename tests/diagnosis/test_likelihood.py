"""How well a reading fits: densities against those of a statistics library."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy import stats
from scipy.special import logsumexp

from tests.diagnosis.atlases import atlas_of
from tests.diagnosis.boards import RELAY, TEXTS, board
from tests.diagnosis.truth import joint_log
from zcd.board.files import parse_board
from zcd.diagnosis.fault_dictionary import FaultDictionary, make_fault_dictionary
from zcd.diagnosis.functions import Function
from zcd.diagnosis.likelihood import (
    BREADTHS,
    JUMPS,
    MOST_REACH,
    NEAR_JUMPS,
    NEAR_OTHER,
    OUTLIER_SHARE,
    PULSE_OUTLIER_SHARE,
    STEADY_JUMPS,
    WHOLE_REACH,
    Fit,
    error,
    scaled,
)
from zcd.diagnosis.meters import OVERLOAD, usual_meter
from zcd.diagnosis.rank import NEAR_SHARE, UNLIKE_SHARE, diagnose, posterior_weights
from zcd.diagnosis.readings import Measured, Reading

PIN = Reading(function=Function.DC, red="pin", black="logic0")
OHMS = Reading(function=Function.OHM, red="chain.1", black="chain.2")
NO_PULSE = [
    Reading(function=function, red="pin", black="logic0")
    for function in (Function.FREQUENCY, Function.DUTY, Function.LOW_TIME)
]
COIL = Reading(function=Function.DC, red="coil+", black="coil-")


def dictionary() -> FaultDictionary:
    return atlas_of("switched")


def entries(key: str) -> NDArray[np.intp]:
    return np.flatnonzero([dictionary().faults[f].key == key for f in dictionary().member])


def of_entries(fit: Fit, density: NDArray[np.float64]) -> NDArray[np.float64]:
    """Densities of samples, or of whole entries where the reading is a local one."""
    mean = density.mean(axis=-1, keepdims=True)
    return np.where(fit.averaged[:, None], mean, density)


def test_a_local_reading_tells_of_entries_not_of_samples() -> None:
    """R2's ohms depend on its own tolerance, which nothing else shows, or on the size of its drift,
    which the pulses show too; the pin's voltage depends on all."""
    averaged = dictionary().fit(OHMS).averaged
    for key in ("healthy", "R1 drift", "OC1 aged", "R2 open", "R1 open + R2 open"):
        assert np.all(averaged[entries(key)]), key
    assert not np.any(averaged[entries("R2 drift")])
    assert not np.any(dictionary().fit(PIN).averaged)


@pytest.mark.parametrize(("breadth", "capped"), [(1.0, False), (3.0, True)])
def test_a_broader_sample_stands_for_more_of_its_neighbourhood(
    breadth: float, capped: bool
) -> None:
    """Its error and so many times half the distance between its neighbours, in quadrature; no more
    than the bandwidth of a normal density (`MOST_REACH`)."""
    fit = dictionary().fit(PIN)
    row = int(entries("R2 drift")[1])
    order = np.argsort(fit.centre[row])
    centre = fit.centre[row][order]
    half = 0.5 * (centre[2:] - centre[:-2])
    noise = error(PIN.function, centre[1:-1], dictionary().meter)
    reach = np.minimum(breadth * half, MOST_REACH * np.std(centre))
    assert np.any(reach < breadth * half) == capped
    assert_allclose(fit.width_of(breadth)[row][order][1:-1], np.hypot(noise, reach), rtol=1e-9)


@pytest.mark.parametrize(
    ("reading", "values"),
    [(PIN, (0.0, 2.6, 4.98)), (OHMS, (0.0, 131e3, 1e6, OVERLOAD)), (COIL, (0.0, 23.7))],
    ids=["volts", "ohms", "coil"],
)
def test_density_of_a_sound_reading_is_normal(reading: Reading, values: tuple[float, ...]) -> None:
    """Around each sample on the reading's own scale, never narrower than the meter's error."""
    fit = dictionary().fit(reading)
    least = error(reading.function, fit.centre, dictionary().meter)
    assert np.all(fit.width >= least)
    for value in values:
        y = scaled(reading.function, np.array(value))
        expected = of_entries(fit, stats.norm.pdf(y, loc=fit.centre, scale=width_at(fit, y)))
        result = fit.good(value)[: dictionary().simulated]
        assert_allclose(result, expected, rtol=1e-9, atol=1e-300)


def width_at(fit: Fit, y: float | np.ndarray) -> np.ndarray:
    """Widths for one value: beyond the good board no wider than a good board's, in entries whose
    samples do not go there."""
    good, result = fit.centre[0], fit.width.copy()
    for row, centre in enumerate(fit.centre):
        error = fit.noise[row].max()
        above = y > good.max() and centre.max() <= good.max() + error
        below = y < good.min() and centre.min() >= good.min() - error
        if (above or below) and not fit.averaged[row]:
            narrow = np.hypot(fit.noise[row], MOST_REACH * good.std())
            result[row] = np.minimum(result[row], narrow)
    return result


def test_a_leak_does_not_explain_a_part_that_reads_high() -> None:
    """A path in parallel only makes ohms lower, however wide its samples lie apart."""
    fit = dictionary().fit(OHMS)
    leaky = entries("chain leaky to neutral")
    high = float(dictionary().predictions(OHMS)[entries("healthy")].max())
    told = fit.good(1.25 * high, 9.0)
    assert np.all(told[leaky] < 1e-3 * told[entries("R2 drift")].max())


@pytest.mark.parametrize("ends", [(4.0, 4.9), (-np.inf, 1.0), (2.0, np.inf)])
def test_likelihood_of_a_range_is_the_normal_share_within_it(ends: tuple[float, float]) -> None:
    fit = dictionary().fit(PIN)
    result = fit.likelihood(Measured.between(PIN, *ends))[: dictionary().simulated]
    low, high = (stats.norm.cdf(end, loc=fit.centre, scale=fit.width) for end in ends)
    assert_allclose(result, high - low, atol=1e-12)


def test_rough_reading_is_normal_but_wider() -> None:
    """Ten per cent of the value more; common practice, no source."""
    fit = dictionary().fit(PIN)
    result = fit.likelihood(Measured(reading=PIN, value=2.5, about=True))[: dictionary().simulated]
    width = np.hypot(width_at(fit, 2.5), 0.25)
    expected = stats.norm.pdf(2.5, loc=fit.centre, scale=width)
    assert_allclose(result, expected, rtol=1e-9, atol=1e-300)


def test_overload_says_no_more_than_beyond_the_top_range() -> None:
    """A resistor of 50 Mohm shows OL on most meters: it is not held against `open`.

    Of the sizes of an open one, evenly in logs from 13 Mohm to 1 Tohm, this meter shows those up
    to 20 Mohm as a number.
    """
    fit = dictionary().fit(OHMS)
    result = fit.likelihood(Measured(reading=OHMS, value=OVERLOAD))
    beyond = np.log(1e12 / 20e6) / np.log(1e12 / 13e6)
    # one sample in sixteen may lie on either side of the end of the range
    assert_allclose(result[entries("R2 open")], beyond, atol=1.0 / 16.0)
    assert np.all(result[entries("healthy")] < 1e-6)


def test_overload_on_a_meter_that_ends_early_says_less() -> None:
    """On a meter that ends at 2 Mohm a resistor that drifted to 3 Mohm shows OL as an open one."""
    low = make_fault_dictionary(board(), replace(usual_meter(), ohm_range_ohm=2e6))
    result = low.fit(OHMS).likelihood(Measured(reading=OHMS, value=OVERLOAD))
    drifted = np.flatnonzero(entries("R2 drift"))
    ohm = dictionary().predictions(OHMS)[drifted]
    assert np.all(result[drifted][ohm > 2.5e6] > 0.99)
    assert np.all(result[drifted][ohm < 1.5e6] < 1e-3)


def test_a_loose_joint_jumps_and_nothing_else_does() -> None:
    fit = dictionary().fit(OHMS)
    result = fit.likelihood(Measured(reading=OHMS, value=0.0, unstable=True))
    assert result[entries("R2 intermittent")].max() == JUMPS
    for key in ("healthy", "R2 drift", "R1 intermittent"):
        assert np.all(result[entries(key)] == STEADY_JUMPS), key


def test_a_loose_joint_shows_either_state() -> None:
    """The mean of the densities of a good board and of the open part, where it moves at each look.

    The entry before is that of one that is sound cold, and open under power.
    """
    fit = dictionary().fit(OHMS)
    for value in (151e3, 60e6):
        good = fit.good(value)
        sound, broken = good[entries("healthy")][0], good[entries("R2 open")][0]
        warm, loose = good[entries("R2 intermittent")]
        assert_allclose(warm, sound)
        assert_allclose(loose, 0.5 * (sound + broken))
    pin = Reading(function=Function.DC, red="pin", black="logic0")
    good = dictionary().fit(pin).good(4.9)
    warm, _ = good[entries("R2 intermittent")]
    assert_allclose(warm, good[entries("R2 open")][0])


def test_a_reading_of_one_part_says_nothing_of_the_breadth() -> None:
    """Else every good resistor would tell against whatever needs the wider samples."""
    fit = dictionary().fit(OHMS)
    narrow, wide = (fit.good(151e3, breadth)[entries("OC1 aged")] for breadth in (1.0, 9.0))
    assert np.array_equal(narrow, wide)


def test_densities_of_several_values_are_those_of_each() -> None:
    fit, values = dictionary().fit(OHMS), np.array([10.0, 151e3, OVERLOAD])
    together = fit.good(values)
    assert together.shape == (3, *dictionary().severity.shape)
    for value, result in zip(values, together, strict=True):
        assert np.array_equal(result, fit.good(float(value)))


def test_a_size_between_two_that_were_tried_is_explained() -> None:
    """Anywhere within the range of a drift some sample is within its own width."""
    drift = entries("R2 drift")
    fit = Fit(OHMS, dictionary().predictions(OHMS)[drift], dictionary().meter)
    for row in range(drift.size):
        low, high = fit.centre[row].min(), fit.centre[row].max()
        y = np.linspace(low, high, 500)[:, None]
        off = np.min(np.abs(y - fit.centre[row]) / fit.width[row], axis=1)
        assert np.all(off <= 1.0)


def test_one_reading_alone_is_one_fact() -> None:
    fit = dictionary().fit(PIN)
    log_density, log_flat = joint_log([(fit, Measured(reading=PIN, value=4.98))])
    mixed = (1.0 - OUTLIER_SHARE) * fit.good(4.98) + OUTLIER_SHARE * fit.flat
    steady = ~fit.loose
    assert_allclose(log_density[steady], np.log(mixed[steady]), rtol=1e-9)
    assert_allclose(log_flat, np.log(fit.flat))


def sound_density(fit: Fit, value: float) -> NDArray[np.float64]:
    """Of a steady value; near a limit the pulses may be there or not, whatever was predicted."""
    y = scaled(fit.function, np.array(value))
    density = stats.norm.pdf(y, fit.centre, fit.width)
    if fit.near is not None:
        none = stats.norm.pdf(y, 0.0, error(fit.function, np.array(0.0), fit.meter))
        other = np.where(fit.centre == 0.0, fit.flat, none)
        density = np.where(fit.near, density + NEAR_OTHER * (other - density), density)
    return np.asarray(density * (1.0 - fit.jump_share[: len(fit.centre)]))


def test_pulses_near_a_limit_may_be_missed() -> None:
    """What is predicted with pulses there is no slip when none are seen: a chance of the model."""
    fit = dictionary().fit(NO_PULSE[0])
    assert fit.near is not None
    seen = fit.near & (fit.centre > 0.0)
    assert seen.any()
    none = fit.likelihood(Measured(reading=NO_PULSE[0], value=0.0))[: len(fit.centre)]
    assert_allclose(none[seen], sound_density(fit, 0.0)[seen])
    assert np.all(none[seen] > 10.0 * fit.flat * OUTLIER_SHARE)


def test_readings_of_one_fact_are_right_or_wrong_together() -> None:
    """Either all are sound, or all are the one outlier: a mixture of two, not of eight."""
    read = [Measured(reading=reading, value=0.0) for reading in NO_PULSE]
    pairs = [(dictionary().fit(m.reading), m) for m in read]
    log_density, log_flat = joint_log(pairs)
    log_density = log_density[: dictionary().simulated]
    assert_allclose(log_flat, sum(np.log(fit.flat) for fit, _ in pairs))
    with np.errstate(divide="ignore"):
        sound = sum(np.log(sound_density(fit, m.value)) for fit, m in pairs)
    expected = logsumexp(
        np.stack(
            [
                sound + np.log1p(-PULSE_OUTLIER_SHARE),
                np.full_like(sound, log_flat + np.log(PULSE_OUTLIER_SHARE)),
            ]
        ),
        axis=0,
    )
    assert_allclose(log_density, expected, rtol=1e-9)


def test_three_ways_to_see_no_pulse_are_not_three_slips() -> None:
    """Against a good board, all three together cost no more than one wrong reading may."""
    none = [Measured(reading=reading, value=0.0) for reading in NO_PULSE]
    fits = [(dictionary().fit(m.reading), m) for m in none]
    log_density, log_flat = joint_log(fits)
    healthy = log_density[entries("healthy")]
    assert_allclose(healthy - log_flat, np.log(PULSE_OUTLIER_SHARE), rtol=1e-6)


def test_posterior_is_that_of_direct_enumeration() -> None:
    """Every fault, breadth, entry and sample one by one, densities from a statistics library."""
    read = [
        Measured(reading=PIN, value=4.2),
        Measured(reading=OHMS, value=2.14e6),
        Measured(reading=COIL, value=23.7),
    ]
    simulated, samples = dictionary().simulated, dictionary().severity.shape[1]
    shares, member = dictionary().shares, dictionary().member
    joint = np.zeros((len(member), samples))
    spread = np.bincount(member)[member] * samples
    near = np.broadcast_to((shares[member] / spread / shares.sum())[:, None], joint.shape)
    flat = 1.0
    for m in read:
        fit = dictionary().fit(m.reading)
        flat *= fit.flat
        near = near * ((1.0 - UNLIKE_SHARE) * fit.likelihood(m) + UNLIKE_SHARE * fit.flat)
    # of what is not listed some resembles a fault that is, the rest nothing
    either = (1.0 - NEAR_SHARE) * flat + NEAR_SHARE * near.sum()
    unknown = (1.0 - shares.sum()) * either
    for entry in range(simulated):
        entries_of_fault = np.sum(member == member[entry])
        for breadth in BREADTHS:
            weight = np.full(samples, shares[member[entry]] / (entries_of_fault * samples))
            for m in read:
                weight *= _by_hand(dictionary().fit(m.reading), m, entry, breadth)
            joint[entry] += weight / len(BREADTHS)
    weights, none = posterior_weights(dictionary(), read)
    # those that only look like others are left out on both sides
    scale = weights[:simulated].sum() + none
    total = joint.sum() + unknown
    assert_allclose(weights[:simulated] / scale, joint[:simulated] / total, rtol=1e-6, atol=1e-15)
    assert_allclose(none / scale, unknown / total, rtol=1e-6)


def _by_hand(fit: Fit, m: Measured, entry: int, breadth: float) -> NDArray[np.float64]:
    """Density of a reading at each sample of an entry: sound, or a slip."""
    y = float(scaled(m.reading.function, np.array(m.value)))
    reach = np.minimum(breadth * fit.gaps[entry], MOST_REACH * np.std(fit.centre[entry]))
    reach = WHOLE_REACH * fit.gaps[entry] if fit.averaged[entry] else reach
    width = np.hypot(fit.noise[entry], reach)
    sound = stats.norm.pdf(y, loc=fit.centre[entry], scale=width)
    if fit.averaged[entry]:
        sound = np.full(sound.size, np.mean(sound))
    return (1.0 - OUTLIER_SHARE) * sound + OUTLIER_SHARE * fit.flat


def test_a_jump_shows_whatever_the_supply_may_be() -> None:
    """Coil volts lie within a third of their middle, but one board's jump by a fifth is seen."""
    text = TEXTS["switched"].replace(
        RELAY, 'kind = "switched", coil_supply = "5 V", coil_resistance = "70"'
    )
    known = make_fault_dictionary(parse_board(text), usual_meter())
    result = known.fit(COIL).likelihood(Measured(reading=COIL, value=0.0, unstable=True))
    by_fault = {f.key: w for f, w in zip(known.faults, known.by_fault(result), strict=True)}
    assert by_fault["K1 coil intermittent"].max() == JUMPS
    assert by_fault["K1 contact intermittent"].max() == STEADY_JUMPS


def test_a_jump_at_the_led_is_one_of_the_chain_too() -> None:
    """Half a volt of pick-up may be in any AC reading, but it does not come and go with a joint."""
    known = make_fault_dictionary(parse_board(TEXTS["switched"]), usual_meter())
    at_led = Reading(function=Function.AC, red="led+", black="neutral")
    result = known.fit(at_led).likelihood(Measured(reading=at_led, value=0.0, unstable=True))
    by_fault = {f.key: w for f, w in zip(known.faults, known.by_fault(result), strict=True)}
    for key in ("R1 intermittent", "OC1 LED intermittent"):
        assert by_fault[key].max() == JUMPS, key
    assert by_fault["healthy"].max() == STEADY_JUMPS


def test_a_display_jumps_near_the_limit_of_the_pulses() -> None:
    """Where pulses are seen now and then, more often than on any other board without a loose
    joint; and a steady display is as much rarer there (the two chances add up to 1)."""
    fit = dictionary().fit(NO_PULSE[0])
    unstable = fit.likelihood(Measured(reading=NO_PULSE[0], value=0.0, unstable=True))
    near = (fit.jump_share > 0.0) & ~fit.loose
    assert near.any()
    assert_allclose(unstable[near], NEAR_JUMPS)
    assert_allclose(unstable[~near & ~fit.loose], STEADY_JUMPS)
    steady = fit.likelihood(Measured(reading=NO_PULSE[0], value=50.0))
    assert_allclose(steady[near], (fit.good(50.0) * (1.0 - NEAR_JUMPS))[near])


def test_overload_over_what_hangs_at_the_supply_is_not_impossible() -> None:
    """None of N samples beyond: rarer than about one in N (rule of succession), no less."""
    over_supply = Reading(function=Function.OHM, red="pin", black="logic0")
    fit = dictionary().fit(over_supply)
    result = fit.likelihood(Measured(reading=over_supply, value=OVERLOAD))[entries("healthy")]
    assert np.all(result >= 0.5 / (1.0 + result.shape[-1]))
    over_part = dictionary().fit(OHMS).likelihood(Measured(reading=OHMS, value=OVERLOAD))
    assert over_part[entries("healthy")].max() < 1e-6


def test_what_shorts_the_pin_reads_no_overload_there() -> None:
    """No chip and no supply in parallel makes a short read higher (Ohm's law)."""
    over_supply = Reading(function=Function.OHM, red="pin", black="logic0")
    read = Measured(reading=over_supply, value=OVERLOAD)
    result = dictionary().fit(over_supply).likelihood(read)
    for key in ("pin stuck low", "OC1 transistor short"):
        assert result[entries(key)].max() < 1e-6


@pytest.mark.parametrize("volts", [3.0, 12.0, 40.0])
def test_some_volts_on_an_open_wire_are_no_burnt_contact(volts: float) -> None:
    """A meter of 10 MOhm shows what neighbouring wires couple into an open one; at low impedance
    nothing of it is left: common practice, no source."""
    made = atlas_of("switched")
    behind = Reading(function=Function.AC, red="feed", black="neutral")
    loaded = replace(behind, function=Function.LOW_Z)
    taken = [Measured(reading=behind, value=volts), Measured(reading=loaded, value=0.0)]
    ranked = diagnose(made, taken, flags=("sync",)).ranked
    shares = {r.key: r.probability for r in ranked}
    assert shares["K1 contact open"] > shares["K1 contact resistive"]
    # where the chain still draws through it, the volts are there under load too
    taken[1] = Measured(reading=loaded, value=volts)
    weak = diagnose(made, taken, flags=("sync",)).ranked
    assert weak[0].key == "K1 contact resistive"
