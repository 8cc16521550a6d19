"""How well a reading fits: densities against those of a statistics library."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy import stats
from scipy.special import logsumexp

from tests.diagnosis.boards import board
from zcd.diagnosis.atlas import Atlas, make_atlas
from zcd.diagnosis.likelihood import OUTLIER_SHARE, Fit, error, joint_log, scaled
from zcd.diagnosis.meters import OVERLOAD, usual_meter
from zcd.diagnosis.rank import posterior
from zcd.diagnosis.readings import PIN_FUNCTIONS, Function, Measured, Reading

PIN = Reading(function=Function.DC, a="pin", b="logic0")
OHMS = Reading(function=Function.OHM, a="chain.1", b="chain.2")
COIL = Reading(function=Function.DC, a="coil+", b="coil-")


@cache
def atlas() -> Atlas:
    return make_atlas(board("switched"), usual_meter())


def entries(key: str) -> NDArray[np.intp]:
    return np.flatnonzero([atlas().faults[f].key == key for f in atlas().member])


@pytest.mark.parametrize(
    ("reading", "values"),
    [(PIN, (0.0, 2.6, 4.98)), (OHMS, (0.0, 151e3, 1e6, OVERLOAD)), (COIL, (0.0, 11.5))],
    ids=["volts", "ohms", "coil"],
)
def test_density_of_a_sound_reading_is_normal(reading: Reading, values: tuple[float, ...]) -> None:
    """Around each sample on the reading's own scale, never narrower than the meter's error."""
    fit = atlas().fit(reading)
    least = error(reading.function, fit.centre, atlas().meter)
    assert np.all(fit.width >= least)
    for value in values:
        y = scaled(reading.function, np.array(value))
        expected = stats.norm.pdf(y, loc=fit.centre, scale=fit.width)
        assert_allclose(fit.good(value), expected, rtol=1e-9, atol=1e-300)
        mixed = (1.0 - OUTLIER_SHARE) * expected + OUTLIER_SHARE * fit.flat
        assert_allclose(fit.density(value), mixed, rtol=1e-9)


def test_densities_of_several_values_are_those_of_each() -> None:
    fit, values = atlas().fit(OHMS), np.array([10.0, 151e3, OVERLOAD])
    together = fit.good(values)
    assert together.shape == (3, *atlas().severity.shape)
    for value, found in zip(values, together, strict=True):
        assert np.array_equal(found, fit.good(float(value)))


def test_a_size_between_two_that_were_tried_is_explained() -> None:
    """Anywhere within the range of a drift some sample is within its own width."""
    drift = entries("R2 drift")
    fit = Fit(OHMS, atlas().shown(OHMS)[drift], atlas().meter)
    for row in range(drift.size):
        low, high = fit.centre[row].min(), fit.centre[row].max()
        y = np.linspace(low, high, 500)[:, None]
        off = np.min(np.abs(y - fit.centre[row]) / fit.width[row], axis=1)
        assert np.all(off <= 1.0)


def test_one_reading_alone_is_one_fact() -> None:
    fit = atlas().fit(PIN)
    log_density, log_flat = joint_log([(fit, 4.98)])
    assert_allclose(log_density, np.log(fit.density(4.98)), rtol=1e-12)
    assert_allclose(log_flat, np.log(fit.flat))


def test_readings_of_one_fact_are_right_or_wrong_together() -> None:
    """Either all are sound, or all are the one outlier: a mixture of two, not of eight."""
    readings = [Reading(function=f, a="pin", b="logic0") for f in PIN_FUNCTIONS]
    pairs = [(atlas().fit(reading), 0.0) for reading in readings]
    log_density, log_flat = joint_log(pairs)
    assert_allclose(log_flat, sum(np.log(fit.flat) for fit, _ in pairs))
    with np.errstate(divide="ignore"):
        sound = sum(
            stats.norm.logpdf(scaled(fit.function, np.array(value)), fit.centre, fit.width)
            for fit, value in pairs
        )
    expected = logsumexp(
        np.stack(
            [
                sound + np.log1p(-OUTLIER_SHARE),
                np.full_like(sound, log_flat + np.log(OUTLIER_SHARE)),
            ]
        ),
        axis=0,
    )
    assert_allclose(log_density, expected, rtol=1e-9)


def test_three_ways_to_see_no_pulse_are_not_three_slips() -> None:
    """Against a good board, all three together cost no more than one wrong reading may."""
    none = [
        Measured(reading=Reading(function=f, a="pin", b="logic0"), value=0.0) for f in PIN_FUNCTIONS
    ]
    fits = [(atlas().fit(m.reading), m.value) for m in none]
    log_density, log_flat = joint_log(fits)
    healthy = log_density[entries("healthy")]
    assert_allclose(healthy - log_flat, np.log(OUTLIER_SHARE), rtol=1e-6)
    before, after = (posterior(atlas(), measured) for measured in ([], none))
    odds = [weights[entries("healthy")].sum() / unknown for weights, unknown in (before, after)]
    assert_allclose(odds[1] / odds[0], OUTLIER_SHARE, rtol=1e-6)
