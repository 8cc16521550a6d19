"""Faults: every way in which the element list can go wrong, as edits on it.

Each fault has a severity from 0 to 1, an array over the rows of a batch, so that a drift is tried
at all its sizes at once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from zcd.board.units import find_name, nearest, refusal
from zcd.circuit.elements import (
    INFINITE_OHM,
    SHORT_OHM,
    Capacitance,
    Circuit,
    DcSource,
    Element,
    Junction,
    MainsSource,
    Phototransistor,
    Resistance,
)

FloatArray = NDArray[np.float64]
Edit = Callable[[Circuit, FloatArray], Circuit]
Amount = Callable[[FloatArray], FloatArray]

DRIFT = (1.15, 30.0)
"""A drifted resistor reads high: from just out of tolerance to nearly open."""
LEAK_OHM = (3e3, 3e6)
AGED = (0.02, 0.7)
RESISTIVE_CONTACT_OHM = (5e3, 1e6)
LOW_SUPPLY = (0.3, 0.85)
LOW_MAINS = (0.4, 0.85)
PIN_LEAK_OHM = (1e3, 100e3)
SMALL_DIODE_V = 75.0
"""Reverse rating of a signal diode fitted where a mains rectifier belongs (1N4148)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One way in which a board fails.

    Parameters
    ----------
    key : str
        Such as ``R2 open``.
    part : str
        Ref of the part to look at; empty for ``healthy``.
    kind, mode : str
        Row of ``reference/fault_shares.csv``.
    words : str
        What is wrong and what to do about it.
    edit : callable
        Puts the fault into a circuit, at a severity for each row.
    amount : callable or None
        What the severity means, in `unit`; None where there is only one severity.
    unit : str
        Of the amount; ``x`` for a factor.
    """

    key: str
    part: str
    kind: str
    mode: str
    words: str
    edit: Edit
    amount: Amount | None = None
    unit: str = ""


def faults_of(circuit: Circuit) -> tuple[Fault, ...]:
    """All single faults of a circuit, ``healthy`` first.

    Parameters
    ----------
    circuit : Circuit
        Under power.

    Returns
    -------
    faults : tuple of Fault
    """
    found = [HEALTHY]
    for element in circuit:
        found += _of_element(element)
    return (*found, *_pin_faults())


HEALTHY = Fault(
    key="healthy",
    part="",
    kind="healthy",
    mode="",
    words="the sync circuit reads as a good one: look at the controller, supply, connectors",
    edit=lambda circuit, _: circuit,
)


def with_fault(circuit: Circuit, key: str, severity: float) -> tuple[Fault, Circuit]:
    """A circuit with one of its faults put in.

    Parameters
    ----------
    circuit : Circuit
        Healthy.
    key : str
        Of the fault, such as ``R2 open``; upper or lower case.
    severity : float
        From 0 to 1.

    Returns
    -------
    fault, circuit

    Raises
    ------
    InputError
        If the circuit has no such fault.
    """
    faults = {fault.key: fault for fault in faults_of(circuit)}
    found = find_name(key, tuple(faults))
    if found is None:
        known = tuple(faults)
        raise refusal(key, f"one of {', '.join(known)}{nearest(key, known)}", "--fault")
    rows = np.full(circuit.size, severity)
    return faults[found], faults[found].edit(circuit, rows)


def _between(ends: tuple[float, float]) -> Amount:
    """Severity 0 to 1 spread evenly in logs."""
    low, high = ends
    return lambda u: low * (high / low) ** u


def _of_element(element: Element) -> Iterator[Fault]:
    """Failure modes of one element."""
    match element:
        case Resistance(ref="K1.contact"):
            yield from _contact_faults()
        case Resistance(ref="K1.coil"):
            yield _fault(
                "K1 coil", "coil", "open", "the relay's coil is open: replace the relay", _coil_open
            )
        case Resistance(ref="K1.driver"):
            yield _fault(
                "K1 driver",
                "driver",
                "open",
                "the relay's coil is not driven: look at its driver transistor, and whether the "
                "controller asks for the load at all",
                _undriven,
            )
        case Resistance(ref=ref) if not ref.endswith(".leak") and "suppressor" not in ref:
            yield from _resistor_faults(ref)
        case Capacitance(ref=ref) if not ref.endswith(".miller") and "suppressor" not in ref:
            yield from _capacitor_faults(element)
        case Junction(ref=ref) if ".led" in ref:
            yield from _led_faults(ref)
        case Junction():
            yield from _diode_faults(element)
        case Phototransistor():
            yield from _phototransistor_faults(element)
        case MainsSource():
            yield from _mains_faults()
        case DcSource(ref="coil supply"):
            yield _fault(
                "coil supply", "supply", "missing",
                "the supply of the relay's coil is missing: find out why", _coil_dead,
            )  # fmt: skip
        case DcSource(ref="supply"):
            yield from _supply_faults()


def _fault(
    part: str, kind: str, mode: str, words: str, edit: Edit, amount: Amount | None = None,
    unit: str = "",
) -> Fault:  # fmt: skip
    return Fault(
        key=f"{part} {mode}", part=part, kind=kind, mode=mode, words=words, edit=edit,
        amount=amount, unit=unit,
    )  # fmt: skip


def _set(ref: str, name: str, value: float | Amount) -> Edit:
    """Set one value of an element, at all severities or by severity."""
    return lambda circuit, u: circuit.change(ref, **{name: value(u) if callable(value) else value})


def _short(ref: str) -> Edit:
    return lambda circuit, _: circuit.short(ref)


def _times(ref: str, name: str, factor: Amount) -> Edit:
    """Multiply one value of an element by severity."""
    return lambda circuit, u: circuit.scale(ref, name, factor(u))


def _contact_faults() -> Iterator[Fault]:
    yield _fault(
        "K1 contact",
        "contact",
        "open",
        "the load relay's contact stays open although its coil is driven: replace the relay; "
        "the sync chain is not at fault",
        _set("K1.contact", "resistance_ohm", INFINITE_OHM),
    )
    size = _between(RESISTIVE_CONTACT_OHM)
    yield _fault(
        "K1 contact", "contact", "resistive",
        "the load relay's contact has a film or is burnt: replace the relay",
        _set("K1.contact", "resistance_ohm", size), size, "Ω",
    )  # fmt: skip


def _undriven(circuit: Circuit, severity: FloatArray) -> Circuit:
    del severity
    circuit = circuit.change("K1.driver", resistance_ohm=INFINITE_OHM)
    return circuit.change("K1.contact", resistance_ohm=INFINITE_OHM)


def _coil_dead(circuit: Circuit, severity: FloatArray) -> Circuit:
    del severity
    circuit = circuit.change("coil supply", voltage_v=0.0)
    return circuit.change("K1.contact", resistance_ohm=INFINITE_OHM)


def _coil_open(circuit: Circuit, severity: FloatArray) -> Circuit:
    del severity
    circuit = circuit.change("K1.coil", resistance_ohm=INFINITE_OHM)
    return circuit.change("K1.contact", resistance_ohm=INFINITE_OHM)


def _resistor_faults(ref: str) -> Iterator[Fault]:
    yield _fault(
        ref, "resistor", "open", f"{ref} is open: replace it, and its neighbours of the same make",
        _set(ref, "resistance_ohm", INFINITE_OHM),
    )  # fmt: skip
    drift = _between(DRIFT)
    yield _fault(
        ref, "resistor", "drift", f"{ref} has drifted high: replace it",
        _times(ref, "resistance_ohm", drift), drift, "x",
    )  # fmt: skip
    yield _fault(
        ref, "resistor", "short",
        f"{ref} is bridged: look for solder or a burnt track; its neighbours carried its voltage",
        _short(ref),
    )  # fmt: skip

    for mode, decade in (("ten times too low", 0.1), ("ten times too high", 10.0)):
        yield _fault(
            ref, "resistor", mode, f"{ref} is {mode}: a wrong part, read its marking",
            _times(ref, "resistance_ohm", _between((decade, decade))),
        )  # fmt: skip


def _capacitor_faults(element: Capacitance) -> Iterator[Fault]:
    ref = element.ref
    yield _fault(
        ref, "capacitor", "open", f"{ref} has lost its capacitance: replace it",
        _set(ref, "capacitance_f", 0.0),
    )  # fmt: skip
    yield _fault(ref, "capacitor", "short", f"{ref} is shorted: replace it", _short(ref))


def _leak(ref: str, size: Amount) -> Edit:
    return _set(f"{ref}.leak", "resistance_ohm", size)


def _led_faults(ref: str) -> Iterator[Fault]:
    opto = ref.partition(".")[0]
    name = "LED" if ref.endswith("led") else "second LED"
    yield _fault(
        f"{opto} {name}", "led", "open", f"the {name} of {opto} is open: replace {opto}",
        _set(ref, "saturation_a", 0.0),
    )  # fmt: skip
    yield _fault(
        f"{opto} {name}", "led", "short",
        f"the {name} of {opto} is shorted: replace {opto}, and look for why (surge, rectifier)",
        _short(ref),
    )  # fmt: skip
    size = _between(LEAK_OHM)
    yield _fault(
        f"{opto} {name}", "led", "leaky",
        f"something leaks across the {name} of {opto}: clean the board there, then replace {opto}",
        _leak(ref, size), size, "Ω",
    )  # fmt: skip


def _diode_faults(element: Junction) -> Iterator[Fault]:
    ref = element.ref
    yield _fault(ref, "diode", "open", f"{ref} is open: replace it", _set(ref, "saturation_a", 0.0))
    yield _fault(
        ref, "diode", "short",
        f"{ref} is shorted: replace it, and check the LED, which took the reverse voltage",
        _short(ref),
    )  # fmt: skip
    size = _between(LEAK_OHM)
    yield _fault(
        ref, "diode", "leaky", f"{ref} leaks in reverse: replace it", _leak(ref, size), size, "Ω"
    )
    yield _fault(ref, "diode", "reversed", f"{ref} is fitted the wrong way round", _reverse(ref))
    if np.max(element.breakdown_v) > SMALL_DIODE_V:
        yield _fault(
            ref, "diode", "wrong part",
            f"{ref} is a small signal diode that cannot block mains: fit a rectifier",
            _set(ref, "breakdown_v", SMALL_DIODE_V),
        )  # fmt: skip


def _reverse(ref: str) -> Edit:
    """Turn a diode round: the forward one goes, one the other way comes."""

    def edit(circuit: Circuit, severity: FloatArray) -> Circuit:
        del severity
        was = circuit[ref]
        assert isinstance(was, Junction)
        turned = replace(was, ref=f"{ref}.turned", a=was.b, b=was.a)
        return circuit.change(ref, saturation_a=0.0, breakdown_v=1e9).add(turned)

    return edit


def _phototransistor_faults(element: Phototransistor) -> Iterator[Fault]:
    ref = element.ref
    yield _fault(
        ref, "phototransistor", "aged",
        f"the CTR of {ref} is low: aged, or of too low a grade; replace {ref}",
        _times(ref, "remaining_ratio", _between(AGED)), _between(AGED), "x",
    )  # fmt: skip
    yield _fault(
        f"{ref} transistor", "phototransistor", "open",
        f"the transistor of {ref} is open (or one of its joints): reflow, then replace {ref}",
        lambda c, _: c.change(ref, remaining_ratio=0.0, dark_a=0.0),
    )  # fmt: skip
    for mode, size, words in (
        ("short", SHORT_OHM, f"the transistor of {ref} is shorted: replace {ref}"),
        (
            "leaky",
            _between(PIN_LEAK_OHM),
            f"something leaks from collector to emitter of {ref}: clean, then replace {ref}",
        ),
    ):
        yield _fault(
            f"{ref} transistor", "phototransistor", mode, words,
            _bridge(f"{ref}.bridge", element.a, element.b, size),
            *((size, "Ω") if callable(size) else (None, "")),
        )  # fmt: skip


def _bridge(ref: str, a: str, b: str, size: float | Amount) -> Edit:
    """A resistance between two nodes."""

    def edit(circuit: Circuit, severity: FloatArray) -> Circuit:
        ohm = size(severity) if callable(size) else size
        return circuit.add(Resistance(ref=ref, a=a, b=b, resistance_ohm=ohm))

    return edit


def _mains_faults() -> Iterator[Fault]:
    share = _between(LOW_MAINS)
    yield _fault(
        "mains", "mains", "low", "the mains at the board is low: measure at the socket first",
        _times("mains", "rms_v", share), share, "x",
    )  # fmt: skip


def _supply_faults() -> Iterator[Fault]:
    yield _fault(
        "supply", "supply", "missing",
        "the controller's supply is missing: find out why before anything else",
        _set("supply", "voltage_v", 0.0),
    )  # fmt: skip
    share = _between(LOW_SUPPLY)
    yield _fault(
        "supply", "supply", "low", "the controller's supply is low: regulator or its load",
        _times("supply", "voltage_v", share), share, "x",
    )  # fmt: skip


def _pin_faults() -> Iterator[Fault]:
    """Faults of the controller's input, which is no element of its own."""
    size = _between(PIN_LEAK_OHM)
    yield _fault(
        "pin", "pin", "stuck low",
        "the controller's pin (or its track) is shorted to ground: lift it to tell which",
        _bridge("pin.low", "pin", "logic0", 10.0),
    )  # fmt: skip
    yield _fault(
        "pin", "pin", "leaky",
        "the controller's pin (or the board) leaks to ground: clean, then lift the pin",
        _bridge("pin.low", "pin", "logic0", size), size, "Ω",
    )  # fmt: skip
    yield _fault(
        "pin", "pin", "stuck high",
        "the controller's pin (or its track) is shorted to the supply: lift it to tell which",
        _bridge("pin.high", "logic+", "pin", 10.0),
    )  # fmt: skip
