"""What stands around the sync circuit: supervision, drive and fan, from the keys of a file."""

from __future__ import annotations

from collections.abc import Iterator

from zcd import refdata
from zcd.board.assumptions import PRACTICE, Notes
from zcd.board.model import Appliance, Drive, Fan, Supervision
from zcd.board.schema import BoardFile, DriveTable, FanTable, SupervisionTable
from zcd.board.units import format_si
from zcd.errors import InputError, invalid_value


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


def _fan(written: FanTable, frequency_hz: float, notes: Notes) -> Fan:
    values = notes.filled(written, "fan")
    for key in ("run_capacitor", "main_resistance", "start_resistance"):
        if getattr(written, key) is None:
            notes.assume(f"fan.{key}", "what suits the power", PRACTICE)
    synchronous_rpm = 120.0 * frequency_hz / values["poles"]
    return Fan(
        **values,
        full_rpm=_speed_rpm(written.full_speed, "fan.full_speed", synchronous_rpm, notes),
        run_capacitor_f=written.run_capacitor,
        main_ohm=written.main_resistance,
        start_ohm=written.start_resistance,
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
    return Drive(**notes.filled(written, "drive"), compensation_s=written.compensation)


def _supervision(written: SupervisionTable, full_rpm: float, notes: Notes) -> Supervision:
    return Supervision(
        **notes.filled(written, "supervision"),
        target_rpm=_speed_rpm(written.target_speed, "supervision.target_speed", full_rpm, notes),
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
    result = build_appliance(file.supervision, file.drive, file.fan, frequency_hz)
    fan, drive = result.fan, result.drive
    synchronous_rpm = 120.0 * frequency_hz / fan.poles
    if fan.full_rpm >= synchronous_rpm:
        allowed = (
            f"below {format_si(synchronous_rpm, 'rpm')}, the synchronous speed of "
            f"{fan.poles} poles at {format_si(frequency_hz, 'Hz')}"
        )
        yield invalid_value(format_si(fan.full_rpm, "rpm"), allowed, "fan.full_speed")
    elif result.supervision.target_rpm > fan.full_rpm:
        yield invalid_value(
            format_si(result.supervision.target_rpm, "rpm"),
            f"not above the fan's full speed, {format_si(fan.full_rpm, 'rpm')}",
            "supervision.target_speed",
        )
    if fan.poles % 2:
        yield invalid_value(fan.poles, "an even number", "fan.poles")
    left_s = (1.0 - drive.earliest_ratio) * 0.5 / frequency_hz
    if drive.earliest_ratio >= drive.latest_ratio:
        yield invalid_value(
            format_si(drive.earliest_ratio, "%"),
            f"less than drive.latest, {format_si(drive.latest_ratio, '%')}",
            "drive.earliest",
        )
    elif drive.gate_pulse_s >= left_s:
        allowed = f"less than drive.earliest leaves of a half period, {format_si(left_s, 's')}"
        yield invalid_value(format_si(drive.gate_pulse_s, "s"), allowed, "drive.gate_pulse")
