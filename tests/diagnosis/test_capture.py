"""Captures in the layouts that scopes write, with the truth known from how they were made."""

from __future__ import annotations

from pathlib import Path
from time import process_time

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

import zcd
from tests.diagnosis.boards import board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.capture import Capture, load_capture, read_capture
from zcd.diagnosis.capture_measurements import find_traces
from zcd.diagnosis.capture_verdict import judge_capture
from zcd.diagnosis.fault_dictionary import make_fault_dictionary
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.reading_syntax import parse_reading
from zcd.diagnosis.retest import RepeatedReading, retest
from zcd.errors import InputError
from zcd.report.of_capture import _shown_beside

FloatArray = NDArray[np.float64]

STEP_S, PERIOD_S, LOW_S, LATE_S = 10e-6, 0.02, 9e-3, 600e-6
TIME_S = np.arange(-0.041, 0.063, STEP_S)


def pin(low_s: float = LOW_S, missing: tuple[int, ...] = ()) -> FloatArray:
    """A 5 V pin that falls `LATE_S` after each rising crossing, straight edges of 100 us."""
    phase = (TIME_S - LATE_S) % PERIOD_S
    number = np.floor((TIME_S - LATE_S) / PERIOD_S).astype(int)
    slope = 100e-6
    wave = 5.0 - 5.0 * np.clip(phase / slope, 0.0, 1.0) + 5.0 * np.clip(
        (phase - low_s) / slope, 0.0, 1.0
    )  # fmt: skip
    return np.where(np.isin(number, missing), 5.0, wave)


MAINS_V = 3.25 * np.sin(2.0 * np.pi * TIME_S / PERIOD_S)


def written(path: Path, lines: list[str]) -> Path:
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def rows(form: str, *columns: FloatArray) -> list[str]:
    return [form.format(*values) for values in zip(*columns, strict=True)]


COMMA = "{:.6e},{:.4f}"
LAYOUTS: dict[str, list[str]] = {
    "seconds, volts": ["time (s),CH1 (V)", *rows(COMMA, TIME_S, pin())],
    "no head": rows(COMMA, TIME_S, pin()),
    "units in a line of their own": ["x-axis,1", "second,Volt", *rows(COMMA, TIME_S, pin())],
    "milliseconds, millivolts": [
        "Time [ms],A [mV]", *rows("{:.4f},{:.2f}", TIME_S * 1e3, pin() * 1e3),
    ],
    "decimal comma": [
        "Zeit (ms);Kanal A (V)", "",
        *[line.replace(".", ",") for line in rows("{:.4f};{:.3f}", TIME_S * 1e3, pin())],
    ],
    "tabs": ["t in us\tCH1 in V", *rows("{:.1f}\t{:.3f}", TIME_S * 1e6, pin())],
    "blanks": rows("  {:.6f}   {:.3f}", TIME_S, pin()),
    "settings beside the data": [
        f'"Record Length",2500,"Points",{t:.6f},{v:.4f}' if n < 6 else f",,,{t:.6f},{v:.4f}"
        for n, (t, v) in enumerate(zip(TIME_S, pin(), strict=True))
    ],
    "index first": [
        "n,time (s),V", *rows("{:.0f},{:.6f},{:.4f}", np.arange(TIME_S.size), TIME_S, pin()),
    ],
    "step in the head": ["Sample Interval,1e-05", "CH1", *rows("{:.4f}", pin())],
    "step under its label": [
        "X,CH1,Start,Increment", "Sequence,Volt,-4.1e-02,1.0e-05",
        *rows("{:.0f},{:.4f},,", np.arange(TIME_S.size), pin()),
    ],
    "time with few digits": rows("{:.4f},{:.4f}", TIME_S, pin()),
    "trailing delimiter": rows("{:.6f},{:.4f},", TIME_S, pin()),
}  # fmt: skip


@pytest.mark.parametrize("name", list(LAYOUTS))
def test_layouts_of_scopes(name: str, tmp_path: Path) -> None:
    traces = find_traces(load_capture(written(tmp_path / "c.csv", LAYOUTS[name])), board())
    assert traces.falls_s.size == 5
    assert traces.missing == 0
    # both edges pass their threshold 80 us after they begin: 1 V of 5 V, and 4 V
    coarse = 60e-6 if name == "time with few digits" else 2e-6
    assert_allclose(traces.low_times_s, LOW_S, atol=coarse)
    assert_allclose(traces.interval_s, PERIOD_S, atol=coarse)


def test_second_channel_is_the_mains(tmp_path: Path) -> None:
    """In either order; the edge is late by what it was made late, to the threshold crossing."""
    for columns in ((pin(), MAINS_V), (-MAINS_V, pin())):
        lines = rows("{:.6f},{:.4f},{:.4f}", TIME_S, *columns)
        traces = find_traces(load_capture(written(tmp_path / "c.csv", lines)), board())
        assert_allclose(traces.mains_hz, 50.0, atol=0.02)
        assert_allclose(traces.offsets_s, LATE_S + 80e-6, atol=5e-6)
        shown = {m.reading.function: m.value for m in traces.readings}
        assert_allclose(shown[Function.FREQUENCY], 50.0, atol=0.01)
        assert_allclose(shown[Function.LOW_TIME], LOW_S, atol=2e-6)
        assert_allclose(shown[Function.EDGE_DELAY], LATE_S + 80e-6, atol=5e-6)


def test_noise_is_no_edge() -> None:
    """A tenth of a volt is far inside the thresholds' distance."""
    noise = 0.1 * np.random.default_rng(3).standard_normal(TIME_S.size)
    capture = Capture(name="noisy", time_s=TIME_S, channels_v=(pin() + noise)[None])
    traces = find_traces(capture, board())
    assert traces.falls_s.size == 5
    assert 0.0 < traces.low_jitter_s < 20e-6


def test_missing_pulses_are_counted_and_make_it_unstable() -> None:
    capture = Capture(name="gaps", time_s=TIME_S, channels_v=pin(missing=(0,))[None])
    traces = find_traces(capture, board())
    assert (traces.falls_s.size, traces.missing) == (4, 1)
    low = next(m for m in traces.readings if m.reading.function is Function.LOW_TIME)
    assert low.unstable


def test_no_pulse_is_a_reading_too() -> None:
    capture = Capture(name="flat", time_s=TIME_S, channels_v=np.full((1, TIME_S.size), 4.98))
    shown = {m.reading.function: m.value for m in find_traces(capture, board()).readings}
    mean_v = pytest.approx(4.98)
    assert shown == {Function.FREQUENCY: 0.0, Function.LOW_TIME: 0.0, Function.DC: mean_v}


def test_a_pin_that_swings_too_little_leads_to_the_pin_and_not_to_the_chain() -> None:
    """A leak from the pin to its ground divides the pull-up's volts (Ohm's law): 2 V for 5 V. Its
    mean over whole periods says so, though no pulse reaches the high level."""
    low = pin() < 2.5
    capture = Capture(name="leak", time_s=TIME_S, channels_v=np.where(low, 0.2, 2.0)[None])
    traces = find_traces(capture, board())
    assert traces.falls_s.size == 0
    share = LOW_S / PERIOD_S
    assert traces.mean_v == pytest.approx(0.2 * share + 2.0 * (1.0 - share), abs=0.01)
    assert not traces.good
    case = zcd.diagnose(board(), *traces.readings, flags=("sync",))
    chain = sum(r.probability for r in case.ranked if r.key in {"R1 open", "R2 open"})
    leaks = sum(r.probability for r in case.ranked if "pin leaky" in r.key)
    assert leaks > 10.0 * chain


BAD: dict[str, tuple[list[str], str]] = {
    "short": (["0,1"] * 5, "5 lines"),
    "text": (["a long letter"] * 200, "without columns of numbers"),
    "no time": (rows("{:.4f},{:.4f}", pin(), MAINS_V), "no column of time"),
    "no unit": (rows("{:.3f},{:.4f}", TIME_S * 1e6, pin()), "without a unit"),
    "three channels": (
        rows("{:.6f},{:.4f},{:.4f},{:.4f}", TIME_S, pin(), MAINS_V, pin()), "3 columns of volts",
    ),
    "holes": (
        [line if n % 5 else "??" for n, line in enumerate(rows(COMMA, TIME_S, pin()))],
        "found",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", list(BAD))
def test_what_cannot_be_told_is_refused(name: str, tmp_path: Path) -> None:
    lines, match = BAD[name]
    with pytest.raises(InputError, match=match) as caught:
        load_capture(written(tmp_path / "c.csv", lines))
    assert str(caught.value).startswith("c.csv: found ")
    assert "allowed: " in str(caught.value)


def test_files_that_are_none(tmp_path: Path) -> None:
    (tmp_path / "c.csv").write_bytes(b"\0\1\2" * 500)
    for path, match in (
        (tmp_path / "c.csv", "no text"), (tmp_path / "gone.csv", "no such file"),
        (tmp_path, "a directory"), (Path("/dev/zero"), "no ordinary file"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=match):
            load_capture(path)


def test_two_channels_without_mains_are_refused() -> None:
    capture = Capture(name="two", time_s=TIME_S, channels_v=np.stack([pin(), pin(5e-3)]))
    with pytest.raises(InputError, match="neither of them a mains sine"):
        find_traces(capture, board())


def test_less_than_a_period_is_refused() -> None:
    some = slice(0, 1500)
    capture = Capture(name="brief", time_s=TIME_S[some], channels_v=pin()[None, some])
    with pytest.raises(InputError, match="periods or more"):
        find_traces(capture, board())


def test_a_million_lines_are_read_in_seconds() -> None:
    """With a torn line in their middle, which costs its own piece only."""
    rows = [f"{n * 1e-6:.6f},{0.1 if n % 20_000 < 9_000 else 4.9}\n" for n in range(1_000_000)]
    rows[500_000] = "0.5000,\n"
    data = ("time,pin\n" + "".join(rows)).encode()
    began = process_time()
    capture = read_capture(data, "long.csv")
    assert process_time() - began < 3.0
    assert capture.time_s.size == 999_999
    assert capture.channels_v[0, :10].tolist() == [0.1] * 10


def test_a_line_without_end_is_refused() -> None:
    rows = "".join(f"{n * 1e-4:.4f},{n % 2}\n" for n in range(200))
    with pytest.raises(InputError, match="found a line of 30000 characters; allowed: lines up to"):
        read_capture(("increment " * 3_000 + "\n" + rows).encode(), "scope.csv")


@pytest.mark.parametrize("name", ["half-wave", "two-led"])
def test_a_capture_and_a_retest_have_one_band(name: str) -> None:
    """The same boards are drawn for both, so that no reading is good here and bad there."""
    found = judge_capture(
        find_traces(Capture(name="c.csv", time_s=TIME_S, channels_v=pin()[None]), board(name))
    )
    made = make_fault_dictionary(board(name), usual_meter())
    again = retest(made, [each.measured for each in found.readings])
    bands = [[(e.low, e.high) for e in readings] for readings in (found.readings, again.readings)]
    assert_allclose(bands[0], bands[1], rtol=1e-9)


def test_a_capture_is_not_compared_with_what_meters_miss() -> None:
    """A board whose gaps some meters do not count: on an oscilloscope it has 120 Hz, never 0."""
    low = RepeatedReading(
        measured=parse_reading("frequency 120 Hz", build_circuit(board("two-led"))),
        low=0.0, middle=120.0, high=120.0, good=True,
    )  # fmt: skip
    assert _shown_beside(low) == ("120 Hz", "120 Hz")
