"""The figure of one mains period says what was solved."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from tests.boards import BOTH_HALVES, VARIANTS, mains
from tests.jobs.demo_job import DARK, solved
from zcd.board.model import Board, Harmonic
from zcd.circuit.build import Conditions, build_circuit
from zcd.drawing.waveforms import waveform_figure, waveform_title
from zcd.engine.solve import solve
from zcd.report.text import crossing_text, offset_text, quantity_text
from zcd.sync.lock import judge


def figure_of(board: Board) -> Figure:
    solution = solve(build_circuit(board))
    return waveform_figure(board, solution, judge(solution, board))


def marked(figure: Figure, label: str) -> list[Any]:
    """What was drawn under a label."""
    return [artist for artist in figure.findobj() if artist.get_label() == label]


def words(figure: Figure) -> str:
    texts: list[Any] = figure.findobj(Text)
    return "\n".join(text.get_text() for text in texts)


def test_axes_are_labelled_with_units_and_share_time() -> None:
    figure = waveform_figure(solved().board, solved().solution, solved().lock)
    mains_axes, led, pin = figure.axes
    assert [ax.get_ylabel() for ax in figure.axes] == [
        "mains [V]",
        "LED current [mA]",
        "sync pin [V]",
    ]
    assert pin.get_xlabel() == "time [ms]"
    period = pytest.approx((0.0, 1e3 / 60.0))
    assert mains_axes.get_xlim() == led.get_xlim() == pin.get_xlim() == period


@pytest.mark.parametrize("name", VARIANTS)
def test_every_edge_is_marked_once(name: str) -> None:
    figure = figure_of(VARIANTS[name])
    pulses = 2 if name in BOTH_HALVES else 1
    assert len(marked(figure, "falling-edge")) == pulses
    assert len(marked(figure, "rising-edge")) == pulses


def test_edges_stand_where_and_say_what_was_solved() -> None:
    case = solved()
    figure = waveform_figure(case.board, case.solution, case.lock)
    (fall,) = marked(figure, "falling-edge")
    pulses = case.lock.pulses
    assert fall.get_xdata()[0] == pytest.approx(1e3 * pulses.fall_s[0, 0])
    said = words(figure)
    assert f"falls {offset_text(pulses.fall_offset_s[0, 0])}" in said
    assert f"rises {offset_text(pulses.rise_offset_s[0, 0])}" in said
    assert f"low for {quantity_text(pulses.low_time_s[0, 0], 's')}" in said


def test_undefined_band_is_hatched_between_the_thresholds() -> None:
    case = solved()
    figure = waveform_figure(case.board, case.solution, case.lock)
    (band,) = marked(figure, "undefined-band")
    assert band.get_hatch()
    controller = case.board.controller
    assert band.get_y() == controller.low_threshold_v
    for name, level in (("low", controller.low_threshold_v), ("high", controller.high_threshold_v)):
        (line,) = marked(figure, f"{name}-threshold")
        assert line.get_ydata()[0] == level


@pytest.mark.parametrize("harmonics", [(), (Harmonic(order=3, ratio=0.05, phase_rad=np.pi / 2),)])
@pytest.mark.parametrize("frequency_hz", [50.0, 60.0])
def test_crossing_lines_go_through_the_zeros_of_the_mains(
    harmonics: tuple[Harmonic, ...], frequency_hz: float
) -> None:
    board = replace(
        VARIANTS["half-wave"], mains=mains(frequency_hz=frequency_hz, harmonics=harmonics)
    )
    figure = figure_of(board)
    (wave,) = (line for line in figure.axes[0].lines if line.get_label() == "wave")
    times, volts = np.asarray(wave.get_xdata()), np.asarray(wave.get_ydata())
    crossings = [line.get_xdata()[0] for line in marked(figure, "crossing")]
    at = np.flatnonzero(np.signbit(volts[:-1]) != np.signbit(volts[1:]))
    slope = (volts[at + 1] - volts[at]) / (times[at + 1] - times[at])
    zeros = times[at] - volts[at] / slope
    assert zeros.size
    for zero in zeros:
        assert np.min(np.abs(np.array(crossings) - zero)) < 5e-3  # the curve is drawn in chords


def test_mean_led_current_is_marked() -> None:
    case = solved()
    figure = waveform_figure(case.board, case.solution, case.lock)
    (line,) = marked(figure, "mean")
    assert line.get_ydata()[0] == pytest.approx(1e3 * case.check.levels[1].led_mean_a)


def test_both_leds_are_summed() -> None:
    board = VARIANTS["two-led"]
    figure = figure_of(board)
    assert "both LEDs" in figure.axes[1].get_ylabel()
    (wave,) = (line for line in figure.axes[1].lines if line.get_label() == "wave")
    times, current = np.asarray(wave.get_xdata()), np.asarray(wave.get_ydata())
    first, second = current[times < 10.0], current[times > 10.0]
    assert np.max(first) == pytest.approx(np.max(second), rel=0.01)


def test_a_pulse_over_the_end_of_the_period_is_drawn_in_two_pieces() -> None:
    case = solved()
    fall, low = case.lock.pulses.fall_s.copy(), case.lock.pulses.low_time_s
    fall[0, 0] = 15e-3
    late = replace(case.lock, pulses=replace(case.lock.pulses, fall_s=fall))
    figure = waveform_figure(case.board, case.solution, late)
    assert len(marked(figure, "low-time")) == 2
    (rise,) = marked(figure, "rising-edge")
    assert rise.get_xdata()[0] == pytest.approx(15.0 + 1e3 * low[0, 0] - 1e3 / 60.0)


def test_title_says_that_it_locks_or_which_rule_failed() -> None:
    case, dark = solved(), solved(DARK)
    locks = waveform_figure(case.board, case.solution, case.lock)
    fails = waveform_figure(dark.board, dark.solution, dark.lock)
    fall = crossing_text(case.lock.pulses.fall_offset_s[0, 0])
    assert locks.get_suptitle() == f"Sync works: the pin falls {fall}"
    assert fails.get_suptitle() == "No sync: pin never low"
    assert "no sync pulse" in words(fails)
    assert not marked(fails, "falling-edge")


def test_title_says_that_a_row_has_not_settled() -> None:
    case = solved()
    moving = replace(case.solution, settled=np.array([False]))
    title = waveform_figure(case.board, moving, case.lock).get_suptitle()
    assert "not settled" in title


def test_another_row_of_a_batch_is_drawn() -> None:
    board = VARIANTS["half-wave"]
    solution = solve(build_circuit(board, Conditions(mains_rms_v=np.array([230.0, 115.0]))))
    figure = waveform_figure(board, solution, judge(solution, board), row=1)
    assert "115 V rms" in words(figure)


def test_a_dark_led_is_said_to_be_dark_on_an_axis_that_shows_it() -> None:
    figure = waveform_figure(solved(DARK).board, solved(DARK).solution, solved(DARK).lock)
    assert "no LED current" in words(figure)
    assert figure.axes[1].get_ylim()[1] >= 0.1  # mA


def test_verdict_of_the_picture_is_that_of_the_rules() -> None:
    """An expectation that is not met warns, here as in the check."""
    board = VARIANTS["emitter follower"]
    figure, lock = figure_of(board), judge(solve(build_circuit(board)), board)
    assert lock.status(0) == "pass"
    assert figure.get_suptitle().startswith("Sync works: ")
    assert "Warning" not in figure.get_suptitle()
    worst = judge(solve(build_circuit(board)), board, worst=True)
    unmet = replace(worst, binding=(False,) * len(lock.binding))
    assert worst.status(0) == "fail"
    assert unmet.status(0) == "warning"
    assert ". Warning: " in waveform_title(board, solve(build_circuit(board)), unmet, 0)
