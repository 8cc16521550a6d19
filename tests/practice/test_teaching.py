"""The bench exercise of the guide shows what the guide says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import zcd
from zcd.circuit.build import build_circuit
from zcd.diagnosis.faults import with_fault
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.reading_syntax import parse_place, parse_value
from zcd.engine.solve import solve

GUIDE = (Path(__file__).resolve().parents[2] / "zcd" / "docs" / "teaching.md").read_text("utf-8")
READINGS = {
    "ohm R1 to R2, unplugged": "ohm line chain.2",
    "diode test across the LED, unplugged": "diode OC1",
    "DC volts at the pin": "dc pin logic0",
    "duty at the pin": "duty pin logic0",
    "AC volts across R1": "ac R1",
}
FAULTS = (None, "R1 open", "OC1 LED short", "pull-up open")
CELLS = [row.split(" | ") for row in re.findall(r"^\| (.+) \|$", GUIDE, re.MULTILINE)]
TABLE = {cells[0]: cells[1:] for cells in CELLS if cells[0] in READINGS}


@pytest.mark.parametrize("name", READINGS)
def test_typical_values(name: str) -> None:
    (text,) = re.findall(r"```toml\n(.*?)```", GUIDE, re.DOTALL)
    board = zcd.loads(text)
    circuit = build_circuit(board)
    reading = parse_place(READINGS[name], circuit)
    for fault, cell in zip(FAULTS, TABLE[name], strict=True):
        wrong = circuit if fault is None else with_fault(circuit, fault, 0.5)[1]
        shown = float(MeterModel(board, wrong, usual_meter()).read([reading])[0, 0])
        said = parse_value(cell, reading.function)
        assert shown == pytest.approx(said, rel=0.05, abs=0.01)


@pytest.mark.parametrize("fault", ["OC1 reversed", "D1 reversed", "D1 short"])
def test_what_the_guide_warns_of_breaks_the_led_down(fault: str) -> None:
    """Reverse voltage of an 817: 6 V at most (Sharp PC817X data sheet)."""
    (text,) = re.findall(r"```toml\n(.*?)```", GUIDE, re.DOTALL)
    _, wrong = with_fault(build_circuit(zcd.loads(text)), fault, 0.5)
    led_v = solve(wrong).between_v("led+", "led-") * (-1.0 if fault == "OC1 reversed" else 1.0)
    assert led_v.min() < -6.0
