"""Captures nearly as oscilloscopes write them, and what cables, editors and hands make of them."""

from __future__ import annotations

from hypothesis import strategies as st

from tests.fuzz.documents import bytes_of

CELLS = ("", "nan", "inf", "-inf", "1e400", "OL", "9" * 400, "1,5", "--", "0", "1e-400", "é", '"',
         "1;2", "٣", "1e9999999", "\x00", "-1.0", "+2.5E-3", "1.2.3")  # fmt: skip

HEADS = (
    "", "time,pin\n", "Time (ms);Volt (V)\n", "s,V,V\n", "Model,Invented 4\nSample Interval,2e-4\n",
    "Increment,0\n", "interval 1.2.3\n", "increment,-1e-4\n", "interval,1e400\n", "in ms,in mV\n",
    "[us]\t[kV]\n", "time [furlongs],pin\n", "\n\n\n", "sep=;\n",
)  # fmt: skip


@st.composite
def capture_texts(draw: st.DrawFn) -> str:
    """Some periods of a pin, or something in its place, with cells changed."""
    lines = draw(st.sampled_from((0, 50, 99, 100, 101, *(800,) * 12)))
    step = draw(st.sampled_from((*(2e-4,) * 12, 1e-6, 0.0, -2e-4, 1.0, 1e300, 1e-320, 60.0)))
    shape = draw(st.sampled_from((*("square",) * 5, "flat", "steps", "saw", "huge", "tiny")))
    columns = draw(st.sampled_from((0, 1, 1, 1, 1, 2, 2, 3, 4)))
    delimiter = draw(st.sampled_from((",", ",", ",", ";", "\t", " ", ", ", "|", "")))
    comma = draw(st.booleans()) and delimiter.strip() != ","
    rows = []
    for n in range(lines):
        cells = [repr(n * step) if n * step else "0"]
        cells += [f"{_level(shape, n + 7 * k):.4g}" for k in range(columns)]
        rows.append([cell.replace(".", ",") if comma else cell for cell in cells])
    if rows and draw(st.booleans()):
        for _ in range(draw(st.integers(1, 6))):
            row = rows[draw(st.integers(0, len(rows) - 1))]
            row[draw(st.integers(0, len(row) - 1))] = draw(st.sampled_from(CELLS))
    body = "\n".join(delimiter.join(row) for row in rows)
    return draw(st.sampled_from(HEADS)) + body + draw(st.sampled_from(("\n", "", "\n\n1,")))


def _level(shape: str, n: int) -> float:
    """One sample of a pin at 50 samples a period."""
    match shape:
        case "square":
            return 0.1 if n % 50 < 22 else 4.9
        case "steps":
            return float(n % 3)
        case "saw":
            return (n % 50) / 10.0 - 1.0
        case "huge":
            return 1e308 if n % 2 else -1e308
        case "tiny":
            return 1e-320 * (n % 2)
        case _:
            return 5.0


def capture_files() -> st.SearchStrategy[bytes]:
    """Captures as bytes."""
    return capture_texts().flatmap(bytes_of)
