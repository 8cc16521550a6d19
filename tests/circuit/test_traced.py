"""A traced board is the named topology, element for element, and both solve alike."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from zcd.board.files import board_from_dict
from zcd.circuit.build import build_circuit
from zcd.engine.solve import solve

COMMON = {"mains": "230 V 50 Hz", "output": {"pull_up": "12k", "supply": "5 V"}}
LED_R = "led+ - R9 4k7 - led-"
PAIRS: dict[str, tuple[dict[str, Any], list[str]]] = {
    "half-wave": (
        {"chain": {"resistors": ["R1 36k", "R2 39k"]}, "rectifier": {"part": "M7", "ref": "D1"}},
        ["feed - R1 36k - R2 39k - D1 M7 > - led+", "led- - neutral"],
    ),
    "rectifier first": (
        {
            "chain": {"resistors": ["R1 36k", "R2 39k"], "rectifier_first": True},
            "rectifier": {"part": "M7", "ref": "D1"},
            "led": {"resistor": {"value": "4k7", "ref": "R9"}},
        },
        ["feed - D1 M7 > - R1 36k - R2 39k - led+", "led- - neutral", LED_R],
    ),
    "clamped": (
        {
            "chain": {"topology": "clamped", "resistors": ["R1 36k", "R2 39k"]},
            "clamp": {"part": "1N4148", "ref": "D2"},
        },
        ["feed - R1 36k - R2 39k - led+", "led- - neutral", "led+ - D2 1N4148 < - led-"],
    ),
    "half-wave-clamped": (
        {
            "chain": {
                "topology": "half-wave-clamped", "resistors": ["R1 36k", "R2 39k"],
                "parallel": [["R5 150k", "R6 82k"]],
                "joint_capacitor": {"after": 1, "capacitance": "4n7"},
            },
            "rectifier": {"part": "M7", "ref": "D1"}, "clamp": {"part": "1N4148", "ref": "D2"},
        },
        [
            "feed - R1 36k - x - R2 39k - y - D1 M7 > - led+", "led- - neutral",
            "feed - R5 150k - R6 82k - y", "led+ - D2 1N4148 < - led-", "x - C1 4n7 - neutral",
        ],
    ),
    "bridge": (
        {
            "chain": {
                "topology": "bridge", "resistors": ["R1 36k"], "return_resistors": ["R2 39k"],
            },
            "rectifier": {"part": "M7", "ref": "D1"},
            "led": {"resistor": {"value": "4k7", "ref": "R9"}},
        },
        [
            "feed - R1 36k - BR1~1", "neutral - R2 39k - BR1~2", "BR1 M7", "BR1+ - led+",
            "BR1- - led-", LED_R,
        ],
    ),
    "two-led": (
        {"chain": {"topology": "two-led", "resistors": ["R1 36k", "R2 39k"]}},
        ["feed - R1 36k - R2 39k - led+", "led- - neutral"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", PAIRS)
def test_traced_is_the_named_topology(name: str) -> None:
    """LED current and pin at every point of time, to the tolerance of Newton's method."""
    keys, lines = PAIRS[name]
    opto = {"optocoupler": "814A" if name == "two-led" else "817B"}
    named = board_from_dict({**COMMON, **opto, **keys})
    traced = board_from_dict({**COMMON, **opto, "circuit": lines})
    assert traced.lit_twice == named.lit_twice
    ours, theirs = (build_circuit(board) for board in (traced, named))
    values = [sorted(repr(e.values()) for e in circuit) for circuit in (ours, theirs)]
    assert values[0] == values[1]
    first, second = solve(ours), solve(theirs)
    np.testing.assert_allclose(first.phase_rad, second.phase_rad, atol=1e-6)
    for wave, other in (
        (first.currents_a["OC1.led"], second.currents_a["OC1.led"]),
        (first.voltages_v["pin"], second.voltages_v["pin"]),
    ):
        np.testing.assert_allclose(wave, other, atol=1e-5 * np.max(np.abs(other)))


def test_two_optocouplers() -> None:
    board = board_from_dict(
        {
            **COMMON,
            "optocoupler": "817B",
            "circuit": [
                "feed - R1 36k - R2 39k - led+", "led- - neutral",
                "neutral - led2+", "led2- - led+",
            ],
        }
    )  # fmt: skip
    circuit = build_circuit(board)
    assert circuit["OC2"].nodes == circuit["OC1"].nodes
    assert circuit["OC2"].leds == ("OC2.led",)  # type: ignore[attr-defined]
    solution = solve(circuit)
    lit = [solution.currents_a[f"OC{n}.led"][0].max() for n in (1, 2)]
    assert lit[0] == pytest.approx(lit[1], rel=1e-6)


@pytest.mark.parametrize(("rms_v", "hertz"), [(120.0, 60.0), (144.0, 60.0), (120.0, 50.0)])
def test_a_zener_in_series_delays_the_light(rms_v: float, hertz: float) -> None:
    """D. Williams, an AC line monitor, EDN 2007: a 47 V zener and an LED of 1.2 V in series.

    VE = Vpk cos(2 pi f tON) with VE = 48.2 V; the light lasts 2 tON. Within 0.5 %, as the
    zener of the article has no knee.
    """
    board = board_from_dict(
        {
            **COMMON,
            "mains": f"{rms_v:g} V {hertz:g} Hz",
            "optocoupler": "817B",
            "circuit": [
                "feed - R1 22k - ZD1 47V < - led+", "led- - neutral",
                "led+ - D1 1N4148 < - led-",
            ],
        }
    )  # fmt: skip
    solution = solve(build_circuit(board))
    over_a, phase = solution.currents_a["OC1.led"][0] - 20e-6, solution.phase_rad[0]
    at = np.flatnonzero(over_a[:-1] * over_a[1:] < 0.0)
    share = over_a[at] / (over_a[at] - over_a[at + 1])
    begin, end = phase[at] + share * (phase[at + 1] - phase[at])
    on_s = 2.0 * np.arccos(48.2 / (np.sqrt(2.0) * rms_v)) / (2.0 * np.pi * hertz)
    assert (end - begin) / (2.0 * np.pi * hertz) == pytest.approx(on_s, rel=5e-3)
