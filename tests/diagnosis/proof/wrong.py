"""What is wrong with a board: put into its circuit here, apart from the tool's own list of faults.

Sizes come from ranges of their own, wider than those that the tool tries. Only the names are the
tool's, so that an answer can be judged.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.diagnosis.proof.designs import between
from zcd.circuit.elements import (
    INFINITE_OHM,
    Capacitance,
    Circuit,
    DcSource,
    Junction,
    MainsSource,
    Phototransistor,
    Resistance,
)

FloatArray = NDArray[np.float64]
Change = Callable[[Circuit, Generator], Circuit]

SHARES: Mapping[str, float] = {
    "resistor": 0.16,
    "diode": 0.10,
    "optocoupler": 0.16,
    "capacitor": 0.03,
    "relay and contact": 0.10,
    "supplies and mains": 0.08,
    "pin": 0.04,
    "contamination": 0.08,
    "reversed or wrong part": 0.08,
    "loose joint": 0.08,
    "two faults": 0.08,
    "by flags alone": 0.04,
    "nothing wrong": 0.04,
}
"""How often each kind is put in, where a board has it."""
FLAGS_LOOKED_AT = 0.5
FAN_FLAG_FOLLOWS = 0.95
OPEN_OHM = (20e6, 1e12)
"""What an open part still lets through; common practice, no source."""
DIRT_W = 0.5
"""What dirt on the mains survives as heat; common practice, no source."""
LED_A = 0.1
"""What no LED of an optocoupler survives (817 data sheets: 50 mA at most)."""
SILENT = ("supply missing", "supply low", "mains missing")
"""A controller without a supply reports nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wrong:
    """One thing that may be wrong.

    Parameters
    ----------
    kind : str
        Of `SHARES`.
    keys : tuple of str
        What there is to name: one, two of a pair, none of a good board.
    change : callable
        Puts it into a circuit of one row, its size drawn.
    loose : bool
        It is now there, now not.
    flag : str
        That it raises with a good sync circuit.
    """

    kind: str
    keys: tuple[str, ...]
    change: Change
    loose: bool = False
    flag: str = ""


def all_wrong(circuit: Circuit) -> list[Wrong]:
    """Everything that may be wrong with a circuit."""
    single = [w for element in circuit for w in _of(element) if not _as_before(w, circuit)]
    single = [w for w in single if not _burns(w, circuit)]
    single += [*_relay(circuit), *_supplies(circuit), *_pin(), *_dirt(circuit)]
    loose = [_loose(wrong) for wrong in single if wrong.keys[0] in _joints(circuit)]
    return [*single, *loose, *_pairs(single), *_elsewhere()]


def _as_before(wrong: Wrong, circuit: Circuit) -> bool:
    """Two LEDs back to back in one part are the same when it is turned round."""
    return wrong.keys == ("OC1 reversed",) and "OC1.led2" in circuit


def _burns(wrong: Wrong, circuit: Circuit) -> bool:
    """A bridged resistor without others in series: the LED would not be there any more."""
    part, _, mode = wrong.keys[0].partition(" ")
    chain = {
        r.ref: float(np.max(r.resistance_ohm))
        for r in circuit.of(Resistance)
        if _is_resistor(r.ref)
        and not {r.a, r.b} & {"logic+", "logic0"}
        and (r.a, r.b) not in (("led+", "neutral"), ("led+", "led-"))
    }
    if mode != "short" or part not in chain:
        return False
    (mains,) = circuit.of(MainsSource)
    return bool(np.max(mains.rms_v) > LED_A * (sum(chain.values()) - chain[part]))


def draw(circuit: Circuit, rng: Generator) -> Wrong:
    """One of them: a kind by its share, then any of that kind."""
    result = all_wrong(circuit)
    kinds, shares = _kinds(result)
    kind = kinds[rng.choice(len(kinds), p=shares)]
    modes = sorted({_mode(w) for w in result if w.kind == kind})
    mode = modes[rng.integers(len(modes))]
    of_mode = [w for w in result if w.kind == kind and _mode(w) == mode]
    return of_mode[rng.integers(len(of_mode))]


def chances(circuit: Circuit) -> list[tuple[Wrong, float]]:
    """Everything that may be wrong with a circuit, and how often `draw` puts it in."""
    result = all_wrong(circuit)
    modes = Counter((w.kind, _mode(w)) for w in result)
    of_kind = Counter(kind for kind, _ in modes)
    shares = dict(zip(*_kinds(result), strict=True))
    return [(w, float(shares[w.kind]) / of_kind[w.kind] / modes[w.kind, _mode(w)]) for w in result]


def _kinds(found: list[Wrong]) -> tuple[list[str], FloatArray]:
    """Kinds that a board has, and their shares."""
    kinds = [kind for kind in SHARES if any(w.kind == kind for w in found)]
    shares = np.array([SHARES[kind] for kind in kinds])
    return kinds, shares / shares.sum()


def _mode(wrong: Wrong) -> str:
    """The same for every part of one sort: the first letters of the part, and what it has."""
    if len(wrong.keys) != 1:
        return ""
    part, _, mode = wrong.keys[0].partition(" ")
    return f"{part[0]} {mode}"


def set_to(ref: str, **values: float) -> Change:
    """Set values of an element."""
    return lambda circuit, _: circuit.change(ref, **values)


def scaled(ref: str, name: str, low: float, high: float) -> Change:
    """Multiply a value of an element by something between two ends."""
    return lambda circuit, rng: circuit.scale(ref, name, between(rng, low, high))


def bridged(ref: str, a: str, b: str, low: float, high: float) -> Change:
    """A resistance between two nodes, at a part (and with it, where an end is lifted)."""

    def change(circuit: Circuit, rng: Generator) -> Circuit:
        ohm = between(rng, low, high)
        return circuit.add(Resistance(ref=f"{ref}.bridge", a=a, b=b, resistance_ohm=ohm))

    return change


def _short(ref: str, a: str, b: str) -> Change:
    """Solder, a punched-through junction, a carbonised track."""
    return bridged(ref, a, b, 0.01, 10.0)


def _of(element: object) -> Iterator[Wrong]:
    match element:
        case Resistance(ref=ref, a=a, b=b) if _is_resistor(ref):
            yield from _resistor(ref, a, b)
        case Junction(ref=ref, a=a, b=b) if ".led" in ref:
            yield from _led(ref, a, b)
        case Junction(ref=ref, a=a, b=b):
            yield from _diode(ref, a, b)
        case Phototransistor(ref=ref, a=a, b=b):
            yield from _transistor(ref, a, b)
        case Capacitance(ref=ref, a=a, b=b) if ref[0] == "C":
            yield Wrong(kind="capacitor", keys=(f"{ref} open",),
                        change=scaled(ref, "capacitance_f", 1e-4, 0.1))  # fmt: skip
            yield Wrong(kind="capacitor", keys=(f"{ref} short",), change=_short(ref, a, b))


def _is_resistor(ref: str) -> bool:
    return "." not in ref and ref not in ("load", "rail")


def _resistor(ref: str, a: str, b: str) -> Iterator[Wrong]:
    def wrong(*factors: float) -> Change:
        return lambda circuit, rng: circuit.scale(ref, "resistance_ohm", rng.choice(factors))

    yield Wrong(kind="resistor", keys=(f"{ref} open",), change=_opened(ref))
    yield Wrong(kind="resistor", keys=(f"{ref} drift",),
                change=scaled(ref, "resistance_ohm", 1.2, 60.0))  # fmt: skip
    yield Wrong(kind="resistor", keys=(f"{ref} low",),
                change=scaled(ref, "resistance_ohm", 0.05, 0.8))  # fmt: skip
    yield Wrong(kind="resistor", keys=(f"{ref} short",), change=_short(ref, a, b))
    kind = "reversed or wrong part"
    yield Wrong(kind=kind, keys=(f"{ref} low",), change=wrong(0.01, 0.1, 0.22, 0.47))
    yield Wrong(kind=kind, keys=(f"{ref} drift",), change=wrong(2.2, 4.7, 10.0, 22.0))


def _opened(ref: str) -> Change:
    """A resistance that has gone open: the cracked film or the flux residue still conducts."""
    return lambda circuit, rng: circuit.change(ref, resistance_ohm=between(rng, *OPEN_OHM))


def _junction_opened(ref: str) -> Change:
    """A junction whose bond or pin is off: what is left is the dirt beside it."""

    def change(circuit: Circuit, rng: Generator) -> Circuit:
        circuit = circuit.change(ref, saturation_a=0.0)
        return circuit.change(f"{ref}.leak", resistance_ohm=between(rng, *OPEN_OHM))

    return change


def _led(ref: str, a: str, b: str) -> Iterator[Wrong]:
    opto = ref.partition(".")[0]
    name = f"{opto} LED" if ref.endswith("led") else f"{opto} second LED"
    yield Wrong(kind="optocoupler", keys=(f"{name} open",), change=_junction_opened(ref))
    yield Wrong(kind="optocoupler", keys=(f"{name} short",), change=_short(ref, a, b))
    yield Wrong(
        kind="contamination", keys=(f"{name} leaky",), change=bridged(ref, a, b, 1e3, 300e3)
    )
    if ref.endswith("led2"):
        one = ref.removesuffix("2")
        pin = _and(_junction_opened(one), _junction_opened(ref))
        yield Wrong(kind="optocoupler", keys=(f"{opto} LEDs open",), change=pin)
    if ref.endswith("led"):
        yield Wrong(kind="reversed or wrong part", keys=(f"{opto} reversed",), change=_turned(ref))


def _diode(ref: str, a: str, b: str) -> Iterator[Wrong]:
    yield Wrong(kind="diode", keys=(f"{ref} open",), change=_junction_opened(ref))
    yield Wrong(kind="diode", keys=(f"{ref} short",), change=_short(ref, a, b))
    yield Wrong(kind="diode", keys=(f"{ref} leaky",), change=bridged(ref, a, b, 2e3, 2e6))
    kind = "reversed or wrong part"
    yield Wrong(kind=kind, keys=(f"{ref} reversed",), change=_turned(ref))


def _turned(ref: str) -> Change:
    """The part the other way round: its junction and its leakage."""

    def change(circuit: Circuit, _: Generator) -> Circuit:
        was = circuit[ref]
        assert isinstance(was, Junction)
        there = replace(was, ref=f"{ref}.back", a=was.b, b=was.a)
        return circuit.change(ref, saturation_a=0.0, breakdown_v=1e9).add(there)

    return change


def _transistor(ref: str, a: str, b: str) -> Iterator[Wrong]:
    yield Wrong(kind="optocoupler", keys=(f"{ref} aged",),
                change=scaled(ref, "remaining_ratio", 0.02, 0.6))  # fmt: skip
    yield Wrong(kind="optocoupler", keys=(f"{ref} transistor open",),
                change=set_to(ref, remaining_ratio=0.0, dark_a=0.0))  # fmt: skip
    yield Wrong(kind="optocoupler", keys=(f"{ref} transistor short",), change=_short(ref, a, b))
    yield Wrong(kind="contamination", keys=(f"{ref} transistor leaky",),
                change=bridged(ref, a, b, 1e3, 100e3))  # fmt: skip


def _relay(circuit: Circuit) -> Iterator[Wrong]:
    if "K1.contact" not in circuit:
        return
    contact = _opened("K1.contact")

    def undriven(ref: str) -> Change:
        return _and(_opened(ref), contact)

    kind = "relay and contact"
    yield Wrong(kind=kind, keys=("K1 contact open",), change=contact)
    yield Wrong(kind=kind, keys=("K1 coil open",), change=undriven("K1.coil"))
    yield Wrong(kind=kind, keys=("K1 driver open",), change=undriven("K1.driver"))
    yield Wrong(
        kind=kind, keys=("K1 contact welded",), change=bridged("K1", "line", "feed", 0.01, 0.3)
    )

    def film(circuit: Circuit, rng: Generator) -> Circuit:
        return circuit.change("K1.contact", resistance_ohm=between(rng, 10e3, 2e6))

    yield Wrong(kind=kind, keys=("K1 contact resistive",), change=film)


def _supplies(circuit: Circuit) -> Iterator[Wrong]:
    kind = "supplies and mains"
    yield Wrong(kind=kind, keys=("supply missing",), change=set_to("supply", voltage_v=0.0))
    yield Wrong(kind=kind, keys=("supply low",), change=scaled("supply", "voltage_v", 0.35, 0.85))
    yield Wrong(kind=kind, keys=("mains low",), change=scaled("mains", "rms_v", 0.4, 0.82))
    yield Wrong(kind=kind, keys=("mains missing",), change=_unplugged)

    def hertz(circuit: Circuit, rng: Generator) -> Circuit:
        off = rng.choice((rng.uniform(0.88, 0.95), rng.uniform(1.05, 1.14)))
        return circuit.scale("mains", "frequency_hz", off)

    yield Wrong(kind=kind, keys=("mains frequency wrong",), change=hertz)
    if "coil supply" in circuit:
        contact = set_to("K1.contact", resistance_ohm=INFINITE_OHM)
        low = scaled("coil supply", "voltage_v", 0.15, 0.55)
        yield Wrong(kind=kind, keys=("coil supply low",), change=_and(low, contact))
        gone = set_to("coil supply", voltage_v=0.0)
        yield Wrong(kind=kind, keys=("coil supply missing",), change=_and(gone, contact))


def _unplugged(circuit: Circuit, _: Generator) -> Circuit:
    for source in circuit.of(MainsSource):
        circuit = circuit.change(source.ref, rms_v=0.0)
    for source in circuit.of(DcSource):
        circuit = circuit.change(source.ref, voltage_v=0.0)
    if "K1.contact" in circuit:
        circuit = circuit.change("K1.contact", resistance_ohm=INFINITE_OHM)
    return circuit


def _pin() -> Iterator[Wrong]:
    yield Wrong(
        kind="pin", keys=("pin stuck low",), change=bridged("pin", "pin", "logic0", 0.1, 50.0)
    )
    yield Wrong(
        kind="pin", keys=("pin stuck high",), change=bridged("pin", "logic+", "pin", 0.1, 50.0)
    )


def _dirt(circuit: Circuit) -> Iterator[Wrong]:
    kind = "contamination"
    names = (*circuit.nodes, *circuit.aliases)
    last = max(int(n.partition(".")[2]) for n in names if n.startswith("chain."))
    start = circuit.node("rect" if "rect" in names else "feed")
    (mains,) = circuit.of(MainsSource)
    # every other half-wave at least reaches it
    least = max(3e3, float(np.max(mains.rms_v)) ** 2 / (2.0 * DIRT_W))
    across = bridged("chain", start, circuit.node(f"chain.{last}"), least, 3e6)
    yield Wrong(kind=kind, keys=("chain leaky",), change=across)
    yield Wrong(kind=kind, keys=("pin leaky",), change=bridged("pin", "pin", "logic0", 1e3, 100e3))
    to_supply = bridged("pin", "logic+", "pin", 1e3, 100e3)
    yield Wrong(kind=kind, keys=("pin leaky to supply",), change=to_supply)


def _joints(circuit: Circuit) -> set[str]:
    """Keys of what a cracked joint does when it is open."""
    parts = [r.ref for r in circuit.of(Resistance) if _is_resistor(r.ref)]
    parts += [j.ref if ".led" not in j.ref else "OC1 LED" for j in circuit.of(Junction)]
    return {f"{part} open" for part in (*parts, "OC1 transistor", "K1 contact", "K1 coil")}


def _loose(wrong: Wrong) -> Wrong:
    part = wrong.keys[0].removesuffix(" open")
    return replace(wrong, kind="loose joint", keys=(f"{part} intermittent",), loose=True)


OFTEN_TWO = ("open", "drift", "short", "reversed", "aged")


def _pairs(single: list[Wrong]) -> Iterator[Wrong]:
    """Two faults at different parts: what fails together, and what a repair gets wrong."""
    kinds = ("resistor", "diode", "optocoupler", "reversed or wrong part")
    result = [
        w for w in single
        if (w.kind in kinds and w.keys[0].endswith(OFTEN_TWO)) or w.keys == ("K1 contact open",)
    ]  # fmt: skip
    for one, two in combinations(result, 2):
        if _part(one) != _part(two):
            both = _and(one.change, two.change)
            yield Wrong(kind="two faults", keys=(one.keys[0], two.keys[0]), change=both)


def _part(wrong: Wrong) -> str:
    """The part to replace; the diodes of a bridge count as one."""
    return wrong.keys[0].partition(" ")[0].rstrip("abcd")


def _elsewhere() -> Iterator[Wrong]:
    for key, flag in (
        ("controller input dead", "sync"), ("drive not firing", "fan"), ("fan not turning", "fan"),
    ):  # fmt: skip
        yield Wrong(kind="by flags alone", keys=(key,), change=lambda c, _: c, flag=flag)
    yield Wrong(kind="nothing wrong", keys=(), change=lambda c, _: c)


def _and(first: Change, second: Change) -> Change:
    return lambda circuit, rng: second(first(circuit, rng), rng)
