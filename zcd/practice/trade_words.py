"""What people call parts and orders, beside the names on the board and in the help."""

from __future__ import annotations

import re

from zcd.circuit.points import part_words
from zcd.diagnosis.functions import NAMES

FUNCTION_WORDS = frozenset(word for name in NAMES for word in (name, name.split()[0]))
"""Words with which a reading begins."""
TRADE_WORDS = {
    "relay": ("contact", "coil"),
    "contact": ("contact",),
    "relay contact": ("contact",),
    "coil": ("coil",),
    "relay coil": ("coil",),
    "led": ("led",),
    "opto led": ("led",),
    "transistor": ("phototransistor",),
    "phototransistor": ("phototransistor",),
    "optocoupler": ("led", "phototransistor"),
    "opto": ("led", "phototransistor"),
    "coupler": ("led", "phototransistor"),
    "diode": ("diode",),
    "rectifier": ("diode",),
    "resistor": ("resistor",),
    "motor": ("fan",),
    "triac": ("drive",),
    "micro": ("controller",),
    "microcontroller": ("controller",),
}
"""What a part is called at the bench, and the kinds of faults that it has."""
_ORDERS = {
    "help": ("?", "help me", "what now", "what", "how"),
    "plug in": ("plug it in", "plug", "power on", "power up", "switch on", "turn on"),
    "unplug": ("unplug it", "pull the plug", "power off", "switch off", "turn off", "discharge"),
    "prove dead": ("prove", "prove it dead", "is it dead"),
    "hint": ("give me a hint", "hint please"),
    "give up": ("i give up", "end", "stop", "quit", "exit", "q"),
    "points": ("list", "parts", "circuit"),
    "so far": ("status", "readings"),
}
_ORDER_OF = {other: order for order, others in _ORDERS.items() for other in others}
_FILLERS = re.compile(
    r"\b(the|an?|is|it|its|broken|bad|faulty|defective|dead|gone|replace|must be|loose|joints?)\b",
    re.IGNORECASE,
)


def order_of(text: str) -> str:
    """An order by the name that the help gives it; other words in small letters."""
    word = text.lower().rstrip(".!")
    return _ORDER_OF.get(word, word)


def bare_name(text: str) -> str:
    """A name without the words that people put around it.

    Examples
    --------
    >>> bare_name("the pull up is broken")
    'pull-up'
    """
    name = part_words(" ".join(_FILLERS.sub(" ", text).split()))
    return "pull-up" if name.lower() in ("pull up", "pullup") else name
