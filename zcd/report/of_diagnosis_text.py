"""What a diagnosis says, in words: how sure it is, how far a part has gone, which range to set."""

from __future__ import annotations

import re
from collections.abc import Sequence
from math import isfinite

import numpy as np

from zcd.board.units import format_si_span
from zcd.circuit.elements import Circuit, DcSource, MainsSource, Resistance
from zcd.diagnosis.faults import Fault
from zcd.diagnosis.functions import Function
from zcd.diagnosis.next_reading import Suggestion
from zcd.diagnosis.rank import Ranked
from zcd.report.text import probability_text, quantity_text

MOST_NAMED = 3
MIN_NAMED = 0.05
MIN_TELLING = 0.1
"""Nobody acts on less."""


MISFITS = {
    "wrong value x0.1": "a tenth of its value fitted",
    "wrong value x10": "ten times its value fitted",
    "drift": "gone high",
    "pin stuck": "controller pin stuck",
    "pin leaky": "controller pin leaky",
}
"""How modes are told that files and JSON name in other words, as a part of a key."""
LOW_OHMS = "gone low"
"""The same of a resistor that is low: of mains or a supply it is the volts."""
_LOW = re.compile(r"\b(R\w+|pull-up) low\b")
_MISFIT = re.compile(rf"\b(?:{'|'.join(MISFITS)})\b")


def fault_words(key: str) -> str:
    """A fault's key as a person says it.

    Examples
    --------
    >>> fault_words("R2 wrong value x0.1"), fault_words("R2 drift"), fault_words("R2 low")
    ('R2 a tenth of its value fitted', 'R2 gone high', 'R2 gone low')
    """
    key = _MISFIT.sub(lambda found: MISFITS[found[0]], key)
    return _LOW.sub(rf"\1 {LOW_OHMS}", key)


def sentence(text: str) -> str:
    """Words as a sentence.

    Examples
    --------
    >>> sentence("not settled yet")
    'Not settled yet.'
    """
    return f"{text[:1].upper()}{text[1:]}."


def amount_text(ranked: Ranked, circuit: Circuit) -> str:
    """How far it has gone, in the part's own terms: 10 % to 90 % point."""
    fault = ranked.fault
    if fault is None or ranked.amount is None:
        return ""
    low, high = ranked.amount[0], ranked.amount[2]
    if fault.kind == "phototransistor" and fault.unit == "x":
        return f"CTR at {format_si_span(low, high, '%', digits=2)} of new"
    unit, nominal = _nominal(fault, circuit)
    words = f"{quantity_text(low * nominal, unit)} to {quantity_text(high * nominal, unit)}"
    if fault.kind == "resistor":
        return f"{fault.part} reads as {words}"
    return f"a leak of {words}" if "leaky" in fault.mode else f"at {words}"


def _nominal(fault: Fault, circuit: Circuit) -> tuple[str, float]:
    """Unit of an amount, and the value of the part that a factor is one of."""
    if fault.unit != "x":
        return fault.unit, 1.0
    element = circuit[fault.part]
    if isinstance(element, Resistance):
        return "Ω", float(np.max(element.resistance_ohm))
    if isinstance(element, MainsSource):
        if fault.mode == "frequency wrong":
            return "Hz", float(np.max(element.frequency_hz))
        return "V", float(np.max(element.rms_v))
    assert isinstance(element, DcSource)
    return "V", float(np.max(element.voltage_v))


def range_text(suggestion: Suggestion) -> str:
    """The range of a meter for what is expected; empty where there is none to set."""
    if suggestion.full_scale is None:
        return ""
    function = suggestion.reading.function
    if function is Function.OHM:  # where a higher one would show too few digits
        good = suggestion.good
        if not isfinite(good.low):  # a good part shows OL
            return "meter on auto or its highest range"
        if not isfinite(good.high):
            return f"a good board reads {quantity_text(good.low, function.row.unit)} or more"
        most = quantity_text(good.high, function.row.unit)
        return f"meter on auto, or on the lowest range over {most}, higher while it shows OL"
    scale = quantity_text(suggestion.full_scale, function.row.unit)
    return f"meter on auto, or on {scale} or more"


def standing_text(shares: Sequence[tuple[str, float]]) -> str:
    """Which faults are worth a thought by now, those of one name together.

    Parameters
    ----------
    shares : sequence of (str, float)
        Name and probability, likeliest first.
    """
    named: dict[str, float] = {}
    for name, share in shares:
        if share >= MIN_NAMED and (len(named) < MOST_NAMED or name in named):
            named[name] = named.get(name, 0.0) + share
    if not shares or shares[0][1] < MIN_TELLING:
        return "Before any reading none is over 10 % likely."
    likely = sorted(named.items(), key=lambda item: -item[1])
    told = ", ".join(f"{name} ({probability_text(share)})" for name, share in likely)
    return f"Most likely: {told}."
