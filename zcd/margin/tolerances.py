"""Everything that is uncertain about a board, in one list, and boards drawn from it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board, Diode, Mains, Optocoupler, Resistor, Transistor
from zcd.board.optocouplers import UNRANKED, ctr_symmetry, grades
from zcd.board.parts_library import all_resistors
from zcd.board.pins import switching_levels
from zcd.circuit.batch import Batch
from zcd.circuit.build import (
    NOMINAL,
    Conditions,
    base_refs,
    build_circuit,
    coupler_refs,
    junction_refs,
    led_refs,
    mains_harmonic,
)
from zcd.circuit.elements import PIN_CLAMPS, Circuit, Junction, MainsHarmonic, Phototransistor
from zcd.physics.optocoupler import (
    ctr_shape_ratio,
    dark_current_a,
    output_transistor,
    own_shape,
    shape_spread,
)
from zcd.refdata import Default, columns, default, table
from zcd.sync.lock import Thresholds, thresholds_of

FloatArray = NDArray[np.float64]

HARMONIC_ORDERS = (3, 5, 7)
"""The strongest that a public network may have; the orders above them move little."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Draw:
    """Boards of one design as they are put together: conditions, thresholds, edits on the circuit.

    Parameters
    ----------
    conditions : Conditions
    thresholds : Thresholds
    edits : tuple of callable
        Made on the circuit in this order.
    """

    conditions: Conditions
    thresholds: Thresholds
    edits: tuple[Callable[[Circuit], Circuit], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Boards(Batch):
    """Boards of one design, a row each, ready to be solved and judged."""

    circuit: Circuit
    thresholds: Thresholds


@dataclass(frozen=True, slots=True, kw_only=True)
class Unpublished:
    """What of a tolerance no data sheet states, or nobody read: not what a part may do, but what
    is not known.

    Parameters
    ----------
    weak, strong : float
        Where it is put for a transistor that lets go as soon as any and collects as little, or as
        much, as any at small currents. The one is kind to a pin that may stay low, the other to
        one that may stay high.
    shallow : float, optional
        Where it is put for a weak one that leaves saturation early; None: as for any weak one.
    above : float
        The share from which on it is unpublished.
    """

    weak: float
    strong: float
    shallow: float | None = None
    above: float = 0.0

    def end(self, kind: str) -> float:
        """Where it is put for ``weak``, ``shallow`` or ``strong``."""
        if kind == "strong":
            return self.strong
        return self.weak if kind == "weak" or self.shallow is None else self.shallow


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """One quantity that is known only within limits.

    Parameters
    ----------
    name : str
        What is uncertain, in words that also tell which part: ``R2``, ``CTR of OC1``.
    low, high : float
        Its ends.
    unit : str
        Of the ends; ``x`` for a factor, empty for a ratio.
    source : str
        Where the ends come from.
    put : callable
        Puts amounts of shape (n,) into a draw.
    in_logs : bool
        Whether it is spread evenly in logs.
    extremes : tuple of float
        Shares (0 = low, 1 = high) at which the worst is to be found; the ends, and the middle
        where that may be worse than both.
    unpublished : Unpublished, optional
        What of it no data sheet states; None: nothing.
    """

    JSON_KEYS: ClassVar = ("name", "unit", "low", "high", "source")

    name: str
    low: float
    high: float
    unit: str
    source: str
    put: Callable[[Draw, FloatArray], Draw] = field(repr=False)
    in_logs: bool = False
    extremes: tuple[float, ...] = (0.0, 1.0)
    unpublished: Unpublished | None = None

    def amount(self, share: FloatArray) -> FloatArray:
        """The quantity at a share of the way from its low end to its high one."""
        if self.in_logs:
            return np.asarray(self.low * (self.high / self.low) ** share)
        return np.asarray(self.low + (self.high - self.low) * share)


def draw(board: Board, tolerances: Sequence[Tolerance], shares: FloatArray) -> Boards:
    """Boards with each tolerance at a share of its span.

    Parameters
    ----------
    board : Board
    tolerances : sequence of Tolerance
        d of them; what is not among them stays nominal.
    shares : ndarray, shape (n, d)
        From 0 to 1; columns in the order of the tolerances.

    Returns
    -------
    boards : Boards
        n rows.
    """
    drawn = Draw(conditions=NOMINAL, thresholds=thresholds_of(board))
    for tolerance, share in zip(tolerances, shares.T, strict=True):
        drawn = tolerance.put(drawn, tolerance.amount(share))
    circuit = build_circuit(board, drawn.conditions)
    for change in drawn.edits:
        circuit = change(circuit)
    if circuit.size < len(shares):  # only thresholds differ
        circuit = circuit.scale("mains", "rms_v", np.ones(len(shares)))
    return Boards(circuit=circuit, thresholds=drawn.thresholds)


def tolerances_of(board: Board) -> tuple[Tolerance, ...]:
    """All that is uncertain about a board in use, where it can differ at all.

    Parameters
    ----------
    board : Board

    Returns
    -------
    tolerances : tuple of Tolerance
        The surroundings first, then the parts in the order of the signal.
    """
    result = [
        *_supply(board),
        *_harmonics(board),
        *(_of_resistor(r) for r in all_resistors(board)),
        *_capacitors(board),
        *_diodes(board),
        *([] if board.optocoupler is None else _optocoupler(board, board.optocoupler)),
        *([] if board.transistor is None else _transistor(board, board.transistor)),
        *_output(board),
    ]
    return tuple(t for t in result if t.low < t.high)


def condition(name: str) -> Callable[[Draw, FloatArray], Draw]:
    """What sets one of the `Conditions`."""

    def put(drawn: Draw, amount: FloatArray) -> Draw:
        values: dict[str, Any] = {name: amount}
        return replace(drawn, conditions=replace(drawn.conditions, **values))

    return put


def threshold(name: str) -> Callable[[Draw, FloatArray], Draw]:
    """What sets one of the `Thresholds`."""
    return lambda drawn, x: replace(drawn, thresholds=replace(drawn.thresholds, **{name: x}))


def edit(change: Callable[[Circuit, FloatArray], Circuit]) -> Callable[[Draw, FloatArray], Draw]:
    """What edits the circuit."""
    return lambda drawn, x: replace(drawn, edits=(*drawn.edits, lambda circuit: change(circuit, x)))


def scaled(ref: str, name: str) -> Callable[[Draw, FloatArray], Draw]:
    """What multiplies one value of an element."""
    return edit(lambda circuit, x: circuit.scale(ref, name, x))


def _supply(board: Board) -> Iterator[Tolerance]:
    """Mains, its frequency, and the temperature."""
    mains, service = board.mains, board.service
    yield Tolerance(
        name="mains voltage", low=mains.low_rms_v, high=mains.high_rms_v, unit="V",
        source=f"the band {mains.band}", put=condition("mains_rms_v"),
    )  # fmt: skip
    yield Tolerance(
        name="mains frequency", low=mains.low_hz, high=mains.high_hz, unit="Hz",
        source="the board file's band or frequency tolerance", put=_at_a_frequency(mains),
    )  # fmt: skip
    yield Tolerance(
        name="temperature", low=service.bench_degc, high=service.hot_degc, unit="degC",
        source="from the bench to the hot temperature of the board file",
        put=condition("temperature_degc"),
    )  # fmt: skip


def _at_a_frequency(mains: Mains) -> Callable[[Draw, FloatArray], Draw]:
    """What sets the frequency; of two on a rating plate, a network has the one or the other."""
    put = condition("frequency_hz")
    if mains.second_hz is None:
        return put
    first, last = min(mains.nominal_hz), max(mains.nominal_hz)
    middle = (mains.low_hz + mains.high_hz) / 2.0
    half = middle - mains.low_hz

    def of_either(drawn: Draw, hz: FloatArray) -> Draw:
        up, down = (hz - mains.low_hz) / half, (mains.high_hz - hz) / half
        below = mains.low_hz * (1.0 - up) + (2.0 * first - mains.low_hz) * up
        above = mains.high_hz * (1.0 - down) + (2.0 * last - mains.high_hz) * down
        return put(drawn, np.where(hz <= middle, below, above))

    return of_either


def _harmonics(board: Board) -> Iterator[Tolerance]:
    """The strong harmonics, unless the board file gives some, in two parts each.

    One part is in phase with the fundamental and flattens or sharpens the peak; the other is in
    quadrature and moves the crossing.
    """
    if board.mains.harmonics:
        return
    limits = columns("harmonics_limits")
    for order in HARMONIC_ORDERS:
        limit = float(limits["limit_ratio"][limits["order"] == order][0])
        for place, part in (("peak", 1.0), ("crossing", 1j)):
            yield Tolerance(
                name=f"harmonic {order} at the {place}", low=-limit, high=limit, unit="",
                source=default("mains.distortion").why, put=edit(_harmonic(order, part)),
                extremes=(0.0, 0.5, 1.0),
            )  # fmt: skip


def _harmonic(order: int, part: complex) -> Callable[[Circuit, FloatArray], Circuit]:
    """What puts in one part of a harmonic; the other is kept, and so is the distortion limit.

    Both parts at their ends make a harmonic at its limit between them, not above it.
    """
    ref = f"mains.h{order}"

    def put(circuit: Circuit, ratio: FloatArray) -> Circuit:
        result = {h.ref: h for h in circuit.of(MainsHarmonic)}
        before = result.pop(ref, None)
        phasor = part * ratio
        if before is not None:
            phasor = phasor + before.ratio * np.exp(1j * np.asarray(before.phase_rad))
        others = sum(np.square(h.ratio) for h in result.values())
        room = np.sqrt(np.maximum(default("mains.distortion").value ** 2 - others, 0.0))
        longest = np.maximum(np.abs(phasor.real), np.abs(phasor.imag))
        harmonic = mains_harmonic(
            order, ratio=np.minimum(longest, room), phase_rad=np.angle(phasor)
        )
        return circuit.without(ref).add(harmonic)

    return put


def _both_ways(
    name: str,
    taken: Default,
    put: Callable[[Draw, FloatArray], Draw],
    *,
    factor: bool = True,
    unpublished: Unpublished | None = None,
) -> Tolerance:
    """A spread of the same size up and down: about 1 for a factor, about 0 for an offset."""
    middle = 1.0 if factor else 0.0
    return Tolerance(
        name=name, low=middle - taken.value, high=middle + taken.value,
        unit="x" if factor else taken.unit, source=taken.why, put=put, unpublished=unpublished,
    )  # fmt: skip


def _of_resistor(resistor: Resistor) -> Tolerance:
    ratio = resistor.tolerance_ratio
    return Tolerance(
        name=resistor.ref, low=1.0 - ratio, high=1.0 + ratio, unit="x",
        source="the board file's tolerance", put=scaled(resistor.ref, "resistance_ohm"),
    )  # fmt: skip


def _capacitors(board: Board) -> Iterator[Tolerance]:
    refs = [part.ref for part in board.capacitors]
    if board.relay is not None and board.relay.suppressor is not None:
        refs.append("suppressor.c")
    for ref in refs:
        yield _both_ways(ref, default("capacitor.tolerance"), scaled(ref, "capacitance_f"))


def _diodes(board: Board) -> Iterator[Tolerance]:
    """Forward drop and leakage of rectifier and clamp."""
    for part in board.diodes:
        drop, leak = _drop(part), _leak(part)
        yield _both_ways(
            f"forward drop of {part.ref}", default("spread.diode_forward"), drop, factor=False
        )
        yield _leakage(part.ref, leak)


def _drop(part: Diode) -> Callable[[Draw, FloatArray], Draw]:
    return edit(lambda circuit, volts: _dropped(circuit, junction_refs(part, circuit), volts))


def _dropped(circuit: Circuit, refs: Sequence[str], volts: FloatArray) -> Circuit:
    """Junctions whose forward voltage is higher by so much at any current."""
    for ref in refs:
        junction = circuit[ref]
        assert isinstance(junction, Junction)
        circuit = circuit.scale(ref, "saturation_a", np.exp(-volts / junction.emission_v))
    return circuit


def _leak(part: Diode) -> Callable[[Draw, FloatArray], Draw]:
    return edit(lambda circuit, factor: _leaking(circuit, junction_refs(part, circuit), factor))


def _leaking(circuit: Circuit, refs: Sequence[str], factor: FloatArray) -> Circuit:
    """Junctions whose reverse leakage is the typical one times a factor."""
    for ref in refs:
        circuit = circuit.scale(f"{ref}.leak", "resistance_ohm", 1.0 / factor)
    return circuit


def _leakage(ref: str, put: Callable[[Draw, FloatArray], Draw]) -> Tolerance:
    typical, least = default("junction.typical_leak_ratio"), default("spread.least_leak_ratio")
    return Tolerance(
        name=f"leakage of {ref}", low=least.value, high=1.0 / typical.value, unit="x",
        source="up to the data sheet's maximum", put=put, in_logs=True,
    )  # fmt: skip


def grade_unread(board: Board) -> bool:
    """Whether the grade of the optocoupler, of several that its type has, was not written."""
    opto = board.optocoupler
    if opto is None or not grade_unwritten(board):
        return False
    return opto.grade == UNRANKED and len(grades(opto.family)) > 1


def grade_unwritten(board: Board) -> bool:
    """Whether the file of a board says no grade, whether its type has any or not."""
    return any(each.key == "optocoupler.grade" for each in board.assumptions)


def _optocoupler(board: Board, opto: Optocoupler) -> Iterator[Tolerance]:
    """LED, CTR and its shape, dark current, and the transistor as a switch."""
    leds = led_refs(board)
    unpublished = None if opto.ctr_max_published else Unpublished(weak=0.5, strong=1.0, above=0.5)
    if grade_unread(board):
        unpublished = Unpublished(weak=0.5, strong=0.5)
    yield _both_ways(
        f"forward drop of {opto.ref}", default("spread.led_forward"),
        edit(lambda circuit, volts: _dropped(circuit, leds, volts)), factor=False,
    )  # fmt: skip
    yield _leakage(opto.ref, edit(lambda circuit, factor: _leaking(circuit, leds, factor)))
    yield Tolerance(
        name=f"CTR of {opto.ref}", low=opto.ctr_min_ratio, high=opto.ctr_max_ratio, unit="",
        source=opto.source.split(";")[0], put=condition("ctr_ratio"), in_logs=True,
        unpublished=unpublished,
    )  # fmt: skip
    yield _both_ways(
        f"CTR shape of {opto.ref}", shape_spread(opto.family),
        edit(lambda circuit, offset: _reshaped(circuit, opto, offset)), factor=False,
        unpublished=Unpublished(weak=0.0, strong=1.0),
    )  # fmt: skip
    if board.two_leds:
        yield _second_led(opto)
    for ref in coupler_refs(board)[1:]:
        yield _second_coupler(opto, ref)
    least, most = default("spread.least_dark"), default("spread.most_dark")
    yield Tolerance(
        name=f"dark current of {opto.ref}", low=least.value, unit="x", in_logs=True,
        high=most.value / float(dark_current_a(25.0)),
        source=most.why, put=scaled(opto.ref, "dark_a"),
    )  # fmt: skip
    yield _speed(opto)
    devices = {str(row["what"]): row for row in table("output_spread")}
    knee = devices["saturation knee"]
    # our own constant is fitted to makers' curves: it stays within the span
    yield Tolerance(
        name=f"saturation of {opto.ref}", low=min(float(knee["low_si"]), 1.0),
        high=max(float(knee["high_si"]), 1.0), unit="x",
        source="published transistor models in a circuit simulator [ZCD-OUTPUT-SPREAD]",
        put=scaled(opto.ref, "knee_ratio"), in_logs=True,
        unpublished=Unpublished(weak=0.0, strong=0.0, shallow=1.0),
    )  # fmt: skip


def _transistor(board: Board, part: Transistor) -> Iterator[Tolerance]:
    """Gain, base-emitter voltage and leakage."""
    refs = base_refs(board)
    yield Tolerance(
        name=f"hFE of {part.ref}", low=part.gain_min_ratio, high=part.gain_max_ratio, unit="",
        source=part.source, put=condition("ctr_ratio"), in_logs=True,
    )  # fmt: skip
    yield _both_ways(
        f"base-emitter voltage of {part.ref}", default("spread.base_emitter"),
        edit(lambda circuit, volts: _dropped(circuit, refs, volts)), factor=False,
    )  # fmt: skip
    yield _leakage(part.ref, edit(lambda circuit, factor: _leaking(circuit, refs, factor)))


def _speed(opto: Optocoupler) -> Tolerance:
    """Turn-off from the fastest maker to the slowest: storage time and capacitance together.

    Both go with the transistor's gain; makers whose parts store longer have more of the other too.
    """
    factor = output_transistor(opto.family).speed_factor_ratio

    def put(circuit: Circuit, factors: FloatArray) -> Circuit:
        slower = circuit.scale(opto.ref, "storage_s", factors)
        return slower.scale(f"{opto.ref}.miller", "capacitance_f", factors)

    return Tolerance(
        name=f"turn-off of {opto.ref}", low=1.0 / factor, high=factor, unit="x",
        source="switching curves of six makers' data sheets [ZCD-FIT]",
        put=edit(put), in_logs=True, unpublished=Unpublished(weak=0.0, strong=0.0),
    )  # fmt: skip


def _reshaped(circuit: Circuit, part: Optocoupler, offset: FloatArray) -> Circuit:
    """The same CTR at the test current, with the shape against current moved."""
    opto, test_a = circuit[part.ref], part.test_current_a
    assert isinstance(opto, Phototransistor)
    weight = np.asarray(opto.shape_weight, dtype=float) + offset
    if not own_shape(part.family):
        weight = np.clip(weight, 0.0, 1.0)
    same = _at_test_ratio(opto, test_a) / ctr_shape_ratio(test_a, weight, opto.own_shape)
    return circuit.change(opto.ref, shape_weight=weight, ctr_ratio=opto.ctr_ratio * same)


def _at_test_ratio(opto: Phototransistor, test_a: float) -> FloatArray:
    """CTR at the test current over that at 5 mA."""
    return ctr_shape_ratio(test_a, opto.shape_weight, opto.own_shape)


def _second_led(opto: Optocoupler) -> Tolerance:
    """What the second LED's CTR may be, over the first's."""
    low, high, source = ctr_symmetry(opto.family)
    return Tolerance(
        name=f"CTR of the second LED of {opto.ref}", low=low, high=high, unit="x", source=source,
        put=edit(lambda circuit, ratio: _unlike(circuit, opto, ratio)), in_logs=True,
    )  # fmt: skip


def _second_coupler(opto: Optocoupler, ref: str) -> Tolerance:
    """What the CTR of a second part of the same grade may be, over that of the first."""
    span = opto.ctr_max_ratio / opto.ctr_min_ratio

    def put(circuit: Circuit, ratio: FloatArray) -> Circuit:
        element = circuit[ref]
        assert isinstance(element, Phototransistor)
        at_test = element.ctr_ratio * _at_test_ratio(element, opto.test_current_a)
        within = np.clip(at_test * ratio, opto.ctr_min_ratio, opto.ctr_max_ratio) / at_test
        return circuit.scale(ref, "ctr_ratio", within)

    return Tolerance(
        name=f"CTR of {ref}", low=1.0 / span, high=span, unit="x",
        source=opto.source.split(";")[0], put=edit(put), in_logs=True,
    )  # fmt: skip


def _unlike(circuit: Circuit, opto: Optocoupler, ratio: FloatArray) -> Circuit:
    """A second LED of another CTR; a grade holds for both, a CTR that was measured for one."""
    if opto.ctr_min_ratio < opto.ctr_max_ratio:
        element = circuit[opto.ref]
        assert isinstance(element, Phototransistor)
        first = element.ctr_ratio * _at_test_ratio(element, opto.test_current_a)
        ratio = np.clip(first * ratio, opto.ctr_min_ratio, opto.ctr_max_ratio) / first
    return circuit.change(opto.ref, second_led_ratio=ratio)


def _output(board: Board) -> Iterator[Tolerance]:
    """The logic supply, and where the controller's input switches."""
    levels = switching_levels(board.controller)
    if board.output.internal is not None:
        yield _of_resistor(board.output.internal)
    if not board.is_isolated and board.transistor is None:
        yield _both_ways(
            "forward drop of the pin's diodes", default("spread.pin_diode_forward"),
            edit(lambda circuit, volts: _dropped(circuit, PIN_CLAMPS, volts)), factor=False,
        )  # fmt: skip
    yield _both_ways("logic supply", default("spread.supply"), scaled("supply", "voltage_v"))
    for name, span, put in (
        ("low threshold", levels.low_v, threshold("low_v")),
        ("high threshold", levels.high_v, threshold("high_v")),
    ):
        yield Tolerance(
            name=name, low=span[0], high=span[1], unit="V", source=levels.source, put=put
        )
