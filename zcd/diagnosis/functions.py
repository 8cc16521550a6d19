"""What a meter (or scope) can be set to: one row for each function, and all that is known of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum, StrEnum, auto
from math import inf
from typing import TYPE_CHECKING

from zcd.board.quantity_kinds import DURATION
from zcd.board.units import QuantityKind

if TYPE_CHECKING:
    from zcd.diagnosis.meters import AcKind, Meter

NO_EDGE_WORDS = "no edge"
OVERLOAD_WORDS = ("ol", "0l", "o.l", "0.l", ".ol", "overload", "open", "infinite")
MODEL_RATIO = 0.03
"""What the model leaves out, as a share of the reading."""

_VOLTS = dict.fromkeys(("v", "volt", "volts", "vac", "vdc", "v ac", "v dc", "v~"), 1.0)


class Function(StrEnum):
    """What the meter (or scope) is set to, as a person writes it."""

    DC = "dc"
    AC = "ac"
    LOW_Z = "low z"
    OHM = "ohm"
    DIODE = "diode"
    FREQUENCY = "frequency"
    DUTY = "duty"
    LOW_TIME = "low time"
    EDGE_DELAY = "edge delay"

    @property
    def row(self) -> MeterFunction:
        """All that is known of it."""
        return FUNCTIONS[self]


class Method(Enum):
    """How a function takes its reading: where it may be taken, and what is computed for it."""

    VOLTS = auto()
    """Under power, between any two nodes."""
    OHMS = auto()
    """On a dead board, with the meter's own source; one end of a part may be lifted."""
    JUNCTION = auto()
    """The same with the source of the diode test."""
    COUNTED = auto()
    """Pulses at the pin, which a meter on AC volts counts between other nodes too."""
    SCOPE = auto()
    """Pulses at the pin alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterFunction:
    """One function of a meter.

    Parameters
    ----------
    key : Function
    synonyms : tuple of str
        Further names that people write, in lower case.
    words, words_off_pin : str
        What is read; between nodes other than those of the pin, where that is something else.
    short : str
        What a diagram writes before volts at a node; empty: it shows them at no node.
    kind : QuantityKind
        How its value is written, and within which limits.
    unit_ending : str
        How the unit ends the keys of its values.
    method : Method
    on_mains : bool
        Whether another channel is on the mains, wherever the probes are.
    ac_kind : callable, optional
        What the meter makes of a voltage's waveform; None: its mean.
    input_ohm : callable
        Input resistance of the meter on it. Frequency and duty are counted on AC volts.
    ranges : callable, optional
        Full scales of its ranges, lowest first; None where there are none to choose from.
    nothing : tuple of float or float, optional
        Range or value that a person calls nothing, pick-up of the leads included.
    unsigned : bool
        A display without a sign, which may yet stand a few counts below zero.
    overload : str
        What stands for an infinite value.
    overload_words : tuple of str
        What a person may write for it, in lower case; empty where nothing is infinite.
    least_shown : float
        What is smaller shows as zero.
    least_read : float
        Differences below this are not read off: common practice, no source.
    decades : bool
        Whether its errors are judged in decades, not in the value itself.
    overload_as : float
        Value that errors take for an infinite one.
    accuracy_ratio : callable
        Of the meter, a share of the reading.
    model_ratio : float
        What the model leaves out, a share of the reading; in decades, `floor` alone says it.
    floor, jump_floor : float
        Smallest standard error on the scale on which errors are judged; the same between two
        looks at a jumping display, where pick-up stays as it is (None: the same); common practice,
        no source.
    alike_floor : float
        Of a dead test, how far two diodes of one make differ on one board, on that scale; common
        practice, no source.
    least_past_chip : float
        Of a dead test, what it shows at least through a chip; common practice, no source.
    """

    key: Function
    synonyms: tuple[str, ...] = ()
    words: str
    words_off_pin: str = ""
    short: str = ""
    kind: QuantityKind
    unit_ending: str
    method: Method
    on_mains: bool = False
    ac_kind: Callable[[Meter], AcKind] | None = None
    input_ohm: Callable[[Meter], float] = lambda meter: meter.ac_input_ohm
    ranges: Callable[[Meter], tuple[float, ...]] | None = None
    nothing: tuple[float, float] | float | None = None
    unsigned: bool = False
    overload: str = "OL"
    overload_words: tuple[str, ...] = ()
    least_shown: float = 1e-9
    least_read: float = 1.0
    decades: bool = False
    overload_as: float = inf
    accuracy_ratio: Callable[[Meter], float] = lambda meter: 0.0
    model_ratio: float = MODEL_RATIO
    floor: float
    jump_floor: float | None = None
    alike_floor: float = 0.0
    least_past_chip: float = 0.0

    @property
    def unit(self) -> str:
        """In which its value is written and shown."""
        return self.kind.unit

    @property
    def dead(self) -> bool:
        """Whether it is taken on a dead board; all others under power."""
        return self.method in (Method.OHMS, Method.JUNCTION)

    @property
    def volts(self) -> bool:
        """Whether it is volts between any two nodes."""
        return self.method is Method.VOLTS

    @property
    def scope(self) -> bool:
        """Whether it takes a scope, at the pin."""
        return self.method is Method.SCOPE

    @property
    def pulses(self) -> bool:
        """Whether pulses at the pin show it."""
        return self.method in (Method.COUNTED, Method.SCOPE)


# Limits of a display near zero, and pick-up: common practice, no source. A third harmonic of 5 %
# moves the mains' own crossing by 161 us, an edge with it.
_ROWS = (
    MeterFunction(
        key=Function.DC, synonyms=("vdc", "dcv", "volts", "volt"), words="DC volts", short="DC",
        kind=QuantityKind(
            word="DC volts", unit="V", low=-2000.0, high=2000.0, examples=("4.98 V", "-310 mV"),
            spellings=_VOLTS, prefixes="mk",
        ),
        unit_ending="v", method=Method.VOLTS,
        input_ohm=lambda meter: meter.dc_input_ohm, ranges=lambda meter: meter.volt_ranges_v,
        nothing=(-0.1, 0.1), least_shown=1e-3, least_read=0.1,
        accuracy_ratio=lambda meter: meter.dc_accuracy_ratio, floor=0.03,
    ),
    MeterFunction(
        key=Function.AC, synonyms=("vac", "acv"), words="AC volts", short="AC",
        kind=QuantityKind(
            word="AC volts", unit="V", low=0.0, high=2000.0, examples=("228 V", "0.3 V"),
            spellings=_VOLTS, prefixes="mk",
        ),
        unit_ending="v", method=Method.VOLTS,
        ac_kind=lambda meter: meter.ac_kind, ranges=lambda meter: meter.volt_ranges_v,
        nothing=(-inf, 2.0), unsigned=True, least_shown=1e-3,
        accuracy_ratio=lambda meter: meter.ac_accuracy_ratio, floor=0.5, jump_floor=0.1,
    ),
    MeterFunction(
        key=Function.LOW_Z, synonyms=("loz", "lo z"), words="AC volts, low impedance",
        kind=QuantityKind(
            word="AC volts, low impedance,", unit="V", low=0.0, high=2000.0,
            examples=("228 V", "3 V"), spellings=_VOLTS, prefixes="mk",
        ),
        unit_ending="v", method=Method.VOLTS,
        ac_kind=lambda meter: meter.low_impedance_kind,
        input_ohm=lambda meter: meter.low_impedance_ohm,
        ranges=lambda meter: meter.volt_ranges_v,
        nothing=(-inf, 2.0), unsigned=True, least_shown=1e-3,
        accuracy_ratio=lambda meter: meter.ac_accuracy_ratio, floor=0.5, jump_floor=0.1,
    ),
    MeterFunction(
        key=Function.OHM, synonyms=("ohms", "resistance"), words="ohms",
        kind=QuantityKind(
            word="ohms", unit="Ω", low=0.0, high=1e9, examples=("82k", "4k7", "OL"),
            spellings={"ω": 1.0, "ohm": 1.0, "ohms": 1.0, "r": 1.0}, prefixes="mkKMG",
        ),
        unit_ending="ohm", method=Method.OHMS, ranges=lambda meter: meter.ohm_ranges_ohm,
        overload_words=OVERLOAD_WORDS, least_shown=0.05, least_read=10.0,
        decades=True, overload_as=100e6,
        accuracy_ratio=lambda meter: meter.ohm_accuracy_ratio, floor=0.01,
        alike_floor=0.05, least_past_chip=100.0,
    ),
    MeterFunction(
        key=Function.DIODE, words="diode test",
        kind=QuantityKind(
            word="a diode test", unit="V", low=0.0, high=10.0, examples=("0.58 V", "OL"),
            spellings=_VOLTS, prefixes="m",
        ),
        unit_ending="v", method=Method.JUNCTION,
        unsigned=True, overload_words=OVERLOAD_WORDS, least_shown=1e-3, least_read=0.02,
        overload_as=3.0, accuracy_ratio=lambda meter: meter.dc_accuracy_ratio, floor=0.03,
        alike_floor=0.02, least_past_chip=0.3,
    ),
    MeterFunction(
        key=Function.FREQUENCY, synonyms=("hz", "freq"), words="frequency",
        kind=QuantityKind(
            word="a frequency", unit="Hz", low=0.0, high=1e5, examples=("50 Hz", "0"),
            spellings={"hz": 1.0}, prefixes="k",
        ),
        unit_ending="hz", method=Method.COUNTED, nothing=0.0, least_read=0.5,
        # the model knows the frequency of the mains exactly
        model_ratio=0.0, floor=0.3,
    ),
    MeterFunction(
        key=Function.DUTY, words="duty (share of time low)",
        words_off_pin="duty (share of time above the mean)",
        kind=QuantityKind(
            word="a share of time", unit="%", low=0.0, high=1.0, examples=("48 %", "0 %"),
            spellings={"%": 0.01}, bare=False,
        ),
        unit_ending="ratio", method=Method.COUNTED, nothing=0.0, least_read=0.01, floor=0.03,
    ),
    MeterFunction(
        key=Function.LOW_TIME, words="low time (scope)",
        kind=QuantityKind(
            word=DURATION.word, unit="s", low=0.0, high=1.0, examples=("9.5 ms", "800 us"),
            spellings=DURATION.spellings, prefixes=DURATION.prefixes,
        ),
        unit_ending="s", method=Method.SCOPE, nothing=0.0, least_read=1e-4, floor=50e-6,
    ),
    MeterFunction(
        key=Function.EDGE_DELAY, synonyms=("delay", "edge"),
        words="edge delay after the mains crossing (scope)",
        kind=QuantityKind(
            word="a delay, negative where early,", unit="s", low=-0.1, high=0.1,
            examples=("600 us", "-0.3 ms"),
            spellings=DURATION.spellings, prefixes=DURATION.prefixes,
        ),
        unit_ending="s", method=Method.SCOPE, on_mains=True,
        nothing=inf, overload=NO_EDGE_WORDS, overload_words=(NO_EDGE_WORDS,), least_shown=5e-7,
        overload_as=30e-3, floor=150e-6,
    ),
)  # fmt: skip

FUNCTIONS = {row.key: row for row in _ROWS}
NAMES = {name: row.key for row in _ROWS for name in (row.key, *row.synonyms)}
"""Function by each name that people write."""
TWINS = {Function.LOW_TIME: Function.DUTY, Function.DUTY: Function.LOW_TIME}
"""How long the pin is low, and for which share of a period: one reading tells both."""
