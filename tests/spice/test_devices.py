"""The published transistors: read as they are, calibrated, and as slow as their source says."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.boards import NOMINAL_VT_V
from zcd.spice.devices import base_current_a, device_of, devices, model_parameters
from zcd.spice.simulator import simulator


def deck(model: str, lines: str) -> str:
    device = devices()[model]
    values = " ".join(f"{k}={v!r}" for k, v in model_parameters(device).items())
    return f"a phototransistor\n{lines}.model law NPN({values})\n.options temp=25 tnom=25\n"


def test_each_family_has_a_device() -> None:
    assert device_of("817").model == "PC817"
    assert device_of("H11AA1").model == "4N25"
    assert device_of("785").model == "PC817"


@pytest.mark.parametrize("model", devices())
@pytest.mark.parametrize("collector_a", [1e-5, 1e-4, 1e-3, 1e-2])
def test_base_current_gives_the_collector_current(model: str, collector_a: float) -> None:
    """ngspice's own transistor at VCE = 5 V, the ohmic resistances included."""
    (base_a,) = base_current_a(devices()[model], [collector_a], NOMINAL_VT_V)
    lines = f"V1 c 0 5\nI1 c b {float(base_a)!r}\nQ1 c b 0 law\n"
    result = simulator().run(deck(model, lines) + ".op\n.end\n", None)
    assert_allclose(-result["v1#branch"], collector_a, rtol=2e-3)


@pytest.mark.transcribed(
    "SPICE-OPTOCOUPLERS",
    where="PC817.sub: CTR of the whole model at LED 0.1, 0.5, 1, 5, 10 mA, rank A and C, by hand",
    why="the values were computed elsewhere from the same model text and kept to a tenth of a %",
    rtol=3e-3,
)
@pytest.mark.parametrize(
    ("gain_s", "wanted"),
    [
        (1e-3, {0.1e-3: 0.425, 0.5e-3: 0.737, 1e-3: 0.894, 5e-3: 1.227, 10e-3: 1.300}),
        (2.3e-3, {0.1e-3: 1.321, 0.5e-3: 2.130, 1e-3: 2.487, 5e-3: 3.004, 10e-3: 2.945}),
    ],
    ids=["A", "C"],
)
def test_transistor_has_the_gain_of_its_source(
    gain_s: float, wanted: dict[float, float], published: SimpleNamespace
) -> None:
    """The model's own light: 2 ohm in series with the LED, that voltage times the rank's gain."""
    for led_a, ctr in wanted.items():
        lines = f"V1 c 0 5\nI1 c b {2.0 * led_a * gain_s!r}\nQ1 c b 0 law\n"
        lines = deck("PC817", lines).replace("temp=25 tnom=25", "temp=27 tnom=27")
        result = simulator().run(lines + ".op\n.end\n", None)
        assert_allclose(-result["v1#branch"][0] / led_a, ctr, rtol=published.rtol)


@pytest.mark.transcribed(
    "SPICE-OPTOCOUPLERS",
    where="PC817.sub, rank A: LED pulse of 1 mA, 5 V, from its end to the output at 2.5 V",
    why="simulated elsewhere from the same model text, printed to 1 us",
    atol=1.5e-6,
)
@pytest.mark.parametrize(("pull_up_ohm", "late_s"), [(10e3, 39e-6), (33e3, 96e-6), (100e3, 216e-6)])
def test_transistor_is_as_slow_as_its_source(
    pull_up_ohm: float, late_s: float, published: SimpleNamespace
) -> None:
    lines = (
        f"V1 s 0 5\nR1 s c {pull_up_ohm!r}\nI1 c b PULSE(0 2e-6 1e-4 1e-9 1e-9 1e-3 1)\n"
        "Q1 c b 0 law\n"
    )
    lines = deck("PC817", lines).replace("temp=25 tnom=25", "temp=27 tnom=27")
    result = simulator().run(lines + ".tran 1e-6 2e-3 0 1e-6\n.end\n", 2e-3)
    after = result["time"] > 1.1e-3
    time, volts = result["time"][after] - 1.1e-3, result["c"][after]
    assert_allclose(np.interp(2.5, volts, time), late_s, atol=published.atol)
