"""What people call parts and their faults, in the words of the fault list."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence

from zcd.circuit.points import diode_of_bridge
from zcd.diagnosis.faults import HEALTHY, Fault

MODES = {
    "open": ("burnt", "burned", "blown", "broken", "cracked", "dead", "interrupted"),
    "short": ("shorted", "shorts", "bridged", "through"),
    "drift": ("drifted", "high", "value"),
    "low": ("misfit",),
    "wrong value x0.1": ("tenth", "misfit"),
    "wrong value x10": ("tenfold", "misfit"),
    "wrong part": ("misfit",),
    "leaky": ("leaks", "leaking", "leakage", "dirty"),
    "intermittent": ("loose", "joint", "dry", "cold", "solder", "intermittently"),
    "aged": ("weak", "worn", "old", "tired"),
    "reversed": ("backwards", "polarity"),
    "missing": ("gone", "absent"),
}
"""What people call the modes of faults."""
OF_CONTACTS = {
    "open": ("broken", "dead", "interrupted"),
    "resistive": ("burnt", "burned", "dirty", "pitted", "worn", "oxidised", "corroded"),
    "welded": ("stuck", "sticks", "closed", "shorted"),
    "intermittent": MODES["intermittent"],
}
"""The same of a relay's contacts: burnt ones still close."""
AT_A_JOINT = {"joint", "solder", "dry", "cold"}
"""Words of a joint: what is cracked or broken there is no part."""
COUPLERS = ("opto", "optocoupler", "opto-coupler", "optoisolator", "coupler")
"""What people call the optocoupler of a board that has one."""
DIODES = ("diode", "rectifier", "bridge")
CONTROLLERS = ("mcu", "micro", "microcontroller", "processor", "cpu", "µc", "uc")
NO_FAULT = ("good", "ok", "nff", "no fault", "no fault found", "nothing", "nothing wrong", "none")
_PHRASES = (
    (r"\bo/c\b|\bopen[- ]circuit(?:ed)?\b|\bgone open\b", "open"),
    (r"\bs/c\b|\bshort[- ]circuit(?:ed)?\b", "shorted"),
    (r"\bwrong way a?round\b|\bback to front\b|\bturned round\b", "reversed"),
    (r"\b(?:a )?tenth(?: of (?:its|the) value)?(?: fitted)?\b", "tenth"),
    (r"(?:\bten times|\b10 times|\b10x|\bx10)(?: (?:its|the) value)?(?: fitted)?\b", "tenfold"),
    (r"\bwrong (?:value|resistor|part|type|diode)(?: fitted)?\b", "misfit"),
    (r"\bpull[- ]?(up|down)(?: resistor)?\b", r"pull-\1"),
    (r"\bcontacts\b", "contact"),
    (r"^(?:replaced|changed|renewed|new|bad|faulty|defective) ", ""),
    (r"^no (.+)$", r"\1 missing"),
)


def _is_dirt(fault: Fault) -> bool:
    return fault.is_leak and fault.kind != "diode"


_OFFERED = {
    ("fuse", "varistor", "plug"): lambda fault: fault.key == "mains missing",
    ("triac", "thyristor", "gate"): lambda fault: fault.kind == "drive",
    ("moisture", "damp", "wet", "dirt", "dirty", "corrosion", "flux"): _is_dirt,
}
"""What a word may mean that names no part and no mode."""


def folded(text: str) -> str:
    """A text without regard to case and blanks."""
    return " ".join(text.split()).casefold()


def in_plain_words(faults: Sequence[Fault], written: str) -> str:
    """A text with parts and modes as the fault list has them, as far as it is known what is meant.

    Parameters
    ----------
    faults : sequence of Fault
        Of the board: ``relay`` is its relay, ``diode`` its diode if it has one only.
    written : str

    Returns
    -------
    text : str
        In small letters.
    """
    text = folded(written)
    if text in NO_FAULT:
        return HEALTHY.key
    for pattern, said in _PHRASES:
        text = re.sub(pattern, said, text)
    known = dict(_names(faults))
    text = " ".join(known.get(word, word) for word in text.split())
    for piece, ref in _pieces(faults):
        if f"{ref} " not in f"{text} ":
            text = re.sub(rf"\b{piece}\b(?! supply)", f"{ref} {piece}", text)
    return text


def _only(refs: Collection[str]) -> str:
    """The only one of some; empty where there are more, or none."""
    return next(iter(refs)).casefold() if len(refs) == 1 else ""


def _names(faults: Sequence[Fault]) -> Iterator[tuple[str, str]]:
    """What people call a part, and its reference, where only one can be meant."""
    coupler = _only({f.part for f in faults if f.kind == "phototransistor" and f.mode == "aged"})
    diode = _only({diode_of_bridge(f.part)[0] for f in faults if f.kind == "diode"})
    relay = _only({f.part.partition(" ")[0] for f in faults if f.kind == "contact"})
    for names, ref in ((COUPLERS, coupler), (DIODES, diode), (("relay",), relay)):
        if ref:
            yield from ((name, ref) for name in names)
    yield from ((name, "controller") for name in CONTROLLERS)


def _pieces(faults: Sequence[Fault]) -> Iterator[tuple[str, str]]:
    """Pieces that only one part has, and that part."""
    for piece in ("contact", "coil", "led", "transistor"):
        ends = f" {piece}"
        parts = {f.part[: -len(ends)] for f in faults if f.part.casefold().endswith(ends)}
        if ref := _only({part for part in parts if " " not in part}):
            yield piece, ref


def modes_told(words: Collection[str], fault: Fault) -> bool:
    """Whether some words tell of a fault's mode."""
    of_kind = OF_CONTACTS if fault.kind == "contact" else MODES
    if AT_A_JOINT & {*words} and fault.mode == "open":
        return False
    return bool({*words} & {fault.mode, *of_kind.get(fault.mode, ())})


def offered_for(faults: Sequence[Fault], written: str) -> list[str]:
    """Keys of the faults that a word may mean that names no part."""
    words = {*folded(written).split()}
    for names, is_meant in _OFFERED.items():
        if words & {*names}:
            return [fault.key for fault in faults if is_meant(fault)]
    return []
