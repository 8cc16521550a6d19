"""A deck to keep runs by itself, and its own measurements are the comparison's."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import numpy as np
import pytest

from tests.boards import VARIANTS
from zcd.circuit.build import build_circuit
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.readings import Reading
from zcd.engine.solve import solve
from zcd.errors import InputError
from zcd.spice.deck import deck_text, metered
from zcd.spice.netlist import Level
from zcd.spice.solve import Spice
from zcd.sync.lock import judge


def measured(text: str, folder: Path) -> dict[str, float]:
    """What ``ngspice -b`` prints for a deck."""
    (folder / "deck.cir").write_text(text, encoding="ascii")
    done = subprocess.run(
        ["ngspice", "-n", "-b", "deck.cir"], cwd=folder, capture_output=True, text=True, check=True
    )
    assert "rror" not in done.stderr
    return {
        name: float(value)
        for name, value in re.findall(
            r"^\s*([a-z]\w*)\s+(?:=\s+)?(-?\d\.\d+e[-+]\d+)\b", done.stdout, flags=re.MULTILINE
        )
    }


@pytest.mark.parametrize("level", Level)
@pytest.mark.parametrize("name", ["half-wave", "two-led", "bridge", "across the LED"])
def test_the_deck_measures_what_the_engine_finds(name: str, level: Level, tmp_path: Path) -> None:
    board = VARIANTS[name]
    circuit = build_circuit(board)
    result = measured(deck_text(board, circuit, Spice(level=level), "healthy", True), tmp_path)
    ours = solve(circuit)
    pulses = judge(ours, board).pulses
    assert result["oc1_led_peak_a"] == pytest.approx(ours.currents_a["OC1.led"].max(), rel=2e-3)
    assert result["r1_power_w"] == pytest.approx(
        float(ours.power_w(circuit["R1"])[0]),  # type: ignore[arg-type]
        rel=5e-3,
    )
    if level is Level.EQUATIONS:
        start_s = 3.0 / board.mains.frequency_hz
        assert result["pin_falls_s"] - start_s == pytest.approx(pulses.fall_s[0, 0], abs=10e-6)
        mean_v = float(ours.mean(ours.voltages_v["pin"])[0])
        assert result["pin_mean_v"] == pytest.approx(mean_v, abs=5e-3)


@pytest.mark.parametrize(
    ("reading", "shown_as"),
    [
        (Reading(function=Function.DC, red="chain.1", black="chain.2"), "meter_dc_v"),
        (Reading(function=Function.LOW_Z, red="chain.1", black="chain.2"), "meter_rms_v"),
        (Reading(function=Function.OHM, red="chain.1", black="chain.2"), "meter_ohm"),
        (Reading(function=Function.OHM, red="line", black="chain.1", lifted="R1"), "meter_ohm"),
        (Reading(function=Function.DIODE, red="led+", black="led-"), "meter_v"),
    ],
    ids=["dc", "low z", "ohm", "ohm, lifted", "diode"],
)
def test_a_meter_hangs_in_the_deck(reading: Reading, shown_as: str, tmp_path: Path) -> None:
    """Its reading is the bench card's, its load included."""
    board, meter = VARIANTS["half-wave"], usual_meter()
    circuit = build_circuit(board)
    text = deck_text(board, metered(board, circuit, meter, [reading]), Spice(), "healthy", True)
    shown = MeterModel(board, circuit, meter).read([reading])[0, 0]
    assert measured(text, tmp_path)[shown_as] == pytest.approx(shown, rel=5e-3)


def test_an_overload_is_on_the_highest_range(tmp_path: Path) -> None:
    board, meter = VARIANTS["half-wave"], usual_meter()
    circuit = build_circuit(board)
    reading = Reading(function=Function.OHM, red="pin", black="logic0")
    text = deck_text(board, metered(board, circuit, meter, [reading]), Spice(), "healthy", True)
    assert np.isinf(MeterModel(board, circuit, meter).read([reading])[0, 0])
    assert measured(text, tmp_path)["meter_ohm"] > meter.ohm_range_ohm


def test_a_meter_on_the_pulses_is_no_load() -> None:
    board = VARIANTS["half-wave"]
    circuit = build_circuit(board)
    reading = Reading(function=Function.DUTY, red="pin", black="logic0")
    assert metered(board, circuit, usual_meter(), [reading]) is circuit


def test_a_netlist_takes_one_reading() -> None:
    board = VARIANTS["half-wave"]
    reading = Reading(function=Function.OHM, red="chain.1", black="chain.2")
    with pytest.raises(InputError, match="one reading, got 2"):
        metered(board, build_circuit(board), usual_meter(), [reading, reading])
