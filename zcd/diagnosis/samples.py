"""Good boards over all that a bench does not know: the margins' tolerances, at a bench."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board, Unknown
from zcd.board.parts_library import all_resistors
from zcd.circuit.build import junction_refs, led_refs
from zcd.circuit.elements import INFINITE_OHM, Circuit, Resistance
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import DIODE_SHORT_A, FULL_SCALES_V, Meter, ohm_full_scale_span_v
from zcd.margin.tolerances import Tolerance, draw, edit, scaled, tolerances_of

FloatArray = NDArray[np.float64]

SEED = 20
MORE_SEED = SEED + 7
"""Of further good boards; those between are of what the meter is."""
BENCH_MAINS = (0.95, 1.05)
"""The mains of the day over nominal: common practice, no source."""
BENCH_DEGC = (15.0, 35.0)
LOAD_OHM = (20.0, 5e3)
"""What the load contact feeds, where it is connected at all (half of the samples): common
practice, no source."""
ACROSS_MAINS_OHM = (100.0, 10e6)
"""What else joins line and neutral on a dead board, where anything does (half of the samples):
transformer, heater, discharge resistor of a suppressor; common practice, no source."""
LED_FORWARD_V = 0.1
"""How far the forward voltage of an optocoupler's LED is off at what a diode test drives: curves of
six makers at 1 mA lie from 1.03 to 1.14 V (PS2501, PC8171, SFH620A, H11A817, TLP293, EL817 data
sheets); as much again from part to part. The largest printed limit, which a check counts with, is
three times as wide."""
COIL_SUPPLY = (0.85, 1.25)
"""An unregulated coil supply: common practice, no source."""
COIL_OHM = (0.85, 1.15)
"""Tolerance of a relay coil (Omron glossary: 15 % unless stated)."""
RAIL_OHM = (300.0, 100e6)
"""What else hangs on the controller's supply, as an ohms range finds it on a dead board:
regulator, controller, bleeder, or hardly anything; common practice, no source."""
PIN_INPUT_OHM = (5e6, 1e9)
"""What a controller's input lets through to its supply or to ground: at most a microampere at 5 V
(ATmega328P data sheet), mostly far less."""
PIN_CLAMP_A = (1e-20, 1e-11)
"""Saturation current of the diodes that protect an input, from none to speak of to a tenth of a
milliampere at 0.42 V: common practice, no source."""
THRESHOLD_RATIO = (0.85, 1.18)
"""Nobody reads a slow edge at exactly the controller's guaranteed levels; common practice, no
source."""
DIODE_BREAKDOWN = (1.0, 2.0)
ZENER_BREAKDOWN = (0.95, 1.05)
LED_BREAKDOWN = (1.0, 4.0)
"""Where a junction breaks down over its rating, which is a least value, or of a zener its own, to
5 %: common practice, no source."""
TRIGGER_RATIO = (0.5, 2.0)
"""What a meter needs to count pulses, over the usual: nobody knows it of a meter; common practice,
no source."""
MOST_METERS = 0.75
"""Share of meters whose ohms ranges leave no more than those of the best-known manuals; common
practice, no source."""
DIODE_ENDS_V = (1.2, 2.0, 2.8)
EARLY_SHARE = 0.25
"""Where the diode tests of meters end: at 1.2 V (some bench meters), at 2 V (most handhelds, by the
meters' sheets), or later; a quarter of them before 2 V: common practice, no source."""
STIFFEST = 10.0
"""What drives a diode test, over its open-circuit voltage, at most: a meter that holds its current
up to there shows junctions in series higher than one that has a resistor. No manual says which it
is; common practice, no source."""
NOT_AT_A_BENCH = ("mains frequency", "low threshold", "high threshold", "harmonic")
"""A network's frequency is known better than a reading; pulses are read between the board's own
thresholds; what harmonics move is within a reading's error, and would double the time."""
ASSUMED = "common practice, no source"


def sample_circuits(
    board: Board, samples: int, seed: int = SEED, *, with_ends: bool = False
) -> tuple[Circuit, FloatArray]:
    """Healthy circuits over all that is unknown at the bench, and a severity for each.

    Parameters
    ----------
    board : Board
    samples : int
    seed : int
    with_ends : bool
        Whether all resistors of the first two are at the low end of their tolerance, and at the
        high one, as those of one reel may be.

    Returns
    -------
    circuit : Circuit
        `samples` rows.
    severity : ndarray, shape (samples,)
        From 0 to 1.

    Notes
    -----
    A latin hypercube: each quantity alone is spread evenly, however few the samples are.
    """
    unknown = bench_tolerances(board)
    shares = _hypercube(len(unknown) + 1, seed, samples)
    if with_ends:
        refs = {part.ref for part in all_resistors(board)}
        of_resistors = [1 + k for k, each in enumerate(unknown) if each.name in refs]
        shares[:2, of_resistors] = [[0.0], [1.0]]
    return draw(board, unknown, shares[:, 1:]).circuit, shares[:, 0]


def sample_meter(
    board: Board,
    circuit: Circuit,
    meter: Meter,
    samples: int,
    which: NDArray[np.intp],
    more: int = 0,
) -> MeterModel:
    """The meter beside each circuit, over all that is unknown of it and of what it tests.

    Parameters
    ----------
    board : Board
    circuit : Circuit
        n rows.
    meter : Meter
    samples : int
    which : ndarray of int, shape (n - more,)
        Sample that each row is of, from 0.
    more : int
        How many rows at the end are samples of their own.

    Returns
    -------
    meter model : MeterModel
    """

    def drawn(spread: Callable[[int], FloatArray]) -> FloatArray:
        return np.concatenate([spread(samples)[which], spread(more)])

    return MeterModel(
        board,
        circuit,
        meter,
        full_scale_v=drawn(partial(ohm_full_scales_v, meter)),
        diode_full_scale_v=None if meter.diode_stated else drawn(diode_full_scales_v),
        diode_drive_v=drawn(partial(diode_drives_v, meter)),
        diode_source_ohm=drawn(partial(diode_sources_ohm, meter)),
        pin_clamp_a=drawn(pin_clamps_a),
        threshold_ratio=drawn(threshold_ratios),
        trigger_ratio=drawn(trigger_ratios),
        count_share=drawn(count_shares),
    )


def ohm_full_scales_v(meter: Meter, samples: int) -> FloatArray:
    """What the ohms ranges of a meter may leave at the probes at full scale.

    Parameters
    ----------
    meter : Meter
    samples : int

    Returns
    -------
    volts : ndarray, shape (samples,)
        [V]
    """
    low, high = ohm_full_scale_span_v(meter)
    share = _hypercube(1, SEED + 1, samples)[:, 0]
    ends_v = [low, min(FULL_SCALES_V[1], high), high]
    return np.exp(np.interp(share, [0.0, MOST_METERS, 1.0], np.log(ends_v)))


def diode_full_scales_v(samples: int) -> FloatArray:
    """Where the diode test of a meter may end that does not state it.

    Parameters
    ----------
    samples : int

    Returns
    -------
    volts : ndarray, shape (samples,)
        [V]
    """
    share = _hypercube(1, SEED + 6, samples)[:, 0]
    return np.interp(share, [0.0, EARLY_SHARE, 1.0], DIODE_ENDS_V)


def diode_drives_v(meter: Meter, samples: int) -> FloatArray:
    """What the diode test of a meter drives like: how it holds its current is not known.

    Parameters
    ----------
    meter : Meter
    samples : int

    Returns
    -------
    volts : ndarray, shape (samples,)
        From its open-circuit voltage, behind a resistor, to `STIFFEST` times that.
    """
    return meter.diode_open_v * _spread((1.0, STIFFEST), SEED + 9, samples)


def diode_sources_ohm(meter: Meter, samples: int) -> FloatArray:
    """Resistances behind these, of which the current into a short is not known.

    Parameters
    ----------
    meter : Meter
    samples : int

    Returns
    -------
    ohm : ndarray, shape (samples,)
    """
    return diode_drives_v(meter, samples) / _spread(DIODE_SHORT_A, SEED + 3, samples)


def pin_clamps_a(samples: int) -> FloatArray:
    """Saturation currents of the diodes that protect the controller's input.

    Parameters
    ----------
    samples : int

    Returns
    -------
    saturation_a : ndarray, shape (samples,)
    """
    return _spread(PIN_CLAMP_A, SEED + 2, samples)


def threshold_ratios(samples: int) -> FloatArray:
    """Levels at which pulses are read off a trace, over the board's thresholds.

    Parameters
    ----------
    samples : int

    Returns
    -------
    ratio : ndarray, shape (samples,)
    """
    return _spread(THRESHOLD_RATIO, SEED + 4, samples)


def trigger_ratios(samples: int) -> FloatArray:
    """What a meter needs to count pulses at the pin, over the usual.

    Parameters
    ----------
    samples : int

    Returns
    -------
    ratio : ndarray, shape (samples,)
    """
    return _spread(TRIGGER_RATIO, SEED + 5, samples)


def count_shares(samples: int) -> FloatArray:
    """How far from the mean of pulses to the level of a logic input a meter counts them; half of
    all meters count at the mean: common practice, no source.

    Parameters
    ----------
    samples : int

    Returns
    -------
    share : ndarray, shape (samples,)
        From 0 to 1.
    """
    return np.maximum(2.0 * _hypercube(1, SEED + 8, samples)[:, 0] - 1.0, 0.0)


def _spread(span: tuple[float, float], seed: int, samples: int) -> FloatArray:
    """One quantity that is in no circuit, spread evenly in logs apart from all others."""
    share = _hypercube(1, seed, samples)[:, 0]
    low, high = span
    return np.asarray(low * (high / low) ** share)


def _hypercube(quantities: int, seed: int, samples: int) -> FloatArray:
    """A latin hypercube, shape (samples, quantities).

    The same numbers as `scipy.stats.qmc` draws, whose import would cost every command that
    diagnoses more than half a second.
    """
    rng = np.random.default_rng(seed).spawn(1)[0]
    within = rng.uniform(size=(samples, quantities))
    cells = np.tile(np.arange(1, samples + 1), (quantities, 1))
    for row in cells:
        rng.shuffle(row)
    return np.asarray((cells.T - within) / samples)


def bench_tolerances(board: Board) -> tuple[Tolerance, ...]:
    """What is known only within limits of a board on the bench.

    The margins' own list, with the mains of the day and the room in place of what a board must
    stand, and what surrounds a relay, the mains inlet and the controller's supply.
    """
    listed = [t for t in tolerances_of(board) if not t.name.startswith(NOT_AT_A_BENCH)]
    result = [_at_a_bench(t, board) for t in listed]
    return (
        *result,
        *_breakdowns(board),
        _on_the_rail(),
        _into_the_pin(),
        _joined("across the mains", "line", "neutral", ACROSS_MAINS_OHM),
        *_around_the_relay(board),
    )


def _at_a_bench(tolerance: Tolerance, board: Board) -> Tolerance:
    for unread in board.unknowns:
        if unread.ref == tolerance.name:
            return _anything_between(tolerance, board, unread)
    rms_v, opto = board.mains.rms_v, board.optocoupler
    low, high = {
        f"forward drop of {opto.ref if opto else ''}": (-LED_FORWARD_V, LED_FORWARD_V),
        "mains voltage": (BENCH_MAINS[0] * rms_v, BENCH_MAINS[1] * rms_v),
        "temperature": BENCH_DEGC,
    }.get(tolerance.name, (tolerance.low, tolerance.high))
    return replace(tolerance, low=low, high=high)


def _anything_between(tolerance: Tolerance, board: Board, unread: Unknown) -> Tolerance:
    """A resistor that nobody could read: anything within its limits, evenly in logs."""
    taken = next(part for part in all_resistors(board) if part.ref == unread.ref)
    return replace(
        tolerance, low=unread.low_ohm / taken.resistance_ohm,
        high=unread.high_ohm / taken.resistance_ohm, in_logs=True,
        source="the part could not be read",
    )  # fmt: skip


def _breakdowns(board: Board) -> Iterator[Tolerance]:
    """Where diodes and LED break down: at their ratings or beyond."""
    for part in board.diodes:
        span = ZENER_BREAKDOWN if part.junction.is_zener else DIODE_BREAKDOWN
        yield _breakdown(part.ref, span, partial(junction_refs, part))
    if (opto := board.optocoupler) is not None:
        yield _breakdown(opto.ref, LED_BREAKDOWN, lambda circuit: led_refs(board))


def _breakdown(
    name: str, span: tuple[float, float], refs_in: Callable[[Circuit], Sequence[str]]
) -> Tolerance:
    def put(circuit: Circuit, factor: FloatArray) -> Circuit:
        for ref in refs_in(circuit):
            circuit = circuit.scale(ref, "breakdown_v", factor)
        return circuit

    return Tolerance(
        name=f"breakdown of {name}", low=span[0], high=span[1], unit="x", source=ASSUMED,
        put=edit(put), in_logs=True,
    )  # fmt: skip


def _on_the_rail() -> Tolerance:
    def put(circuit: Circuit, ohm: FloatArray) -> Circuit:
        return circuit.add(Resistance(ref="rail", a="logic+", b="logic0", resistance_ohm=ohm))

    return Tolerance(
        name="on the supply", low=RAIL_OHM[0], high=RAIL_OHM[1], unit="Ω", source=ASSUMED,
        put=edit(put), in_logs=True,
    )  # fmt: skip


def _into_the_pin() -> Tolerance:
    def put(circuit: Circuit, share: FloatArray) -> Circuit:
        low, high = PIN_INPUT_OHM
        ohm = high * (low / high) ** np.abs(2.0 * share - 1.0)
        up, down = (
            np.where(share > 0.5, ohm, INFINITE_OHM),
            np.where(share > 0.5, INFINITE_OHM, ohm),
        )
        return circuit.add(
            Resistance(ref="pin.up", a="logic+", b="pin", resistance_ohm=up),
            Resistance(ref="pin.down", a="pin", b="logic0", resistance_ohm=down),
        )

    return Tolerance(
        name="into the pin", low=0.0, high=1.0, unit="", source="ATmega328P data sheet",
        put=edit(put),
    )  # fmt: skip


def _around_the_relay(board: Board) -> Iterator[Tolerance]:
    if board.relay is None:
        return
    yield Tolerance(
        name="coil supply", low=COIL_SUPPLY[0], high=COIL_SUPPLY[1], unit="x", source=ASSUMED,
        put=scaled("coil supply", "voltage_v"),
    )  # fmt: skip
    yield Tolerance(
        name="coil", low=COIL_OHM[0], high=COIL_OHM[1], unit="x", source="Omron glossary",
        put=scaled("K1.coil", "resistance_ohm"),
    )  # fmt: skip
    yield _joined("load", "feed", "neutral", LOAD_OHM)


def _joined(name: str, a: str, b: str, span_ohm: tuple[float, float]) -> Tolerance:
    """Something between two nodes in the upper half of the shares, nothing in the lower."""
    low, high = span_ohm

    def put(circuit: Circuit, share: FloatArray) -> Circuit:
        ohm = np.where(share > 0.5, low * (high / low) ** (2.0 * share - 1.0), INFINITE_OHM)
        return circuit.add(Resistance(ref=name, a=a, b=b, resistance_ohm=ohm))

    return Tolerance(name=name, low=0.0, high=1.0, unit="", source=ASSUMED, put=edit(put))
