"""From the keys of a file to a complete board; every value not written leaves an assumption."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal

from zcd import refdata
from zcd.board import consistency, diode_names, optocouplers, parts_library
from zcd.board.appliance import build_appliance
from zcd.board.assumptions import PRACTICE, Notes
from zcd.board.model import (
    TRACED,
    Board,
    Capacitor,
    Controller,
    Description,
    Diode,
    Harmonic,
    Mains,
    Optocoupler,
    Output,
    ReadAs,
    Relay,
    Resistor,
    Service,
    Suppressor,
    Topology,
    Traced,
    Transistor,
    Unknown,
)
from zcd.board.paths import RECTIFIER_MAY_LEAD
from zcd.board.pins import PinInput, internal_pull_up, pin_input
from zcd.board.schema import BoardFile, DiodeTable, ResistorTable
from zcd.board.transistors import ANY
from zcd.board.units import format_si

_OTHER_BAND_RATIO = 0.1


def build_board(
    file: BoardFile,
    name: str,
    written: Mapping[str, Any],
    read_as: Sequence[ReadAs] = (),
    unknown: Mapping[str, tuple[float, float]] | None = None,
    references: Mapping[str, str] = {},
) -> Board:
    """Complete a board.

    Parameters
    ----------
    file : BoardFile
        Free of `zcd.board.consistency.problems`.
    name : str
        Name of the board where the file gives none.
    written : mapping
        Keys and values that the file was read from.
    read_as : sequence of ReadAs
        What its markings were taken for.
    unknown : mapping of str to (float, float), optional
        Key of a resistor that nobody could read -> limits of its resistance. [Ω]
    references : mapping, optional
        Key of a capacitor -> its reference, where that was written before the value.

    Returns
    -------
    Board
    """
    notes = Notes(
        references=references,
        used={ref for _, ref in consistency.written_references(file)},
        chips=frozenset(note.key for note in read_as if note.on_chip),
    )
    mains = _mains(file, notes)
    relay = _relay(file, notes)
    topology = consistency.topology_of(file)
    if topology != TRACED:
        notes.choice(file.chain.topology, "chain.topology", str(topology))
    chains, return_chain = _chains(file, topology, notes)
    output = _output(file, notes)
    led_item = file.led.resistor
    joint = file.chain.joint_capacitor
    return Board(
        name=file.name or name,
        topology=topology,
        mains=mains,
        relay=relay,
        chains=chains,
        return_chain=return_chain,
        rectifier=_diode(file.rectifier, "rectifier", notes),
        rectifier_first=_rectifier_first(file, topology, notes),
        clamp=_diode(file.clamp, "clamp", notes),
        optocoupler=_optocoupler(file, notes),
        led_resistor=_resistor(led_item, "led.resistor", notes) if led_item else None,
        led_capacitor=_capacitor(file.led.capacitor, "led.capacitor", notes),
        joint_capacitor=_capacitor(
            joint.capacitance if joint else None, "chain.joint_capacitor.capacitance", notes
        ),
        joint=joint.after if joint else 1,
        traced=_traced(file, notes),
        output=output,
        controller=_controller(file, notes),
        service=_service(file, notes),
        assumptions=tuple(notes.assumptions),
        read_as=tuple(read_as),
        unknowns=tuple(
            Unknown(ref=ref, low_ohm=unknown[key][0], high_ohm=unknown[key][1])
            for ref, key in notes.places.items()
            if unknown and key in unknown
        ),
        description=Description(written=written, places=notes.places),
        appliance=build_appliance(file.supervision, file.drive, file.fan, mains.frequency_hz),
    )


def _mains(file: BoardFile, notes: Notes) -> Mains:
    written = file.mains
    nominal_v = written.voltage
    band = consistency.band_of(file)
    if band is not None and written.band is None:
        notes.assume("mains.band", band, refdata.cite(str(consistency.band_row(band)["source"])))
    if band is not None:
        row = consistency.band_row(band)
        low_v, high_v = float(row["low_v"]), float(row["high_v"])
    else:
        ratio = _OTHER_BAND_RATIO if written.tolerance is None else written.tolerance
        band = f"{format_si(nominal_v, 'V')} +-{format_si(ratio, '%')}"
        low_v, high_v = nominal_v * (1 - ratio), nominal_v * (1 + ratio)
        ends = (written.low_voltage, written.high_voltage)
        if written.tolerance is None and None in ends:
            notes.assume("mains.tolerance", format_si(ratio, "%"), PRACTICE)
        if ends != (None, None):
            low_v, high_v = ends[0] or low_v, ends[1] or high_v
            band = f"{format_si(low_v, 'V')} to {format_si(high_v, 'V')}"
    frequency_hz = _frequency_hz(file, band, notes)
    low_ratio, high_ratio = _frequency_band(file, band, notes)
    ends_hz = (frequency_hz, written.second_frequency or frequency_hz)
    return Mains(
        rms_v=nominal_v,
        low_rms_v=low_v,
        high_rms_v=high_v,
        band=band,
        frequency_hz=frequency_hz,
        low_hz=low_ratio * min(ends_hz),
        high_hz=high_ratio * max(ends_hz),
        second_hz=written.second_frequency,
        harmonics=tuple(
            Harmonic(order=item.order, ratio=item.fraction, phase_rad=item.phase)
            for item in written.harmonics
        ),
    )


def _frequency_hz(file: BoardFile, band: str, notes: Notes) -> float:
    """Frequency written, or that of the band, or the default."""
    written = file.mains.frequency
    rows = {str(row["band"]): row for row in refdata.table("mains_bands")}
    if written is None and band in rows:
        frequency_hz = float(rows[band]["frequency_hz"])
        notes.assume("mains.frequency", format_si(frequency_hz, "Hz"), f'the band "{band}"')
        return frequency_hz
    return notes.default(written, "mains.frequency", consistency.usual_frequency(file))


def _frequency_band(file: BoardFile, band: str, notes: Notes) -> tuple[float, float]:
    """Lowest and highest frequency over nominal: as written, of the band, or the default."""
    written = file.mains.frequency_tolerance
    rows = {str(row["band"]): row for row in refdata.table("mains_bands")}
    if written is None and band in rows:
        low, high = (float(rows[band][f"frequency_{end}_ratio"]) for end in ("low", "high"))
        if low < high:
            return low, high
    ratio = notes.default(written, "mains.frequency_tolerance")
    return 1.0 - ratio, 1.0 + ratio


def _relay(file: BoardFile, notes: Notes) -> Relay | None:
    feed = file.feed
    kind = notes.choice(feed.kind, "feed.kind", consistency.DEFAULT_FEED)
    if kind == "direct":
        return None
    parts = feed.suppressor
    filled = notes.filled(feed, "feed")
    del filled["kind"]
    return Relay(
        **filled,
        suppressor=Suppressor(resistance_ohm=parts.resistance, capacitance_f=parts.capacitance)
        if parts
        else None,
    )


def _chains(
    file: BoardFile, topology: Topology | Literal["traced"], notes: Notes
) -> tuple[tuple[tuple[Resistor, ...], ...], tuple[Resistor, ...]]:
    """Strings from the feed, and the neutral leg."""
    chain = file.chain
    items = {
        key: _resistor(item, key, notes, of_chain=file)
        for key, item in consistency.resistor_items(file)
        if key.startswith(("chain.", "circuit."))
    }
    if file.circuit is not None:
        strings = file.circuit.strings
        return tuple(tuple(items[f"circuit.{r.ref}"] for r in string) for string in strings), ()
    first = _with_prefix(items, "chain.resistors[")
    return_chain = _with_prefix(items, "chain.return_resistors[")
    parallel = tuple(
        _with_prefix(items, f"chain.parallel[{number}][")
        for number in range(1, len(chain.parallel) + 1)
    )
    if topology is Topology.BRIDGE and chain.return_resistors is None:
        notes.assume("chain.return_resistors", "no resistors", "all are in the leg of the feed")
    return (first, *parallel), return_chain


def _with_prefix(items: dict[str, Resistor], prefix: str) -> tuple[Resistor, ...]:
    return tuple(part for key, part in items.items() if key.startswith(prefix))


def _resistor(
    item: ResistorTable, key: str, notes: Notes, *, of_chain: BoardFile | None = None
) -> Resistor:
    """Make a resistor; those of the chain share the chain's style and tolerance."""
    where = "chain" if of_chain else key
    style, tolerance = item.style, item.tolerance
    if of_chain:
        style = style or of_chain.chain.style
        tolerance = of_chain.chain.tolerance if tolerance is None else tolerance
    size_assumed = style is None and None in (item.power, item.working_voltage)
    if style is None:
        chip = key in notes.chips
        limits = parts_library.resistor_limits(
            parts_library.UNKNOWN_CHIP if chip else parts_library.UNKNOWN_STYLE
        )
        style = notes.choice(
            None, f"{where}.style", limits.style, f"{PRACTICE}, its limits: {limits.source}"
        )
    return parts_library.resistor(
        ref=notes.ref(item.ref, "R", key),
        resistance_ohm=item.value,
        tolerance_ratio=notes.default(tolerance, f"{where}.tolerance", "resistor.tolerance"),
        style=style,
        power_w=item.power,
        working_v=item.working_voltage,
        size_assumed=size_assumed,
    )


def _capacitor(capacitance_f: float | None, key: str, notes: Notes) -> Capacitor | None:
    if capacitance_f is None:
        return None
    return Capacitor(ref=notes.ref(None, "C", key), capacitance_f=capacitance_f)


def _diode(table: DiodeTable | None, key: str, notes: Notes) -> Diode | None:
    if table is None:
        return None
    one_piece = consistency.is_one_piece(table)
    ref = notes.ref(table.ref, "BR" if one_piece and key == "rectifier" else "D", key)
    part = consistency.fitted_diode(table, key, ref=ref)
    own = consistency.own_diode_data(table)
    rating_v = diode_names.CLASS_RATING_V.get("" if own is None else own.kind)
    if own is not None and own.reverse_v is None and rating_v is not None:
        low_v, high_v = (format_si(volts, "V") for volts in rating_v)
        shown = format_si(part.junction.reverse_rating_v, "V")
        notes.assume(
            f"{key}.reverse_voltage", shown, f"not written; such parts stand {low_v} to {high_v}"
        )
    return part


def _traced(file: BoardFile, notes: Notes) -> Traced | None:
    if file.circuit is None:
        return None
    links, pulses, second = consistency.traced_links(file)
    fitted = [_diode(table, f"circuit.{table.ref}", notes) for table in file.circuit.diodes]
    capacitors = file.circuit.capacitors
    return Traced(
        links=links,
        aliases=file.circuit.aliases,
        diodes=tuple(diode for diode in fitted if diode is not None),
        capacitors=tuple(
            Capacitor(ref=notes.ref(ref, "C", f"circuit.{ref}"), capacitance_f=farad)
            for ref, farad in capacitors
        ),
        pulses=pulses,
        second_coupler=second,
        transistor=_transistor(file.circuit.transistor, notes),
    )


def _transistor(part: Transistor | None, notes: Notes) -> Transistor | None:
    """The transistor at the pin; of one whose marking nobody read the gain is assumed."""
    if part is not None:
        notes.ref(part.ref, "Q", f"circuit.{part.ref}")
    if part is not None and part.part == ANY and "board file" not in part.source:
        limits = f"hFE {part.gain_min_ratio:g} to {part.gain_max_ratio:g}"
        notes.assume(f"circuit.{part.ref}", limits, "any small NPN transistor of the tables")
    return part


def _rectifier_first(file: BoardFile, topology: Topology | Literal["traced"], notes: Notes) -> bool:
    written = file.chain.rectifier_first
    if written is None and topology in RECTIFIER_MAY_LEAD:
        notes.assume("chain.rectifier_first", "false", PRACTICE)
    return bool(written)


def _optocoupler(file: BoardFile, notes: Notes) -> Optocoupler | None:
    written = file.optocoupler
    if consistency.is_direct(file):
        return None
    if written.remaining is None:
        notes.assume("optocoupler.remaining", "100 %", "taken as new")
    ref = notes.ref(written.ref, "OC", "optocoupler")
    part = consistency.fitted_optocoupler(file, ref=ref)
    _, grade = optocouplers.optocoupler_name(written.family or part.family, written.grade)
    if part.family in optocouplers.CLASSES and part.grade != optocouplers.OWN_DATA:
        limits = f"{format_si(part.ctr_min_ratio, '%')} to {format_si(part.ctr_max_ratio, '%')}"
        test = format_si(part.test_current_a, "A")
        notes.assume("optocoupler.ctr", f"{limits} at {test}", f"every {part.family} in the tables")
    elif part.grade == optocouplers.OWN_DATA:
        if written.test_current is None:
            test = format_si(part.test_current_a, "A")
            notes.assume("optocoupler.test_current", test, "that of its class")
    elif grade is None:
        limits = f"{format_si(part.ctr_min_ratio, '%')} to {format_si(part.ctr_max_ratio, '%')}"
        shown = part.grade if written.ctr is not None else f"{part.grade} ({limits})"
        notes.assume("optocoupler.grade", shown, "no grade written; taken as unranked")
    return part


def _output(file: BoardFile, notes: Notes) -> Output:
    written = file.output
    internal = _internal_pull_up(file, notes)
    items = [pair for pair in consistency.resistor_items(file) if pair[0].startswith("output.")]
    pin_capacitor = _capacitor(written.pin_capacitor, "output.pin_capacitor", notes)
    if not items:
        direct = consistency.is_direct(file)
        return Output(
            kind="direct" if direct else "pull-up", resistor=None if direct else internal,
            supply_v=written.supply, pin_capacitor=pin_capacitor,
            internal=internal if direct else None,
        )  # fmt: skip
    ((key, item),) = items
    pulls_up = written.pull_up is not None
    # not the next free number: some other part of the board may well have it
    item = item.model_copy(update={"ref": item.ref or ("pull-up" if pulls_up else "pull-down")})
    return Output(
        kind="pull-up" if pulls_up else "emitter-follower",
        resistor=_resistor(item, key, notes),
        supply_v=written.supply,
        pin_capacitor=pin_capacitor,
        internal=internal,
    )


def _internal_pull_up(file: BoardFile, notes: Notes) -> Resistor | None:
    """The controller's own pull-up: as written, of the input's type, or that of any controller."""
    written, key = file.output.internal_pull_up, "output.internal_pull_up"
    if written is None:
        return None
    if (ohm := written.resistance_ohm) is not None:
        return internal_pull_up((ohm, ohm), "the board file")
    name = file.controller.input
    pin = None if name is None else pin_input(name, file.output.supply)
    if pin is not None and pin.pull_up_ohm is not None:
        span_ohm, source = pin.pull_up_ohm, pin.source
    else:
        ends = [refdata.default(f"controller.{end}_internal_pull_up") for end in ("least", "most")]
        span_ohm, source = (ends[0].value, ends[1].value), ends[0].why
    shown = f"{format_si(span_ohm[0], 'Ω')} to {format_si(span_ohm[1], 'Ω')}"
    notes.assume(key, shown, source)
    return internal_pull_up(span_ohm, source)


def _controller(file: BoardFile, notes: Notes) -> Controller:
    written, supply_v = file.controller, file.output.supply
    pin = None if written.input is None else pin_input(written.input, supply_v)
    given = (("low", written.low_threshold), ("high", written.high_threshold))
    for name, threshold in given:
        if threshold is None:
            _assume_threshold(name, pin, supply_v, notes)
    low, high = consistency.thresholds_of(file)
    return Controller(
        low_threshold_v=low.volts(supply_v),
        high_threshold_v=high.volts(supply_v),
        hysteresis_v=None if pin is None else pin.hysteresis_v,
        **notes.filled(written, "controller"),
        stated=frozenset(written.model_fields_set),
    )


def _assume_threshold(name: str, pin: PinInput | None, supply_v: float, notes: Notes) -> None:
    """Note a threshold that is not written: of the input's type, or the default."""
    if pin is not None:
        level_v = pin.low_v if name == "low" else pin.high_v
        shown, why = format_si(level_v, "V"), f"{pin.name}: {pin.source}"
    else:
        taken = consistency.default_threshold(name)
        volts, share = format_si(taken.volts(supply_v), "V"), format_si(taken.value, "%")
        shown = f"{volts} ({share} of the supply)"
        why = refdata.default(f"controller.{name}_threshold_ratio").why
    notes.assume(f"controller.{name}_threshold", shown, why)


def _service(file: BoardFile, notes: Notes) -> Service:
    written = file.service
    return Service(
        **notes.filled(written, "service"),
        hours_per_year=notes.default(
            written.hours_per_year,
            "service.hours_per_year",
            "service.hours_plugged_in" if consistency.feed_of(file) == "direct" else "",
        ),
    )
