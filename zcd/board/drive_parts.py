"""Parts that switch a fan, from the reference table or as written: couplers, drivers, triacs."""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan

from zcd import refdata
from zcd.board.units import find_name, nearest
from zcd.errors import invalid_value

KINDS = ("coupler", "driver", "triac")
MODES = ("random-phase", "zero-cross", "gate")


@dataclass(frozen=True, slots=True, kw_only=True)
class DrivePart:
    """A part of the fan's drive; nan where a figure was not read.

    Parameters
    ----------
    part : str
    kind : str
        ``coupler`` (light fires a triac that carries the fan's current), ``driver`` (light fires
        one that only fires the gate of another) or ``triac`` (which a driver fires).
    mode : str
        ``random-phase``, ``zero-cross``, or ``gate`` of a triac.
    current_a : float
        Rated on-state rms; nan for a driver.
    off_state_v : float
        Repetitive peak.
    trigger_a : float
        LED current, or gate current of a triac, that surely fires it.
    surge_a : float
        Peak, one cycle.
    least_load_a : float
    dv_dt_v_per_s : float
        Rise of off-state voltage that it withstands.
    full_degc, zero_degc : float
        Ambient up to which it carries all of its rated current, and from which none.
    source : str
    """

    part: str
    kind: str
    mode: str
    current_a: float
    off_state_v: float
    trigger_a: float
    surge_a: float
    least_load_a: float
    dv_dt_v_per_s: float
    full_degc: float
    zero_degc: float
    source: str


def drive_part_names() -> tuple[str, ...]:
    """Return the known parts."""
    return tuple(str(row["part"]) for row in refdata.table("drive_parts"))


def every_drive_part() -> tuple[DrivePart, ...]:
    """Return all known parts."""
    return tuple(drive_part(name) for name in drive_part_names())


def drive_part(
    part: str,
    *,
    kind: str | None = None,
    mode: str | None = None,
    key: str = "",
    **written: float | None,
) -> DrivePart:
    """Make a part from the table, from what was written, or from both.

    Parameters
    ----------
    part : str
    kind, mode : str, optional
        As in `DrivePart`; needed of a part that the table does not know.
    key : str, optional
        Where it stood, for the message.
    **written : float or None
        Figures in place of the table's, by the names of `DrivePart`.

    Returns
    -------
    DrivePart

    Raises
    ------
    InputError
        If the part is unknown and kind or mode is not written.

    Examples
    --------
    >>> drive_part("s201dh1").current_a, drive_part("MOC3063M").mode
    (1.5, 'zero-cross')
    """
    name = find_name(part, drive_part_names())
    rows = refdata.table("drive_parts")
    row = next((row for row in rows if row["part"] == name), None)
    given = {field: value for field, value in written.items() if value is not None}
    kind = kind or (None if row is None else str(row["kind"]))
    mode = "gate" if kind == "triac" else mode or (None if row is None else str(row["mode"]))
    if kind is None or mode is None:
        allowed = (
            f'a known part such as "MOC3052M" or "BT139-600"{nearest(part, drive_part_names())}; '
            f'for any other part its own data: {{part = "X1", kind = "triac", current = "4 A", '
            f'voltage = "600 V"}}; a coupler or driver needs switching = "random-phase" or '
            '"zero-cross" too'
        )
        raise invalid_value(part, allowed, f"{key}.part" if key else "")
    figures = {
        field: given.get(field, float("nan") if row is None else float(row[field]))
        for field in _FIGURES
    }
    sources = [f"[{row['source']}]"] if row is not None else []
    if given:
        sources.insert(0, "as written in the drawer file")
    return DrivePart(
        part=name or part,
        kind=kind,
        mode=mode,
        source=", the others ".join(sources) or "as written in the drawer file",
        **figures,
    )


_FIGURES = (
    "current_a",
    "off_state_v",
    "trigger_a",
    "surge_a",
    "least_load_a",
    "dv_dt_v_per_s",
    "full_degc",
    "zero_degc",
)


def read(figure: float) -> bool:
    """Whether a figure is known."""
    return not isnan(figure)
