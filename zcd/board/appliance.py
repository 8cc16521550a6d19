"""What stands around the sync circuit: supervision, drive and fan, from the keys of a file."""

from __future__ import annotations

from collections.abc import Iterator

from zcd import refdata
from zcd.board.model import Appliance, Drive, Fan, Supervision
from zcd.board.notes import PRACTICE, Notes
from zcd.board.schema import BoardFile, DriveTable, FanTable, SupervisionTable
from zcd.board.units import format_si, refusal
from zcd.errors import InputError


def build_appliance(
    supervision: SupervisionTable, drive: DriveTable, fan: FanTable, frequency_hz: float
) -> Appliance:
    """Complete what the file says about supervision, drive and fan.

    Parameters
    ----------
    supervision, drive, fan : Table
        As written.
    frequency_hz : float
        Of the mains.

    Returns
    -------
    appliance : Appliance
        With its own assumptions: they concern the story only.
    """
    notes = Notes(used=set())
    motor = _fan(fan, frequency_hz, notes)
    return Appliance(
        supervision=_supervision(supervision, motor.full_rpm, notes),
        drive=_drive(drive, notes),
        fan=motor,
        assumptions=tuple(notes.assumptions),
    )


def default_appliance(frequency_hz: float) -> Appliance:
    """What is taken where nobody described supervision, drive and fan."""
    return build_appliance(SupervisionTable(), DriveTable(), FanTable(), frequency_hz)


def _count(written: int | None, key: str, notes: Notes) -> int:
    """A whole number written, or the reference default of this name."""
    if written is not None:
        return written
    taken = refdata.default(key)
    notes.assume(key, f"{taken.value:.0f}", taken.why)
    return int(taken.value)


def _fan(written: FanTable, frequency_hz: float, notes: Notes) -> Fan:
    poles = _count(written.poles, "fan.poles", notes)
    for key, value in (
        ("run_capacitor", written.run_capacitor),
        ("main_resistance", written.main_resistance),
        ("start_resistance", written.start_resistance),
    ):
        if value is None:
            notes.assume(f"fan.{key}", "what suits the power", PRACTICE)
    return Fan(
        input_w=notes.default(written.power, "fan.power"),
        full_rpm=_speed_rpm(
            written.full_speed, "fan.full_speed", 120.0 * frequency_hz / poles, notes
        ),
        poles=poles,
        inertia_kg_m2=notes.default(written.inertia, "fan.inertia"),
        run_capacitor_f=written.run_capacitor,
        main_ohm=written.main_resistance,
        start_ohm=written.start_resistance,
        pulses_per_turn=_count(written.pulses_per_turn, "fan.pulses_per_turn", notes),
    )


def _speed_rpm(written: float | None, key: str, whole_rpm: float, notes: Notes) -> float:
    """A speed written, or the default share of another speed."""
    if written is not None:
        return written
    share = refdata.default(f"{key}_ratio")
    notes.assume(key, format_si(share.value * whole_rpm, "rpm"), share.why)
    return share.value * whole_rpm


def _drive(written: DriveTable, notes: Notes) -> Drive:
    if written.compensation is None:
        notes.assume("drive.compensation", "the offset of the board as designed", PRACTICE)
    return Drive(
        kind=notes.choice(written.kind, "drive.kind", "random-phase"),
        half_cycles=notes.choice(written.half_cycles, "drive.half_cycles", "timer"),
        compensation_s=written.compensation,
        earliest_ratio=notes.default(written.earliest, "drive.earliest"),
        latest_ratio=notes.default(written.latest, "drive.latest"),
        gate_pulse_s=notes.default(written.gate_pulse, "drive.gate_pulse"),
        latching_a=notes.default(written.latching_current, "drive.latching_current"),
        inhibit_v=notes.default(written.inhibit_voltage, "drive.inhibit_voltage"),
    )


def _supervision(written: SupervisionTable, full_rpm: float, notes: Notes) -> Supervision:
    def seconds(value: float | None, name: str) -> float:
        return notes.default(value, f"supervision.{name}")

    return Supervision(
        supply_wait_s=seconds(written.supply_wait, "supply_wait"),
        relay_delay_s=seconds(written.relay_delay, "relay_delay"),
        lock_periods=_count(written.lock_periods, "supervision.lock_periods", notes),
        loss_periods=_count(written.loss_periods, "supervision.loss_periods", notes),
        run_up_s=seconds(written.run_up, "run_up"),
        target_rpm=_speed_rpm(written.target_speed, "supervision.target_speed", full_rpm, notes),
        sync_flag_s=seconds(written.sync_flag_after, "sync_flag_after"),
        fan_flag_s=seconds(written.fan_flag_after, "fan_flag_after"),
        fan_flag_ratio=notes.default(written.fan_flag_share, "supervision.fan_flag_share"),
        retries=_count(written.retries, "supervision.retries", notes),
        retry_pause_s=seconds(written.retry_pause, "retry_pause"),
        without_sync=notes.choice(written.without_sync, "supervision.without_sync", "inhibit"),
        clock_error_ratio=notes.default(written.clock_error, "supervision.clock_error"),
    )


def appliance_problems(file: BoardFile, frequency_hz: float) -> Iterator[InputError]:
    """Find what contradicts itself in supervision, drive and fan.

    Parameters
    ----------
    file : BoardFile
    frequency_hz : float
        Of the mains.

    Yields
    ------
    error : InputError
    """
    found = build_appliance(file.supervision, file.drive, file.fan, frequency_hz)
    fan, drive = found.fan, found.drive
    synchronous_rpm = 120.0 * frequency_hz / fan.poles
    if fan.full_rpm >= synchronous_rpm:
        allowed = (
            f"below {format_si(synchronous_rpm, 'rpm')}, the synchronous speed of "
            f"{fan.poles} poles at {format_si(frequency_hz, 'Hz')}"
        )
        yield refusal(format_si(fan.full_rpm, "rpm"), allowed, "fan.full_speed")
    elif found.supervision.target_rpm > fan.full_rpm:
        yield refusal(
            format_si(found.supervision.target_rpm, "rpm"),
            f"not above the fan's full speed, {format_si(fan.full_rpm, 'rpm')}",
            "supervision.target_speed",
        )
    if fan.poles % 2:
        yield refusal(fan.poles, "an even number", "fan.poles")
    left_s = (1.0 - drive.earliest_ratio) * 0.5 / frequency_hz
    if drive.earliest_ratio >= drive.latest_ratio:
        yield refusal(
            format_si(drive.earliest_ratio, "%"),
            f"less than drive.latest, {format_si(drive.latest_ratio, '%')}",
            "drive.earliest",
        )
    elif drive.gate_pulse_s >= left_s:
        allowed = f"less than drive.earliest leaves of a half period, {format_si(left_s, 's')}"
        yield refusal(format_si(drive.gate_pulse_s, "s"), allowed, "drive.gate_pulse")
