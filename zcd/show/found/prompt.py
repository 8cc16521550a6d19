"""Readings taken one by one at a prompt."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from zcd.board.units import refusal
from zcd.diagnosis.atlas import Atlas
from zcd.diagnosis.flags import FLAGS, NO_FLAG
from zcd.diagnosis.rank import Diagnosis
from zcd.diagnosis.readings import Measured, Reading
from zcd.diagnosis.suggest import Suggestion
from zcd.diagnosis.words import OVERLOAD_WORDS, parse_function, parse_reading, parse_shown
from zcd.errors import InputError

END = ("end", "quit", "exit", "q")
SKIP = ("skip", "cannot reach it", "can't reach it", "cannot")
UNDO = ("undo", "back")
HELP = (
    'Type what the meter shows for the reading asked for ("4.98 V", "OL", "about 230", '
    '"190..260", "< 5 V", "nothing", "unstable"), or another reading ("ohm R2 150k", '
    '"dc pin logic0 4.98 V", "ohm R2 lifted 150k"); "flags sync fan" for what the controller '
    'reports ("flags none" for no flag); "skip" if a reading cannot be taken; "undo" takes the '
    'last answer back; "end" stops, and what was answered is kept.'
)

QUESTION = "the meter shows: "
LAST_QUESTION = "Enter ends; or undo, or another reading: "

Diagnose = Callable[[Sequence[Measured], Sequence[Reading], Sequence[str]], Diagnosis]
Save = Callable[[Sequence[Measured | Reading], Sequence[str]], None]


def _kept_nowhere(log: Sequence[Measured | Reading], flags: Sequence[str]) -> None:
    del log, flags


@dataclass(slots=True)
class Conversation:
    """A diagnosis in steps.

    Parameters
    ----------
    atlas : Atlas
    diagnose : callable
        Diagnosis from the readings taken, those skipped, and the flags.
    save : callable
        Keeps the log and the flags; called after each answer.
    log : list of Measured or Reading
        In order; a reading without a value was skipped.
    flags : tuple of str
    """

    atlas: Atlas
    diagnose: Diagnose
    save: Save = _kept_nowhere
    log: list[Measured | Reading] = field(default_factory=list)
    flags: tuple[str, ...] = ()

    @property
    def measured(self) -> list[Measured]:
        """The readings taken, in order."""
        return [each for each in self.log if isinstance(each, Measured)]

    @property
    def skipped(self) -> list[Reading]:
        """The readings that cannot be taken."""
        return [each for each in self.log if isinstance(each, Reading)]

    def run(
        self,
        show: Callable[[Diagnosis], None],
        ask: Callable[[str], str],
        tell: Callable[[str], None],
    ) -> Diagnosis:
        """Ask until the person ends it; once it is settled, Enter does.

        Parameters
        ----------
        show : callable
            Shows a diagnosis.
        ask : callable
            Puts a question and returns a line; raises EOFError at the end of input.
        tell : callable
            Says why a line could not be used.

        Returns
        -------
        diagnosis : Diagnosis
            The last one.
        """
        while True:
            diagnosis = self.diagnose(self.measured, self.skipped, self.flags)
            show(diagnosis)
            try:
                if not self._answer(diagnosis.suggestion, ask, tell):
                    return diagnosis
            except EOFError:
                return diagnosis

    def _answer(
        self, suggestion: Suggestion | None, ask: Callable[[str], str], tell: Callable[[str], None]
    ) -> bool:
        """Take one usable line; False ends the conversation."""
        suggested = suggestion.reading if suggestion else None
        while True:
            line = " ".join(ask(QUESTION if suggested else LAST_QUESTION).split())
            if line.lower() in END or (not line and suggested is None):
                return False
            try:
                if self._take(line, suggested):
                    self.save(self.log, self.flags)
                    return True
                tell(HELP)
            except InputError as error:
                tell(str(error))

    def _take(self, line: str, suggested: Reading | None) -> bool:
        """Do what a line says; False where it only asks for help."""
        word = line.lower()
        if word in ("", "help", "?"):
            return False
        if word in SKIP and suggested is not None:
            self.log.append(suggested)
        elif word in UNDO:
            if not self.log:
                raise InputError("there is no answer to take back")
            self.log.pop()
        elif word.split()[0] in ("flag", "flags"):
            self.flags = parse_flags(line.split()[1:])
        else:
            self.log.append(self._read(line, suggested))
        return True

    def _read(self, line: str, suggested: Reading | None) -> Measured:
        """A value for the reading asked for, or a whole reading."""
        if suggested is None:
            return parse_reading(line, self.atlas.circuit)
        if not line[0].isalpha() or line.lower() in OVERLOAD_WORDS:
            return parse_shown(line, suggested)
        if not _names_a_function(line):
            try:
                return parse_shown(line, suggested)
            except InputError:
                pass
        return parse_reading(line, self.atlas.circuit)


def _names_a_function(line: str) -> bool:
    """Whether a line begins like a whole reading."""
    words = line.split()
    for start in (words[0], " ".join(words[:2])):
        try:
            parse_function(start)
        except InputError:
            continue
        return True
    return False


def parse_flags(words: Sequence[str]) -> tuple[str, ...]:
    """Flags as typed; ``none`` stands alone."""
    found = tuple(dict.fromkeys(word.strip(",").lower() for word in words))
    if not found or not set(found) <= set(FLAGS) or (NO_FLAG in found and len(found) > 1):
        raise refusal(" ".join(words), f"{', '.join(FLAGS[:-1])}, or {NO_FLAG} alone", "flags")
    return found
