"""Where the whole voltage at once is too much for Newton's method, it is raised in steps."""

from __future__ import annotations

import pytest

import zcd

TEXT = """mains = "230 V 50 Hz"
optocoupler = "817B"
circuit = [
    "line - R1 33k - R2 33k - ZD1 24V {way} - D1 1N4007 > - led+",
    "led- - neutral",
    "led+ - D2 1N4148 < - led-",
]
chain = {{style = "1/2 W"}}
output = {{pull_up = "10k", supply = "5 V"}}
"""


@pytest.mark.parametrize("way", ["<", ">"])
def test_a_zener_and_a_diode_in_series_over_all_tolerances(way: str) -> None:
    """Nothing but their leakage holds the point between them; the other way the zener conducts."""
    check = zcd.check(zcd.loads(TEXT.format(way=way)))
    assert check.passes
    led_peak_a = check.levels[1].led_peak_a
    drop_v = 24.0 if way == "<" else 0.7
    assert led_peak_a == pytest.approx((230.0 * 2.0**0.5 - drop_v - 1.8) / 66e3, rel=0.02)
