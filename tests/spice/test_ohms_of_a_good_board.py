"""Ohms of a healthy clamped board as ngspice gives them lead to no part (ngspice as oracle)."""

from __future__ import annotations

from itertools import combinations

import pytest

import zcd
from zcd.circuit.build import build_circuit
from zcd.diagnosis.faults import HEALTHY
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.reading_syntax import parse_place
from zcd.diagnosis.readings import Measured
from zcd.spice.compare import Level, Spice

PLACES = ("ohm D2", "ohm D2 reversed", "ohm R1", "ohm R2", "ohm line neutral", "diode D2",
          "diode D2 reversed")  # fmt: skip
DOG_BED = """\
name = "Invented dog bed"
mains = "230 V 50 Hz"
clamp = {part = "1N4148", ref = "D2"}
optocoupler = "817 C"
chain = {topology = "clamped", resistors = ["43k", "43k"], style = "1 W"}
output = {pull_up = "10k", supply = "5 V"}
"""


@pytest.mark.parametrize(
    "level", [Level.DEVICE, pytest.param(Level.EQUATIONS, marks=pytest.mark.slow)]
)
def test_no_part_is_blamed(level: Level) -> None:
    board = zcd.loads(DOG_BED)
    circuit, meter = build_circuit(board), usual_meter()
    readings = [parse_place(place, circuit) for place in PLACES]
    way = Spice(level=level, family=board.optocoupler.family)
    shown = MeterModel(board, circuit, meter, way.solve, way.solve_dead).read(readings)[0]
    measured = [Measured(reading=r, value=float(v)) for r, v in zip(readings, shown, strict=True)]
    for taken in (measured, *combinations(measured[:5], 3)):
        found = zcd.diagnose(board, *taken).diagnosis
        blamed = found.ranked[0]
        assert found.stopped != "sure" or blamed.key == HEALTHY.key
        assert blamed.key == HEALTHY.key or blamed.probability < 0.5, (taken, blamed)
