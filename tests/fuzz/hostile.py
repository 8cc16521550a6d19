"""What nobody should type: values, texts and keys that have broken readers of files elsewhere."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Any

from hypothesis import strategies as st

NUMBERS: tuple[Any, ...] = (
    0, -1, 1, 2, 3, 50, 230, 2**31, 2**63, -(2**63), 10**30, 10**400,
    0.0, -0.0, 0.5, 1e-300, 5e-324, 1e300, -1e300, float("inf"), float("-inf"), float("nan"),
)  # fmt: skip

TEXTS: tuple[str, ...] = (
    "", " ", "0", "-5", "1e400", "1e-400", "nan", "inf", "-inf V", "NaN V", "1e308k", "230 V",
    "120k", "4k7", "k47", "0R1", "4K7", "4m7", "2,2k", "1 000", "1_000", "٣k", "１２０k", "½ W",
    "1/0 W", "1/4 W", "10 nF", "10 µF", "10 μF", "5 %", "-5 %", "105 %", "0x10", "1e3", "120k ",
    "120 k Ω", "120kΩ\u202e", "a\x00b", "a\nb", "a\tb", "\x1b[31mred", "\ufeff120k", "😀", "é" * 50,
    "<b>&amp;</b>", "[red]x[/red]", "{x}", "%s%n", "../../etc/passwd", "x" * 10_000, "9" * 5_000,
    "817C", "1N4007", "half-wave", "halfwave", "sync", "skipped", "OL", "< 5 V", "1..2", "..",
    "about 5", "5 to", "R1", "r1", "pin", "true", "healthy", "null", "None",
)  # fmt: skip

PLAUSIBLE: tuple[Any, ...] = (
    "100k", "1M", "4k7", "0R1", "1G", "10", "230 V", "120 V 60 Hz", "1 V", "1 kV", "400 Hz", "3V3",
    "5 %", "50 %", "0 %", "200 us", "2 ms", "60 °C", "-40 °C", "10n", "1p", "1 uF", "8760 h",
    "1N4148", "817", "814", "H11AA1", "A", "1206", "1/4 W", "two-led", "bridge", "clamped",
    "switched", "direct", "falling", "rising", "E96", "E6", "R7", "D9", 1, 2, 3, 0, 0.5, 100e3,
    True, False,
)  # fmt: skip
"""What is right at one place or another."""

MOMENTS = (date(2026, 1, 2), datetime(2026, 1, 2, 3, 4, 5), time(1, 2, 3))

scalars = st.one_of(
    st.sampled_from(NUMBERS),
    st.sampled_from(TEXTS),
    st.booleans(),
    st.sampled_from(MOMENTS),
    st.integers(),
    st.floats(width=64),
    st.text(max_size=20),
)


def _deep(levels: int) -> Any:
    """Lists in lists."""
    value: Any = 1
    for _ in range(levels):
        value = [value]
    return value


values = st.one_of(
    scalars,
    st.lists(scalars, max_size=4),
    st.dictionaries(st.sampled_from(("value", "ref", "part", "x", "")), scalars, max_size=3),
    st.builds(_deep, st.integers(2, 60)),
    st.builds(lambda value, count: [value] * count, scalars, st.integers(5, 2_000)),
)

keys = st.one_of(
    st.sampled_from(("", "ref", "Mains", "mains ", "suply", "suppy", "resistor", "x" * 300, "é",
                     "a.b", 'a"b', "a\nb", "\x1b[2J", "__class__", "model_config", "model_fields",
                     "value", "values", "part", "name", "board", "readings")),
    st.text(max_size=12),
)  # fmt: skip


@st.composite
def quantities(draw: st.DrawFn) -> object:
    """A quantity nearly as a person writes it, or nothing of the kind."""
    if draw(st.booleans()):
        return draw(scalars)
    number = draw(
        st.one_of(
            st.decimals(-1e6, 1e6, allow_nan=False).map(str),
            st.floats(width=32).map(str),
            st.sampled_from(("4k7", "1R0", "k47", "1e400", "0", "150m", "100.000", "1,5", "+ 3")),
        )
    )
    gap = draw(st.sampled_from(("", " ", "  ", "\t", "\u00a0", "_")))
    unit = draw(
        st.one_of(
            st.sampled_from(("", "k", "M", "m", "u", "µ", "n", "p", "G", "T", "V", "mV", "Ω", "ohm",
                             "kΩ", "%", "Hz", "us", "°C", "C", "nF", "W", "V 50 Hz", "rpm", "deg")),
            st.text(max_size=3),
        )
    )  # fmt: skip
    return f"{number}{gap}{unit}"
