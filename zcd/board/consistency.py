"""What in a board file excludes or requires what: checks across keys and against the library."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from typing import Literal

from zcd import refdata
from zcd.board import diode_names, optocouplers, parts_library
from zcd.board.appliance import appliance_problems
from zcd.board.as_printed import INTO_PIN, ohm_text, straight_into_pin
from zcd.board.model import TRACED, Diode, Link, Optocoupler, Topology
from zcd.board.paths import RECTIFIER_MAY_LEAD, WITH_CLAMP, WITH_RECTIFIER
from zcd.board.pins import pin_input
from zcd.board.schema import BoardFile, DiodeTable, ResistorTable, Threshold
from zcd.board.strings import into_pin, with_leds
from zcd.board.units import format_si, nearest
from zcd.errors import InputError, invalid_value

DEFAULT_TOPOLOGY = Topology.HALF_WAVE
DEFAULT_FEED = "direct"
LOW_MAINS_V = (105.0, 130.0)
"""What `mains.frequency_of_low_voltage` of the defaults speaks of."""
NOMINAL_BANDS = {230.0: "230 +-10 %", 120.0: "120 service"}
"""Band taken where a voltage has no other."""

_RELAY_KEYS = (
    "contact_resistance",
    "coil_supply",
    "coil_resistance",
    "driver_resistance",
    "suppressor",
)


def topology_of(file: BoardFile) -> Topology | Literal["traced"]:
    """Return the topology written, or that of the parts; or that the circuit was traced."""
    if file.circuit is not None:
        return TRACED
    written = file.chain.topology
    return _topology_of_parts(file) if written is None else Topology(written)


def _topology_of_parts(file: BoardFile) -> Topology:
    """The topology that goes with rectifier, clamp and optocoupler as they are written."""
    if file.rectifier is None and file.clamp is None:
        return Topology.TWO_LED if _has_two_leds(file) else DEFAULT_TOPOLOGY
    if file.rectifier is None:
        return Topology.CLAMPED
    if is_one_piece(file.rectifier):
        return Topology.BRIDGE
    return DEFAULT_TOPOLOGY if file.clamp is None else Topology.HALF_WAVE_CLAMPED


def is_one_piece(table: DiodeTable) -> bool:
    """Whether a rectifier is a bridge in one package."""
    return table.part is not None and diode_names.is_one_piece_bridge(table.part)


def _has_two_leds(file: BoardFile) -> bool:
    """Whether the optocoupler written is one with two LEDs."""
    written = file.optocoupler
    if written.family is None:
        return written.leds == 2
    try:
        family, _ = optocouplers.optocoupler_name(written.family, written.grade)
    except InputError:  # told with all that is wrong with it
        return False
    return family in optocouplers.TWO_LED_FAMILIES


def feed_of(file: BoardFile) -> str:
    """Return the kind of feed written, or the default."""
    return file.feed.kind or DEFAULT_FEED


def band_of(file: BoardFile) -> str | None:
    """Return the mains band written, or the one that such a voltage usually has, or None."""
    mains = file.mains
    if mains.low_voltage is not None or mains.high_voltage is not None:
        return mains.band
    if mains.band is None and mains.tolerance is None:
        return NOMINAL_BANDS.get(mains.voltage)
    return mains.band


def frequency_of(file: BoardFile) -> float:
    """Return the mains frequency written, or that of the band, or the default."""
    if file.mains.frequency is not None:
        return file.mains.frequency
    band = band_of(file)
    if band is not None:
        return float(band_row(band, "mains.band")["frequency_hz"])
    return refdata.default(usual_frequency(file)).value


def usual_frequency(file: BoardFile) -> str:
    """Return the name of the frequency that is taken where neither it nor a band is known."""
    low_v, high_v = LOW_MAINS_V
    is_low = low_v <= file.mains.voltage <= high_v
    return "mains.frequency_of_low_voltage" if is_low else "mains.frequency"


def thresholds_of(file: BoardFile) -> tuple[Threshold, Threshold]:
    """Return both thresholds: as written, of the input's type, or the defaults."""
    written, low, high = file.controller, default_threshold("low"), default_threshold("high")
    if written.input is not None:
        pin = pin_input(written.input, file.output.supply)
        low, high = (Threshold(value=v, of_supply=False) for v in (pin.low_v, pin.high_v))
    return written.low_threshold or low, written.high_threshold or high


def default_threshold(name: str) -> Threshold:
    """Return the controller threshold taken when none is written; `name` is low or high."""
    share = refdata.default(f"controller.{name}_threshold_ratio").value
    return Threshold(value=share, of_supply=True)


def band_row(name: str, key: str = "") -> refdata.Row:
    """Return the mains band of this name.

    Raises
    ------
    InputError
        If there is none.
    """
    rows = {str(row["band"]): row for row in refdata.table("mains_bands")}
    if name not in rows:
        raise invalid_value(name, f"one of {', '.join(rows)}{nearest(name, tuple(rows))}", key)
    return rows[name]


def problems(file: BoardFile) -> list[str]:
    """Find what contradicts itself or is not in the library.

    Parameters
    ----------
    file : BoardFile
        A file whose keys and values are valid one by one.

    Returns
    -------
    list of str
        One line for each, with key, what was found and what is allowed.
    """
    checks: tuple[Callable[[BoardFile], Iterator[InputError]], ...] = (
        _mains,
        _feed,
        _circuit,
        _chain,
        _diodes,
        _optocoupler,
        _output,
        _service,
        _appliance,
        _references,
        _styles,
    )
    if file.optocoupler.family == optocouplers.NO_COUPLER and not is_direct(file):
        checks = (_optocoupler,)  # the rest is of another circuit
    return [str(error) for check in checks for error in check(file)]


def unknown_names(file: BoardFile) -> list[str]:
    """Find the names that the library does not have, each wrong whatever else the file says.

    Parameters
    ----------
    file : BoardFile

    Returns
    -------
    list of str
        As of `problems`.
    """
    part, band = file.optocoupler, file.mains.band
    looks: list[Callable[[], object]] = []
    if part.family not in (None, optocouplers.NO_COUPLER):
        looks.append(partial(fitted_optocoupler, file))
    if band is not None:
        looks.append(partial(band_row, band, "mains.band"))
    if file.controller.input is not None:
        supply_v = file.output.supply
        looks.append(partial(pin_input, file.controller.input, supply_v, "controller.input"))
    for key, table in (("rectifier", file.rectifier), ("clamp", file.clamp)):
        if table is not None:
            looks.append(partial(fitted_diode, table, key))
    errors = [error for look_up in looks for error in _refused(look_up)]
    return [str(error) for error in (*errors, *_styles(file))]


def _mains(file: BoardFile) -> Iterator[InputError]:
    mains = file.mains
    orders = Counter(item.order for item in mains.harmonics)
    for order in (order for order, count in orders.items() if count > 1):
        yield invalid_value(f"order {order} twice", "each order once", "mains.harmonics")
    yield from _mains_limits(file)
    if mains.band is None:
        return
    if mains.tolerance is not None:
        yield invalid_value(mains.band, "band or tolerance, not both", "mains.band")
    try:
        row = band_row(mains.band, "mains.band")
    except InputError as error:
        yield error
        return
    low_v, high_v = float(row["low_v"]), float(row["high_v"])
    if not low_v <= mains.voltage <= high_v:
        limits = f"{format_si(low_v, 'V')} to {format_si(high_v, 'V')}"
        yield invalid_value(
            format_si(mains.voltage, "V"),
            f'{limits}, the limits of the band "{mains.band}"',
            "mains.voltage",
        )


def _mains_limits(file: BoardFile) -> Iterator[InputError]:
    mains = file.mains
    for key, limit_v, side in (
        ("low_voltage", mains.low_voltage, 1.0),
        ("high_voltage", mains.high_voltage, -1.0),
    ):
        if limit_v is None:
            continue
        if mains.band is not None or mains.tolerance is not None:
            other = "band" if mains.band is not None else "tolerance"
            yield invalid_value(
                format_si(limit_v, "V"), f"{key} or {other}, not both", f"mains.{key}"
            )
        elif side * (mains.voltage - limit_v) < 0:
            where = "at most" if side > 0 else "at least"
            yield invalid_value(
                format_si(limit_v, "V"),
                f"{where} the mains voltage, {format_si(mains.voltage, 'V')}",
                f"mains.{key}",
            )


def _feed(file: BoardFile) -> Iterator[InputError]:
    if feed_of(file) == "switched":
        return
    written = [key for key in _RELAY_KEYS if getattr(file.feed, key) is not None]
    if written:
        allowed = f'"switched", as {", ".join(written)} belongs to a switched feed'
        yield invalid_value(file.feed.kind, allowed, "feed.kind")


def _circuit(file: BoardFile) -> Iterator[InputError]:
    """What a traced circuit takes the place of; and whether its LED can be lit."""
    if file.circuit is None:
        return
    chain = file.chain
    written = [
        *(key for key in ("rectifier", "clamp") if getattr(file, key) is not None),
        *(f"led.{key}" for key in file.led.model_fields_set),
        *(f"chain.{key}" for key in chain.model_fields_set - {"style", "tolerance"}),
    ]
    for key in written:
        yield invalid_value(f"{key} beside circuit", "each part in a line of circuit", key)
    try:
        traced_links(file)
    except InputError as error:
        yield InputError(f"circuit: {error}")


def traced_links(file: BoardFile) -> tuple[tuple[Link, ...], int, str]:
    """Links of a traced circuit with its LEDs, half-waves in which one is lit, second coupler.

    Raises
    ------
    InputError
        If no current can pass through a LED.
    """
    circuit = file.circuit
    assert circuit is not None
    switched = feed_of(file) == "switched"
    if is_direct(file):
        return *into_pin(circuit, switched=switched), ""
    try:
        two = fitted_optocoupler(file).family in optocouplers.TWO_LED_FAMILIES
    except InputError:
        two = False  # what is wrong with it is said elsewhere
    second = _second_coupler(file)
    return with_leds(circuit, two_leds=two, second=second, switched=switched)


def is_direct(file: BoardFile) -> bool:
    """Whether there is no optocoupler: the traced circuit leads into the controller's pin, or into
    the base of a transistor there."""
    return file.circuit is not None and file.circuit.is_direct


def has_transistor(file: BoardFile) -> bool:
    """Whether a transistor stands between the chain and the pin, in place of an optocoupler."""
    return file.circuit is not None and file.circuit.transistor is not None


def _second_coupler(file: BoardFile) -> str:
    """Reference of a second optocoupler: the next one."""
    first = file.optocoupler.ref or "OC1"
    letters, number = first.rstrip("0123456789"), first[len(first.rstrip("0123456789")) :]
    return f"{letters}{int(number or 1) + 1}"


def _chain(file: BoardFile) -> Iterator[InputError]:
    chain, topology = file.chain, topology_of(file)
    if topology == TRACED:
        return
    if chain.rectifier_first is not None and topology not in RECTIFIER_MAY_LEAD:
        yield invalid_value(
            chain.rectifier_first,
            f"only with topology {', '.join(RECTIFIER_MAY_LEAD)}, here {topology}",
            "chain.rectifier_first",
        )
    joint = chain.joint_capacitor
    if joint is not None and joint.after > len(chain.resistors):
        where = "in the line leg" if topology is Topology.BRIDGE else "in the chain"
        yield invalid_value(
            joint.after,
            f"1 to {len(chain.resistors)}, the number of resistors {where}",
            "chain.joint_capacitor.after",
        )


def _diodes(file: BoardFile) -> Iterator[InputError]:
    topology = topology_of(file)
    if topology == TRACED:
        return
    for key, table, topologies in (
        ("rectifier", file.rectifier, WITH_RECTIFIER),
        ("clamp", file.clamp, WITH_CLAMP),
    ):
        if table is None and topology in topologies:
            guessed = "" if file.chain.topology else (
                '; or what there is in its place: clamp = "1N4148", or chain = {topology = ...}'
            )  # fmt: skip
            yield invalid_value(
                None,
                f"a diode or bridge, as topology {topology} has one, such as "
                f"{', '.join(parts_library.OFFERED_DIODES)}; `zcd help board` has more{guessed}",
                key,
            )
        elif table is not None and topology not in topologies:
            allowed = f"no {key} with topology {topology}, only with {', '.join(topologies)}"
            yield invalid_value(table.part, allowed, key)
        elif table is not None and is_one_piece(table) and topology is not Topology.BRIDGE:
            allowed = f"one diode with topology {topology}; a bridge goes with topology bridge"
            yield invalid_value(table.part, allowed, key)
        elif table is not None:
            yield from _refused(partial(fitted_diode, table, key))
            yield from _beside_the_name(table, key)


def _beside_the_name(table: DiodeTable, key: str) -> Iterator[InputError]:
    """Figures that contradict the part's name, and a breakdown below the rated voltage."""
    written = diode_names.OwnDiode(
        kind=diode_names.RECTIFIER,
        reverse_v=table.reverse_voltage,
        current_a=table.current,
        breakdown_v=table.breakdown_voltage,
    )
    said = None if table.part is None else diode_names.said_by_name(table.part)
    if said is not None and (wrong := said.contradiction(written)):
        name, found, by_name = wrong
        allowed = f"{by_name}, as the part is {table.part}; or the figures without a name"
        yield invalid_value(found, allowed, f"{key}.{name}")
    rating_v = table.reverse_voltage
    if rating_v is None and said is not None and said.kind != diode_names.ZENER:
        rating_v = said.reverse_v
    if rating_v and table.breakdown_voltage and table.breakdown_voltage < rating_v:
        yield invalid_value(
            format_si(table.breakdown_voltage, "V"),
            f"not below the rated reverse voltage, {format_si(rating_v, 'V')}",
            f"{key}.breakdown_voltage",
        )


def own_diode_data(table: DiodeTable) -> diode_names.OwnDiode | None:
    """What a table gives of a diode's own data; None: it names a part of the library."""
    own = (table.reverse_voltage, table.current, table.breakdown_voltage)
    words = None
    if table.part is not None:
        words = (
            None if diode_names.table_part(table.part) else (diode_names.diode_by_words(table.part))
        )
        if words is None:
            return None
    elif own == (None, None, None):
        return None
    zener = table.breakdown_voltage is not None and table.reverse_voltage is None
    kind = diode_names.ZENER if zener else diode_names.RECTIFIER
    base = words or diode_names.OwnDiode(kind=kind)
    return replace(
        base,
        reverse_v=base.reverse_v if own[0] is None else own[0],
        current_a=base.current_a if own[1] is None else own[1],
        breakdown_v=base.breakdown_v if own[2] is None else own[2],
    )


def fitted_diode(table: DiodeTable, key: str, ref: str = "") -> Diode:
    """The diode that a table of the file describes: of the library, or by its own data.

    Raises
    ------
    InputError
        If the part is unknown and nothing else is said of it.
    """
    own = own_diode_data(table)
    if own is not None:
        return parts_library.own_diode(own, ref=ref)
    if table.part is None:
        allowed = f'a diode such as "1N4007"; {diode_names.OWN_DIODE.format(key=key)}'
        raise invalid_value(None, allowed, f"{key}.part")
    part = parts_library.diode(table.part, ref=ref, key=key)
    rating_v = table.reverse_voltage or table.breakdown_voltage
    if rating_v is None:
        return part
    return replace(part, junction=replace(part.junction, reverse_rating_v=rating_v))


def fitted_optocoupler(file: BoardFile, ref: str = "OC1") -> Optocoupler:
    """The optocoupler that the file describes: of the library, of a class, or by its own data.

    Raises
    ------
    InputError
        If the part is unknown and nothing else is said of it.
    """
    table = file.optocoupler
    family = table.family
    if family is None:
        if table.ctr is None and table.ctr_min is None and table.ctr_max is None:
            allowed = f'an optocoupler such as "817C"; {optocouplers.OWN}'
            raise invalid_value(None, allowed, "optocoupler.family")
        two = table.leds == 2 or (table.leds is None and topology_of(file) is Topology.TWO_LED)
        family = optocouplers.AC_INPUT if two else optocouplers.FOUR_PIN
    return optocouplers.optocoupler(
        family,
        table.grade,
        ref=ref,
        ctr_ratio=table.ctr,
        remaining_ratio=1.0 if table.remaining is None else table.remaining,
        own=optocouplers.OwnData(
            ctr_min_ratio=table.ctr_min,
            ctr_max_ratio=table.ctr_max,
            test_current_a=table.test_current,
            led_current_max_a=table.led_current,
            led_reverse_v=table.led_reverse_voltage,
        ),
        key="optocoupler",
    )


def _optocoupler(file: BoardFile) -> Iterator[InputError]:
    written, topology = file.optocoupler, topology_of(file)
    if is_direct(file) or written.family == optocouplers.NO_COUPLER:
        if not is_direct(file) and file.chain.resistors:
            chain = " - ".join(
                f"{item.ref or f'R{number}'} {ohm_text(item.value)}"
                for number, item in enumerate(file.chain.resistors, 1)
            )
            allowed = f"in place of the resistors of chain {straight_into_pin(chain)}"
            yield invalid_value(written.family, allowed, "optocoupler.family")
        elif not is_direct(file) or written.family != optocouplers.NO_COUPLER:
            yield invalid_value(written.family, INTO_PIN, "optocoupler.family")
        return
    yield from _own_ctr(file)
    try:
        part = fitted_optocoupler(file)
    except InputError as error:
        yield error
        return
    two_leds = part.family in optocouplers.TWO_LED_FAMILIES
    if written.family is not None and written.leds == (1 if two_leds else 2):
        yield invalid_value(
            written.leds, f"{2 if two_leds else 1}, those of {part.family}", "optocoupler.leds"
        )
    if topology != TRACED and two_leds != (topology is Topology.TWO_LED):
        allowed = (
            f'a part with one LED for topology {topology}; or chain.topology = "two-led" where no '
            'diode is in series; or the circuit as you trace it, such as "feed - R1 68k - D1 '
            '1N4007 > - led+", "led- - neutral"'
            if two_leds
            else f'a part with two LEDs for topology {topology}: "814", "H11AA1", "AC coupler" ...'
        )
        yield invalid_value(
            written.family or part.family,
            allowed,
            "optocoupler.family",
        )


def _own_ctr(file: BoardFile) -> Iterator[InputError]:
    """Limits of the CTR that contradict one another."""
    written = file.optocoupler
    low, high = written.ctr_min, written.ctr_max
    if low is not None and high is not None and low > high:
        yield invalid_value(
            format_si(low, "%"),
            f"not above the highest CTR, {format_si(high, '%')}",
            "optocoupler.ctr_min",
        )
    if written.ctr is not None and (low is not None or high is not None):
        allowed = "a measured ctr, or ctr_min and ctr_max of the data sheet, not both"
        yield invalid_value(format_si(written.ctr, "%"), allowed, "optocoupler.ctr")
    if written.test_current == 0.0:
        yield invalid_value("0 A", "the LED current of the CTR", "optocoupler.test_current")
    elif (
        written.test_current is not None
        and written.led_current is not None
        and written.test_current > written.led_current
    ):
        yield invalid_value(
            format_si(written.test_current, "A"),
            f"not above the highest LED current, {format_si(written.led_current, 'A')}",
            "optocoupler.test_current",
        )


def _output(file: BoardFile) -> Iterator[InputError]:
    output, controller = file.output, file.controller
    pulls_up = output.pull_up is not None or output.internal_pull_up is not None
    if is_direct(file):
        keys = ("pull_down",) if has_transistor(file) else ("pull_up", "pull_down")
        for key in keys:
            if getattr(output, key) is not None:
                allowed = 'a line of circuit, such as "logic+ - R9 10k - pin"'
                yield invalid_value(f"{key} beside a path into the pin", allowed, f"output.{key}")
        if has_transistor(file) and not pulls_up and not _has_part_at_pin(file):
            allowed = 'the collector\'s, such as pull_up = "10k", or internal_pull_up = "on"'
            yield invalid_value(None, allowed, "output.pull_up")
    elif pulls_up == (output.pull_down is not None):
        result = "both" if pulls_up else None
        allowed = (
            'a pull-up (pull_up, "?" where it is unread; internal_pull_up; or both) or a pull_down'
        )
        yield invalid_value(result, allowed, "output")
    if controller.input is not None:
        try:
            pin_input(controller.input, output.supply, "controller.input")
        except InputError as error:
            yield error
            return
    low, high = thresholds_of(file)
    supply = format_si(output.supply, "V")
    low_v, high_v = low.volts(output.supply), high.volts(output.supply)
    if not 0 < low_v < high_v:
        yield invalid_value(
            format_si(low_v, "V"),
            f"above 0 V and below the high threshold, {format_si(high_v, 'V')}",
            "controller.low_threshold",
        )
    if not high_v < output.supply:
        yield invalid_value(
            format_si(high_v, "V"), f"below the supply, {supply}", "controller.high_threshold"
        )
    try:
        period_s = 1.0 / frequency_of(file)
    except InputError:
        return  # the band is not known, which `_mains` says
    if (controller.min_low_time or 0.0) + (controller.min_high_time or 0.0) >= period_s:
        yield invalid_value(
            format_si(controller.min_low_time or controller.min_high_time or 0.0, "s"),
            f"with the other least time, less than a period, {format_si(period_s, 's')}",
            f"controller.{'min_low_time' if controller.min_low_time else 'min_high_time'}",
        )


def _has_part_at_pin(file: BoardFile) -> bool:
    """Whether a line of the circuit has a part at the pin."""
    assert file.circuit is not None
    pin = dict(file.circuit.aliases).get("pin", "pin")
    return any(pin in (link.a, link.b) for link in file.circuit.links)


def _service(file: BoardFile) -> Iterator[InputError]:
    bench = file.service.bench_temperature
    hot = file.service.hot_temperature
    bench_degc = refdata.default("service.bench_degc").value if bench is None else bench
    hot_degc = refdata.default("service.hot_degc").value if hot is None else hot
    if hot_degc < bench_degc:
        yield invalid_value(
            format_si(hot_degc, "°C"),
            f"not below the bench temperature, {format_si(bench_degc, '°C')}",
            "service.hot_temperature",
        )


def _appliance(file: BoardFile) -> Iterator[InputError]:
    try:
        frequency_hz = frequency_of(file)
    except InputError:
        return  # the band is not known, which `_mains` says
    yield from appliance_problems(file, frequency_hz)


def resistor_items(file: BoardFile) -> Iterator[tuple[str, ResistorTable]]:
    """Yield each resistor of the file with its key, in the order that references are given."""
    chain = file.chain
    for item in (item for string in _strings(file) for item in string):
        yield f"circuit.{item.ref}", item
    for number, item in enumerate(chain.resistors, 1):
        yield f"chain.resistors[{number}]", item
    for string_number, string in enumerate(chain.parallel, 1):
        for number, item in enumerate(string, 1):
            yield f"chain.parallel[{string_number}][{number}]", item
    for number, item in enumerate(chain.return_resistors or (), 1):
        yield f"chain.return_resistors[{number}]", item
    for key, single in (
        ("output.pull_up", file.output.pull_up),
        ("output.pull_down", file.output.pull_down),
        ("led.resistor", file.led.resistor),
    ):
        if single is not None:
            yield key, single


def _strings(file: BoardFile) -> tuple[tuple[ResistorTable, ...], ...]:
    """Strings of resistors of a traced circuit."""
    return () if file.circuit is None else file.circuit.strings


def written_references(file: BoardFile) -> Iterator[tuple[str, str]]:
    """Yield key and reference of each part whose reference was written."""
    for key, item in resistor_items(file):
        if item.ref is not None:
            yield f"{key}.ref", item.ref
    if file.circuit is not None:
        others = [diode.ref for diode in file.circuit.diodes]
        others += [ref for ref, _ in file.circuit.capacitors]
        yield from ((f"circuit.{ref}", ref) for ref in others if ref is not None)
    for key, table in (
        ("rectifier", file.rectifier),
        ("clamp", file.clamp),
        ("optocoupler", file.optocoupler),
    ):
        if table is not None and table.ref is not None:
            yield f"{key}.ref", table.ref


def _references(file: BoardFile) -> Iterator[InputError]:
    # what the element list calls the load relay
    first: dict[str, str] = {"K1": "K1 is the load relay"}
    for key, ref in written_references(file):
        name = ref.upper()
        if name in first:
            yield invalid_value(ref, f"a reference not used before ({first[name]})", key)
        first.setdefault(name, key)


def _styles(file: BoardFile) -> Iterator[InputError]:
    written = [(f"{key}.style", item.style) for key, item in resistor_items(file)]
    for key, style in [("chain.style", file.chain.style), *written]:
        if style is not None:
            yield from _refused(partial(parts_library.resistor_limits, style, key))


def _refused(look_up: Callable[[], object]) -> Iterator[InputError]:
    try:
        look_up()
    except InputError as error:
        yield error
