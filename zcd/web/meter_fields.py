"""The fields of the meter, and how they become the table of a job file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from zcd.board.toml_files import validate
from zcd.diagnosis.job import MeterTable
from zcd.diagnosis.meters import AcKind, usual_meter
from zcd.report.text import quantity_text


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterField:
    """One field; `usual` is what goes where nothing is said, or that it counts as not known."""

    label: str
    usual: str
    choices: tuple[str, ...] = ()


@cache
def meter_fields() -> Mapping[str, MeterField]:
    """The fields by key of the job file's table."""
    meter = usual_meter()

    def ohm(value: float) -> str:
        return quantity_text(value, "Ω")

    def percent(value: float) -> str:
        return f"{100.0 * value:g} %"

    usual_ohms = quantity_text(meter.ohms_open_v, "V")
    fields: dict[str, tuple[str, str, tuple[str, ...]]] = {
        "ac_kind": ("AC volts", str(meter.ac_kind), tuple(map(str, AcKind))),
        "scope": ("Oscilloscope at hand", "yes", ("yes", "no")),
        "dc_input": ("Input resistance, DC volts", ohm(meter.dc_input_ohm), ()),
        "ac_input": ("Input resistance, AC volts", ohm(meter.ac_input_ohm), ()),
        "low_impedance": ("Input resistance, low impedance", ohm(meter.low_impedance_ohm), ()),
        "dc_accuracy": ("Accuracy, DC volts", percent(meter.dc_accuracy_ratio), ()),
        "ac_accuracy": ("Accuracy, AC volts", percent(meter.ac_accuracy_ratio), ()),
        "ohm_accuracy": ("Accuracy, ohms", percent(meter.ohm_accuracy_ratio), ()),
        "ohms_open": ("Open-circuit volts, ohms", f"not known (often {usual_ohms})", ()),
        "diode_open": (
            "Open-circuit volts, diode test",
            quantity_text(meter.diode_open_v, "V"),
            (),
        ),
    }
    return {
        key: MeterField(label=label, usual=usual, choices=choices)
        for key, (label, usual, choices) in fields.items()
    }


def written_meter(texts: Mapping[str, str]) -> tuple[Mapping[str, str] | None, dict[str, str]]:
    """What goes into the job file.

    Parameters
    ----------
    texts : mapping
        Key of a field -> what stands in it; empty: the usual.

    Returns
    -------
    table : mapping or None
        The same, if all of it can be used.
    errors : dict
        Key of a field -> what is wrong with it.
    """
    table, lines = validate(MeterTable, {key: text for key, text in texts.items() if text})
    errors = {key: told for key, _, told in (line.partition(": ") for line in lines)}
    return (None if table is None else texts), errors
