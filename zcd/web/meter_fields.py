"""The fields of the meter, and how they become the table of a job file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from pydantic.fields import FieldInfo

from zcd.board.keys import NameReader, QuantityReader, attribute_of, key_of, reader_of
from zcd.board.toml_files import validate
from zcd.board.units import format_si
from zcd.diagnosis.job import MeterTable
from zcd.diagnosis.meters import diode_full_scale_v, usual_meter


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterField:
    """One field; `usual` is what goes where nothing is said, or that it counts as not known."""

    label: str
    usual: str
    choices: tuple[str, ...] = ()


@cache
def meter_fields() -> Mapping[str, MeterField]:
    """The fields by key of the job file's table."""
    return {name: _field(name, info) for name, info in MeterTable.model_fields.items()}


def _field(name: str, info: FieldInfo) -> MeterField:
    own, reader, meter = key_of(info), reader_of(info), usual_meter()
    usual = getattr(meter, attribute_of(name, info))
    if isinstance(reader, NameReader):
        shown = {True: "yes", False: "no"}.get(usual, str(usual))
        return MeterField(label=own.label, usual=shown, choices=reader.names)
    if name == "diode_stop":
        usual = diode_full_scale_v(meter)
    unit = reader.kind.unit if isinstance(reader, QuantityReader) else ""
    shown = format_si(usual, unit) if unit else f"{usual:g}"
    return MeterField(label=own.label, usual=(own.usual or "{}").format(shown))


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
