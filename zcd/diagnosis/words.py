"""A reading as a person writes it: ``dc pin logic0 4.98 V``, ``ohm chain.1 chain.2 OL``."""

from __future__ import annotations

from math import inf

from zcd.board.kinds import DURATION
from zcd.board.units import Kind, format_si, nearest, parse_quantity, refusal
from zcd.circuit.elements import Circuit, TwoNode, is_hidden
from zcd.diagnosis.meters import OVERLOAD
from zcd.diagnosis.readings import PIN_FUNCTIONS, UNITS, Function, Measured, Reading, check_reading
from zcd.errors import InputError

OVERLOAD_WORDS = ("ol", "0l", "o.l", "overload", "open")

_VOLTS = {"v": 1.0, "vac": 1.0, "vdc": 1.0, "v ac": 1.0, "v dc": 1.0}
KINDS = {
    Function.DC: Kind(
        word="DC volts", unit="V", low=-2000.0, high=2000.0, examples=("4.98 V", "-310 mV"),
        spellings=_VOLTS, prefixes="mk",
    ),
    Function.AC: Kind(
        word="AC volts", unit="V", low=0.0, high=2000.0, examples=("228 V", "0.3 V"),
        spellings=_VOLTS, prefixes="mk",
    ),
    Function.OHM: Kind(
        word="ohms", unit="Ω", low=0.0, high=1e9, examples=("150k", "4k7", "OL"),
        spellings={"ω": 1.0, "ohm": 1.0, "ohms": 1.0, "r": 1.0}, prefixes="mkKMG",
    ),
    Function.DIODE: Kind(
        word="a diode test", unit="V", low=0.0, high=10.0, examples=("0.58 V", "OL"),
        spellings=_VOLTS, prefixes="m",
    ),
    Function.FREQUENCY: Kind(
        word="a frequency", unit="Hz", low=0.0, high=1e5, examples=("50 Hz", "0"),
        spellings={"hz": 1.0}, prefixes="k",
    ),
    Function.DUTY: Kind(
        word="a share of time", unit="%", low=0.0, high=1.0, examples=("48 %", "0 %"),
        spellings={"%": 0.01}, bare=False,
    ),
    Function.LOW_TIME: Kind(
        word=DURATION.word, unit="s", low=0.0, high=1.0, examples=("9.5 ms", "800 us"),
        spellings=DURATION.spellings, prefixes=DURATION.prefixes,
    ),
}  # fmt: skip


def parse_value(found: object, function: Function, key: str = "") -> float:
    """Read what a meter showed, SI; ``OL`` on ohms and diode test is beyond the range.

    Parameters
    ----------
    found : object
        Text or plain number.
    function : Function
    key : str, optional
        Where it stood, for the message.

    Returns
    -------
    float

    Raises
    ------
    InputError
        If it is not such a value.
    """
    if isinstance(found, str) and found.strip().lower() in OVERLOAD_WORDS:
        if function in (Function.OHM, Function.DIODE):
            return OVERLOAD
        raise refusal(found, KINDS[function].allowed(), key)
    return parse_quantity(found, KINDS[function], key)


def parse_function(found: object, key: str = "") -> Function:
    """Read a function's name; ``low-time`` and ``low time`` are the same."""
    names = tuple(str(f) for f in Function)
    text = str(found).strip().lower().replace("-", " ").replace("_", " ")
    if text not in names:
        raise refusal(found, f"one of {', '.join(names)}{nearest(text, names)}", key)
    return Function(text)


def make_reading(function: Function, a: str, b: str, circuit: Circuit, key: str = "") -> Reading:
    """A reading at nodes that the board has, under the names they have in its element list."""
    try:
        reading = Reading(function=function, a=a, b=b)
        check_reading(circuit, reading)
    except InputError as error:
        raise InputError(f"{key}{': ' if key else ''}{error}") from None
    return Reading(function=function, a=circuit.node(a), b=circuit.node(b))


def part_nodes(
    ref: str, circuit: Circuit, function: Function | None = None
) -> tuple[str, ...] | None:
    """The nodes of a part, so that ``ohm R2 150k`` needs no node names; None if there is none.

    A diode test over an optocoupler is one of its LED.
    """
    wanted = ref.casefold()
    if function is Function.DIODE and any(e.ref.casefold() == f"{wanted}.led" for e in circuit):
        wanted = f"{wanted}.led"
    parts = (e for e in circuit if isinstance(e, TwoNode) and not is_hidden(e))
    return next((e.nodes for e in parts if e.ref.casefold() == wanted), None)


def parse_reading(text: str, circuit: Circuit, key: str = "") -> Measured:
    """Read one line of a prompt: function, probes, value.

    Parameters
    ----------
    text : str
        Red and black probe as nodes, ``dc pin logic0 4.98 V``, or over a part, ``ohm R2 150k``;
        readings of pulses at the pin may leave them out, ``frequency 50 Hz``.
    circuit : Circuit
        Says which nodes and parts there are.
    key : str, optional
        Where it stood, for the message.

    Returns
    -------
    Measured

    Raises
    ------
    InputError
        One line: what was found, what is allowed.
    """
    function, nodes, rest = _probes(text, circuit, key)
    if len(nodes) < 2 or not rest:
        raise refusal(
            text, 'function, red probe, black probe (or a part), value: "dc pin logic0 4.98 V"', key
        )
    reading = make_reading(function, nodes[0], nodes[1], circuit, key)
    return Measured(reading=reading, value=parse_value(" ".join(rest), function, key))


def parse_place(text: str, circuit: Circuit, key: str = "") -> Reading:
    """Read what to measure where, without a value: ``dc pin logic0``, ``ohm R2``.

    Parameters
    ----------
    text : str
    circuit : Circuit
        Says which nodes and parts there are.
    key : str, optional
        Where it stood, for the message.

    Returns
    -------
    Reading

    Raises
    ------
    InputError
        One line: what was found, what is allowed.
    """
    function, nodes, rest = _probes(text, circuit, key)
    if len(nodes) < 2 or rest:
        raise refusal(text, 'function, red probe, black probe (or a part): "dc pin logic0"', key)
    return make_reading(function, nodes[0], nodes[1], circuit, key)


def _probes(text: str, circuit: Circuit, key: str) -> tuple[Function, list[str], list[str]]:
    """Function, both nodes (fewer where the text ends early), and the words left."""
    words = text.replace("low time", "low-time", 1).split()
    if not words:
        raise refusal(text, 'a reading such as "dc pin logic0 4.98 V"', key)
    function = parse_function(words[0], key)
    over = part_nodes(words[1], circuit, function) if len(words) > 1 else None
    if function in PIN_FUNCTIONS and "pin" not in words[1:]:
        return function, ["pin", "logic0"], words[1:]
    if over is not None:
        return function, list(over), words[2:]
    return function, words[1:3], words[3:]


def show_value(function: Function, value: float) -> str:
    """A reading's value as a meter shows it, three digits."""
    if value == inf:
        return "OL"
    small = {Function.DC: 1e-3, Function.AC: 1e-3, Function.DIODE: 1e-3, Function.OHM: 0.05}
    if abs(value) < small.get(function, 1e-9):
        value = 0.0
    return format_si(value, UNITS[function], digits=3)
