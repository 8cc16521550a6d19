"""Readings taken one by one at a prompt."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from zcd.diagnosis.atlas import Atlas
from zcd.diagnosis.rank import Diagnosis, Suggestion
from zcd.diagnosis.readings import Measured, Reading
from zcd.diagnosis.words import OVERLOAD_WORDS, parse_reading, parse_value
from zcd.errors import InputError

END, SKIP = ("end", "quit", "exit"), "skip"
HELP = (
    'Type what the meter shows for the reading asked for ("4.98 V", "OL"), or another reading '
    '("ohm R2 150k", "dc pin logic0 4.98 V"); "skip" if it cannot be taken; "end" to stop.'
)


@dataclass(slots=True)
class Conversation:
    """A diagnosis in steps.

    Parameters
    ----------
    atlas : Atlas
    diagnose : callable
        Diagnosis from the readings taken and those skipped.
    measured : list of Measured
    skipped : list of Reading
    """

    atlas: Atlas
    diagnose: Callable[[Sequence[Measured], Sequence[Reading]], Diagnosis]
    measured: list[Measured] = field(default_factory=list)
    skipped: list[Reading] = field(default_factory=list)

    def run(
        self,
        show: Callable[[Diagnosis], None],
        ask: Callable[[], str],
        tell: Callable[[str], None],
    ) -> Diagnosis:
        """Ask until it is settled, nothing is left to ask, or the person ends it.

        Parameters
        ----------
        show : callable
            Shows a diagnosis.
        ask : callable
            Returns a line; raises EOFError at the end of input.
        tell : callable
            Says why a line could not be used.

        Returns
        -------
        diagnosis : Diagnosis
            The last one.
        """
        while True:
            diagnosis = self.diagnose(self.measured, self.skipped)
            show(diagnosis)
            if diagnosis.suggestion is None:
                return diagnosis
            try:
                if not self._answer(diagnosis.suggestion, ask, tell):
                    return diagnosis
            except EOFError:
                return diagnosis

    def _answer(
        self, suggestion: Suggestion, ask: Callable[[], str], tell: Callable[[str], None]
    ) -> bool:
        """Take one usable line; False ends the conversation."""
        while True:
            line = ask().strip()
            if line.lower() in END:
                return False
            if line.lower() in ("", "help", "?"):
                tell(HELP)
                continue
            if line.lower() == SKIP:
                self.skipped.append(suggestion.reading)
                return True
            try:
                self.measured.append(self._read(line, suggestion.reading))
            except InputError as error:
                tell(str(error))
            else:
                return True

    def _read(self, line: str, suggested: Reading) -> Measured:
        """A value for the reading asked for, or a whole reading."""
        if line[:1].isalpha() and line.lower() not in OVERLOAD_WORDS:
            return parse_reading(line, self.atlas.circuit)
        value = parse_value(line, suggested.function)
        return Measured(reading=suggested, value=value)
