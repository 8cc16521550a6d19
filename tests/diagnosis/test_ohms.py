"""Ohms past a junction: what they show depends on the meter, of which little may be known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from tests.diagnosis.atlases import atlas_read_with
from tests.diagnosis.boards import TEXTS, board
from zcd.board.files import parse_board
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Junction
from zcd.diagnosis.fault_dictionary import FaultDictionary, make_fault_dictionary
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.rank import diagnose
from zcd.diagnosis.readings import Measured, Reading

FORWARD = Reading(function=Function.OHM, red="chain.2", black="led+")
"""Over the rectifier, red at its anode: nothing else leads from one to the other."""
METERS = {"weak": (1.0, 0.5), "strong": (3.0, 0.7)}
"""Volts open and at full scale: a meter whose ohms hardly open a junction, and one that does
(parts of the trade; common practice, no source)."""
RANGES_OHM = (600.0, 6e3, 60e3, 600e3, 6e6, 20e6)


def dictionary(open_v: float | None = None) -> FaultDictionary:
    meter = usual_meter()
    stated = meter if open_v is None else replace(meter, ohms_open_v=open_v)
    return atlas_read_with(stated, "half-wave")


def by_the_diode_law(open_v: float, full_scale_v: float) -> float:
    """Ohms on the lowest range that holds them, from the law of the rectifier alone."""
    diode = build_circuit(board())["D1"]
    assert isinstance(diode, Junction)
    saturation_a, emission_v = float(diode.saturation_a), float(diode.emission_v)
    for full_scale_ohm in RANGES_OHM:
        source_ohm = full_scale_ohm * (open_v - full_scale_v) / full_scale_v

        def excess_a(volts: float, source_ohm: float = source_ohm) -> float:
            return saturation_a * np.expm1(volts / emission_v) - (open_v - volts) / source_ohm

        volts = brentq(excess_a, 0.0, open_v, xtol=1e-12)
        ohm = volts * source_ohm / (open_v - volts)
        if ohm <= full_scale_ohm:
            return float(ohm)
    raise AssertionError("overload")


@pytest.mark.parametrize("open_v", [None, 3.0])
def test_full_scale_is_of_any_meter(open_v: float | None) -> None:
    """No manual says what each range leaves at the probes, whatever the probes have when open."""
    shown = dictionary(open_v).predictions(FORWARD)[0]
    weak, strong = (by_the_diode_law(*volts) for volts in METERS.values())
    assert weak > 10.0 * strong
    assert shown.min() < strong < weak < shown.max()


def test_few_volts_at_the_probes_open_no_junction() -> None:
    """A drop of 0.45 to 0.7 V passes next to nothing at 0.3 V (common practice, no source)."""
    assert dictionary(0.3).predictions(FORWARD)[0].min() > 20.0 * by_the_diode_law(
        *METERS["strong"]
    )


def test_a_resistor_reads_the_same_on_any_meter() -> None:
    """Alone; in the circuit the LED conducts a little by way of what joins line and neutral."""
    lifted = Reading(function=Function.OHM, red="chain.1", black="chain.2", lifted="R2")
    np.testing.assert_allclose(
        dictionary().predictions(lifted)[0],
        dictionary(1.5).predictions(lifted)[0],
        rtol=1e-6,
    )


def good_board(ohm: float) -> list[Measured]:
    """A forward reading of a meter, and three that agree on a good board."""
    readings = [r for r in dictionary().readings if r.function is Function.OHM][:3]
    sound = [
        Measured(reading=r, value=float(np.median(dictionary().predictions(r)[0])))
        for r in readings
    ]
    return [*sound, Measured(reading=FORWARD, value=ohm)]


@pytest.mark.parametrize("name", METERS)
@pytest.mark.parametrize("open_v", [None, 3.0])
def test_no_reading_past_a_good_junction_is_suspect(name: str, open_v: float | None) -> None:
    found = dictionary(open_v)
    measured = good_board(by_the_diode_law(*METERS[name]))
    result = diagnose(found, measured, skipped=found.readings)
    assert result.suspects == ()
    assert result.ranked[0].fault is not None


@pytest.mark.parametrize(
    ("mode", "other"), [("wrong value x10", "drifted"), ("wrong value x0.1", "partly bridged")]
)
def test_a_value_a_decade_off_is_not_surely_a_wrong_part(mode: str, other: str) -> None:
    """No meter parts it from a part that has gone as far (common practice, no source)."""
    fault = next(f for f in dictionary().faults if f.key == f"pull-up {mode}")
    for words in ("wrong part", f"or {other}", "read its marking"):
        assert words in fault.words


def test_a_diode_test_beside_a_resistor_depends_on_the_meter() -> None:
    """A kilohm beside a LED that hardly lights yet: 0.4 to 1.5 mA into a short, by the sheets,
    behind a resistor or held."""
    text = TEXTS["two-led"] + '[led]\nresistor = "1k"\n'
    known = make_fault_dictionary(parse_board(text), usual_meter())
    shown = known.predictions(Reading(function=Function.DIODE, red="led+", black="neutral"))[0]
    low_ohm, high_ohm = (usual_meter().diode_open_v / amps for amps in (1.5e-3, 0.4e-3))
    low_v, high_v = (usual_meter().diode_open_v * 1e3 / (1e3 + r) for r in (high_ohm, low_ohm))
    assert 0.97 * low_v < shown.min() < 0.5
    assert high_v < shown.max() < 1.2  # 1.5 V but for the LED
