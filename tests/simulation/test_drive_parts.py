"""Couplers and triacs for the fan: refused with the reason, taken by current and class."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.diagnosis.boards import TEXTS, board
from zcd.board.drive_parts import drive_part, every_drive_part
from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.physics.motor import run
from zcd.physics.triac import derated_current_a
from zcd.simulation.drive import motor_of
from zcd.simulation.drive_parts import SwitchFit, allowed_current_a, switch_need, switches


def _read(key: str, where: str) -> pytest.MarkDecorator:
    return pytest.mark.transcribed(key, where=where, why="figures of the sheet, exact", rtol=0.0)


def with_fan(power: str) -> Board:
    return parse_board(f'{TEXTS["half-wave"]}[fan]\npower = "{power}"\n')


def found(of: Board) -> dict[str, SwitchFit]:
    return {fit.part.part: fit for fit in switches(of, every_drive_part()).fits}


def test_every_zero_cross_part_is_refused_with_the_reason() -> None:
    for fit in found(board()).values():
        if fit.part.mode == "zero-cross":
            assert not fit.fits
            assert fit.first_failed is not None
            assert fit.first_failed.name == "phase control"
            assert "whole half cycles" in fit.first_failed.remark


def test_a_larger_fan_needs_a_larger_coupler() -> None:
    """0.3, 1.5, 8 and 16 A at 60 degC on the line from 40 to 100 degC: 2/3 of that."""
    rated = {"BRT12H": 0.3, "S201DH1": 1.5, "S202S01": 8.0, "S216S01": 16.0}
    smallest = []
    for power in ("15 W", "25 W", "40 W", "80 W", "130 W", "400 W", "900 W", "2 kW"):
        need = switch_need(with_fan(power))
        fits = found(with_fan(power))
        for name, rated_a in rated.items():
            assert fits[name].fits is (need.blocked_a <= rated_a * 2.0 / 3.0)
        smallest.append(next((name for name in rated if fits[name].fits), None))
    assert list(dict.fromkeys(smallest)) == [*rated, None]


def test_need_is_that_of_the_motor_at_high_mains() -> None:
    of = board()
    need = switch_need(of)
    motor = motor_of(of)
    assert of.appliance is not None
    running = run(motor, of.appliance.fan.full_rpm, of.mains.high_rms_v)
    # apparent power of the motor is not below what it takes
    assert need.running_a * of.mains.high_rms_v >= float(running.input_w)
    assert need.blocked_a > need.running_a
    assert need.peak_v == pytest.approx(np.sqrt(2.0) * 253.0)


def test_voltage_class_by_mains() -> None:
    """400 V parts on 120 V, 600 V parts on 230 V (common practice, no source)."""
    low = parse_board(TEXTS["half-wave"].replace("230 V 50 Hz", "120 V 60 Hz"))
    for name, on_low, on_high in (
        ("MOC3010M", False, False),
        ("MOC3022M", True, False),
        ("MOC3052M", True, True),
    ):
        assert found(low)[name].fits is on_low
        assert found(board())[name].fits is on_high


def test_what_was_not_read_is_to_be_looked_up() -> None:
    fits = found(board())
    assert fits["S202S01"].unread == ("surge", "dv/dt")
    assert fits["S201DH1"].unread == ("dv/dt",)
    assert fits["BRT12H"].unread == ()
    assert fits["G3S-201PL"].unread == ("off-state voltage", "dv/dt")
    assert fits["MOC3052M"].unread == ()
    empty = switches(board(), [drive_part("X1", kind="coupler", mode="random-phase")]).fits[0]
    assert "current" in empty.unread


@pytest.mark.transcribed(
    "OMRON-G3S", where="ratings: 0.1 to 1 A, surge 15 A", why="three figures, exact", rtol=0.0
)
def test_surge_and_least_load_turn_at_the_published_figures() -> None:
    part = drive_part("G3S-201PL")
    assert (part.current_a, part.surge_a, part.least_load_a) == (1.0, 15.0, 0.1)
    for rule in found(with_fan("15 W"))["G3S-201PL"].rules:
        if rule.name == "least load":
            assert rule.passes is (rule.value >= 0.1)
        if rule.name == "surge":
            assert rule.passes is (rule.value <= 15.0)


@pytest.mark.parametrize(
    ("name", "current_a", "peak_v", "trigger_a", "surge_a"),
    [
        pytest.param("IL4208", 0.3, 800.0, 2e-3, 3.0, marks=_read("VISHAY-IL420", "page 3")),
        pytest.param("BRT13M", 0.3, 800.0, 3e-3, 3.0, marks=_read("VISHAY-BRT1", "pages 2, 3")),
        pytest.param("S101DH2", 1.5, 400.0, np.nan, 15.0, marks=_read("SHARP-S101DH", "ratings")),
        pytest.param("VO4256D", 0.3, 600.0, 1.6e-3, np.nan, marks=_read("VISHAY-VO4254", "page 1")),
    ],
)
def test_figures_as_published(
    name: str, current_a: float, peak_v: float, trigger_a: float, surge_a: float
) -> None:
    part = drive_part(name)
    figures = [part.current_a, part.off_state_v, part.trigger_a, part.surge_a]
    np.testing.assert_array_equal(figures, [current_a, peak_v, trigger_a, surge_a])


def test_written_derating_takes_the_place_of_the_usual_one() -> None:
    part = replace(drive_part("S201DH1"), full_degc=50.0, zero_degc=125.0)
    allowed, source = allowed_current_a(part, 80.0)
    assert allowed == pytest.approx(float(derated_current_a(1.5, 80.0, 50.0, 125.0)))
    assert "derated from" not in source
    assert allowed_current_a(drive_part("S201DH1"), 80.0)[0] == pytest.approx(0.5)
    assert "no source" in allowed_current_a(drive_part("S201DH1"), 80.0)[1]
