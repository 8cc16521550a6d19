"""Far beyond any board: an answer without NaN, or one plain refusal; never a hang."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, product
from typing import Any

import numpy as np
import pytest
from hypothesis import given

from tests.board.boards import SMALLEST
from tests.boards import VARIANTS, pull_up
from tests.engine.test_solve import solved_or_refused
from tests.fuzz.judge import require_clear, require_finite
from tests.fuzz.random_boards import EXTREME, boards
from tests.fuzz.test_physics import few, many
from zcd.board.files import board_from_dict
from zcd.board.model import Board, Capacitor
from zcd.board.toml_files import parse_toml
from zcd.circuit.build import Conditions, build_circuit
from zcd.engine.solve import solve
from zcd.errors import InputError, SolverError
from zcd.margin.check import nominal_check
from zcd.sync.lock import judge

ENDS: dict[str, tuple[float, float]] = {
    "chain": (0.0, 1e9),
    "mains": (1.0, 1000.0),
    "frequency": (10.0, 400.0),
    "ctr": (0.001, 20.0),
    "temperature": (-40.0, 125.0),
    "pull-up": (0.1, 1e9),
    "capacitor": (1e-12, 10e-6),
}
"""From what the least of each to the most that a technician may write."""
USUAL = {"chain": 120e3, "mains": 230.0, "frequency": 50.0, "ctr": 1.8, "temperature": 25.0,
         "pull-up": 10e3, "capacitor": 10e-9}  # fmt: skip


def circuit_of(name: str, rows: list[dict[str, float]]) -> Any:
    """A variant of the board with values of its own in each row."""
    columns = {key: np.array([row[key] for row in rows]) for key in USUAL}
    conditions = Conditions(
        mains_rms_v=columns["mains"],
        frequency_hz=columns["frequency"],
        temperature_degc=columns["temperature"],
        ctr_ratio=columns["ctr"],
    )
    whole = replace(
        VARIANTS[name],
        joint_capacitor=Capacitor(ref="C2", capacitance_f=1e-9),
        output=pull_up(pin_capacitor=Capacitor(ref="C4", capacitance_f=1e-9)),
    )
    circuit = build_circuit(whole, conditions)
    for ref in ("R1", "R2"):
        circuit = circuit.change(ref, resistance_ohm=columns["chain"])
    for ref in ("C2", "C4"):
        circuit = circuit.change(ref, capacitance_f=columns["capacitor"])
    return circuit.change("R3", resistance_ohm=columns["pull-up"])


@pytest.mark.parametrize("name", list(VARIANTS))
@pytest.mark.parametrize(("one", "other"), list(combinations(ENDS, 2)))
@pytest.mark.slow
def test_pairs_of_ends(name: str, one: str, other: str) -> None:
    for first, second in product(ENDS[one], ENDS[other]):
        solved_or_refused(circuit_of(name, [{**USUAL, one: first, other: second}]))


@pytest.mark.parametrize(
    "name",
    [
        "half-wave",
        *(
            pytest.param(name, marks=pytest.mark.slow)
            for name in ("clamped", "half-wave-clamped", "bridge", "two-led")
        ),
    ],
)
def test_all_corners_in_one_batch(name: str) -> None:
    """All ends of all quantities; a row without a solution may refuse the batch, in words."""
    rows = [dict(zip(ENDS, corner, strict=True)) for corner in product(*ENDS.values())]
    for part in np.array_split(np.array(rows, dtype=object), 8):
        solved_or_refused(circuit_of(name, list(part)))


def require_plain(error: SolverError) -> None:
    """One line, and no NaN in it."""
    assert "\n" not in str(error)
    assert "nan" not in str(error)


def answered(whole: Board) -> None:
    """A board's lock and stress, or a refusal of the solver."""
    try:
        result = solve(build_circuit(whole))
    except SolverError as error:
        require_plain(error)
        return
    require_finite(dict(result.voltages_v))
    require_finite(dict(result.currents_a))
    assert not np.isnan(judge(result, whole).margins).any()


def test_extreme_boards_are_answered() -> None:
    few(given(boards(EXTREME))(answered))()


@pytest.mark.slow
def test_many_extreme_boards_are_answered() -> None:
    many(given(boards(EXTREME))(answered))()


WRITTEN: list[dict[str, Any]] = [
    {"mains": "1 V 10 Hz"},
    {"mains": "1000 V 400 Hz"},
    {"chain": {"resistors": ["0R1"]}},
    {"chain": {"resistors": ["1G"] * 12}},
    {"chain": {"resistors": ["10k"] * 12}, "mains": "1000 V"},
    {"optocoupler": {"family": "817", "ctr": "0.1 %"}},
    {"optocoupler": {"ctr": "2000 %", "remaining": "0.1 %"}},
    {"service": {"bench_temperature": "-40 °C", "hot_temperature": "125 °C"}},
    {"output": {"pull_up": "1G", "supply": "1 V", "pin_capacitor": "1 uF"}},
    {"led": {"capacitor": "1 uF", "resistor": "0R1"}},
]


@pytest.mark.parametrize("keys", WRITTEN, ids=lambda keys: str(keys)[:60])
def test_a_check_of_what_may_be_written_is_answered(keys: dict[str, Any]) -> None:
    """Every rule has a number, or the solver says in one line that there is none."""
    result = parse_toml(SMALLEST, "", "")
    try:
        verdict = nominal_check(board_from_dict({**result, **keys}))
    except InputError as error:
        require_clear(error)
        return
    except SolverError as error:
        require_plain(error)
        return
    for rule in verdict.rules:
        kept = rule.status == "pass"
        assert not kept or np.isnan(rule.value) == np.isnan(rule.limit), rule.name
