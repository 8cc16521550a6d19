"""The bench of an exercise: a board that is plugged in or not, a meter, a clock."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from math import isfinite

import numpy as np

from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit
from zcd.diagnosis.fault_dictionary import SAMPLES
from zcd.diagnosis.functions import FUNCTIONS, Function
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import OVERLOAD, Meter
from zcd.diagnosis.readings import PLUGGED, AccessLevel, Measured, Reading, access_level
from zcd.diagnosis.samples import sample_meter
from zcd.practice.exercise import Exercise

READING_S = {
    AccessLevel.DEAD: 20.0,
    AccessLevel.BENCH: 60.0,
    AccessLevel.ISOLATED: 40.0,
    AccessLevel.MAINS: 90.0,
    AccessLevel.LIFTED: 240.0,
}
"""How long a reading takes: common practice, no source."""
PLUG_IN_S, UNPLUG_S, PROVE_S, TAP_S = 90.0, 60.0, 60.0, 20.0
"""The same of a change of the board's state, and of tapping it during a reading."""
HINT_S, WRONG_S = 300.0, 600.0
"""What a hint costs, and a good part that was replaced."""
JUMP_RATIO = 0.05
"""A display jumps where the board taken in its two states differs by more than this share."""
FLICKER_COUNTS = 1
"""By how many steps the last digit of a display changes from one look to the next."""


class Danger(StrEnum):
    """A step that hurts people or parts; the value says which."""

    OHMS_LIVE = "ohms or diode test on a board under power"
    LIFTED_LIVE = "soldering on a board under power"
    NOT_PROVED = "hands on a board that was not proved dead"
    PLUGGED_TWICE = "a bench supply on a board under power"
    NEEDLESS = "live mains probed before an unplugged reading that promised as much"


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A reading that was taken, and how the board stood then.

    Parameters
    ----------
    measured : Measured
    access : AccessLevel
    dangers : tuple of Danger
    repairs : int
        How many there were before it.
    tapped : bool
        The board was tapped meanwhile.
    """

    measured: Measured
    access: AccessLevel
    dangers: tuple[Danger, ...] = ()
    repairs: int = 0
    tapped: bool = False


@dataclass(slots=True)
class Bench:
    """What is done at the bench in one exercise.

    Parameters
    ----------
    exercise : Exercise
    plugged, proved : bool
        State of the board: it is plugged in; it was proved dead since.
    seconds : float
        Time that has passed.
    taken : list of Taken
    dangers : list of Danger
        All of them, those of steps that showed nothing too.
    repairs : int
        Faults of the exercise that were mended.
    """

    exercise: Exercise
    plugged: bool = False
    proved: bool = False
    seconds: float = 0.0
    taken: list[Taken] = field(default_factory=list)
    dangers: list[Danger] = field(default_factory=list)
    repairs: int = 0
    _models: list[MeterModel] = field(init=False)
    _circuit: Circuit = field(init=False)
    _off: dict[Function, float] = field(init=False)
    _rng: np.random.Generator = field(init=False)

    def __post_init__(self) -> None:
        self._circuit = build_circuit(self.exercise.board)
        self._rng = np.random.default_rng(self.exercise.seed)
        # one meter is off by the same each time it is read
        self._off = {function: float(self._rng.uniform(-1.0, 1.0)) for function in Function}
        self._models = self._models_of(self.exercise)

    @property
    def circuit(self) -> Circuit:
        """Nodes and parts of the board as it was designed."""
        return self._circuit

    @property
    def measured(self) -> list[Measured]:
        """The readings taken of the board as it is now, in order."""
        return [each.measured for each in self.taken if each.repairs == self.repairs]

    @staticmethod
    def _models_of(exercise: Exercise) -> list[MeterModel]:
        """What the meter shows in each state of the board."""
        board, meter, which = exercise.board, exercise.meter, np.array([exercise.sample])
        return [sample_meter(board, state, meter, SAMPLES, which) for state in exercise.states]

    def repair(self, left: Exercise) -> None:
        """Mend one of two faults."""
        self.unplug()
        self.proved = False
        self.repairs += 1
        self._models = self._models_of(left)

    def plug_in(self) -> None:
        """Put the board together and power it."""
        if not self.plugged:
            self.seconds += PLUG_IN_S
        self.plugged, self.proved = True, False

    def unplug(self) -> None:
        """Pull the plug and discharge the capacitors."""
        if self.plugged:
            self.seconds += UNPLUG_S
        self.plugged = False

    def prove_dead(self) -> bool:
        """Prove that no voltage is left, the meter tested before and after; False: there is."""
        self.seconds += PROVE_S
        self.proved = not self.plugged
        return self.proved

    def ready_for(self, reading: Reading) -> bool:
        """Whether the board stands as a reading needs it."""
        return self.plugged is (reading.power in PLUGGED)

    def make_ready(self, reading: Reading) -> None:
        """Bring the board into the state for a reading, as one should."""
        if reading.power in PLUGGED:
            self.plug_in()
            return
        self.unplug()
        if not self.proved:
            self.prove_dead()

    def take(self, reading: Reading, *, tapped: bool = False) -> Measured | None:
        """Take a reading.

        Parameters
        ----------
        reading : Reading
            One that `zcd.diagnosis.readings.check_reading` lets pass.
        tapped : bool
            The board is tapped meanwhile: a loose joint opens and closes.

        Returns
        -------
        measured : Measured or None
            What the meter shows. None: the board does not stand as the reading needs it.
        """
        access = access_level(self.circuit, reading)
        dangers = self._dangers(reading, access)
        self.dangers += dangers
        if not self.ready_for(reading):
            return None
        self.seconds += READING_S[access] + TAP_S * tapped
        state = int(self._rng.integers(len(self._models)))
        each = [float(model.read([reading])[0, 0]) for model in self._models]
        exact = each[state]
        jumps = tapped and not np.allclose(each, exact, rtol=JUMP_RATIO)
        counts = int(self._rng.integers(-FLICKER_COUNTS, FLICKER_COUNTS, endpoint=True))
        function = reading.function
        shown = shown_value(
            exact, function, self.exercise.meter, off=self._off[function], counts=counts
        )
        measured = Measured(reading=reading, value=0.0 if jumps else shown, unstable=jumps)
        self.taken.append(
            Taken(
                measured=measured,
                access=access,
                dangers=dangers,
                repairs=self.repairs,
                tapped=tapped,
            )
        )
        return measured

    def _dangers(self, reading: Reading, access: AccessLevel) -> tuple[Danger, ...]:
        """What is dangerous about a reading as the board stands."""
        if reading.power in PLUGGED:
            return ()
        if self.plugged and access is AccessLevel.LIFTED:
            return (Danger.LIFTED_LIVE,)
        if self.plugged:
            live = access is AccessLevel.BENCH
            return (Danger.PLUGGED_TWICE if live else Danger.OHMS_LIVE,)
        return () if self.proved else (Danger.NOT_PROVED,)


def shown_value(
    exact: float, function: Function, meter: Meter, *, off: float = 0.0, counts: int = 0
) -> float:
    """What the display shows of a value.

    Parameters
    ----------
    exact : float
        SI; may be infinite.
    function : Function
    meter : Meter
    off : float
        From -1 to 1: how far the meter is off, over its stated accuracy.
    counts : int
        Steps that the last digit is off.

    Returns
    -------
    float
    """
    if not isfinite(exact) or exact == 0.0:
        return exact
    row = FUNCTIONS[function]
    moved = exact * (1.0 + off * row.accuracy_ratio(meter))
    moved = max(moved, 0.0) if row.unsigned else moved
    if row.ranges is None:
        return moved
    scales = row.ranges(meter)
    scale = next((s for s in scales if s >= abs(moved)), None)
    if scale is None:
        return OVERLOAD if row.decades else moved
    step = scale / meter.counts
    return float((round(moved / step) + (counts if moved else 0)) * step)
