"""Readings taken one by one at a prompt."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from zcd.circuit.elements import Circuit, Resistance, is_hidden
from zcd.diagnosis.flag_evidence import FLAGS, NO_FLAG
from zcd.diagnosis.functions import OVERLOAD_WORDS
from zcd.diagnosis.job import check_codes
from zcd.diagnosis.rank import Diagnosis
from zcd.diagnosis.reading_syntax import (
    NOTHING_WORDS,
    UNSTABLE_WORDS,
    parse_function,
    parse_reading,
    parse_shown,
)
from zcd.diagnosis.readings import Measured, Reading
from zcd.errors import InputError, invalid_value

END = ("end", "quit", "exit", "q")
SKIP = ("skip", "cannot reach it", "can't reach it", "cannot")
UNDO = ("undo", "back")
MORE = ("more", "full")
ANSWERS = (*OVERLOAD_WORDS, *NOTHING_WORDS, *UNSTABLE_WORDS)
NOT_ASKED = 'no reading is asked for now: type all of it ("ohm R2 82k"), or Enter to end'
SHORT_HELP = (
    'Type what the meter shows ("4.98 V", "OL") or another reading ("R2 82k", "dc pin 4.98 V"). '
    '"?" lists all words, "more" shows every fault and reading.'
)
HELP = (
    'Type what the meter shows ("4.98 V", "OL", "OL on 2M", "about 230", "190..260", "< 5 V", '
    '"nothing": about 0, or no pulses; "unstable"), or another reading ("R2 82k", '
    '"ohm R2 lifted 82k", "ohm R1 to R3 OL", "volts pin gnd 4.98", '
    '"dc pin logic0 relay off 0.1 V", "dc pin logic0 bench supply 5 V"). '
    '"flags sync fan" for what the controller reports, "flags sync=F3" with the code that the '
    'appliance shows ("flags none" for no flag); "skip" if you '
    'cannot take the reading; "undo" removes the last answer; "more" shows every fault, reading '
    'and figure; "end" stops: the answers are saved. "?" shows this again.'
)

QUESTION = "Next: {name} shows (value, OL, skip, undo, more, end, ?): "
LAST_QUESTION = "Press Enter to end (or undo, or another reading): "

Diagnose = Callable[[Sequence[Measured], Sequence[Reading], Sequence[str]], Diagnosis]
Save = Callable[[Sequence[Measured | Reading], Sequence[str]], None]


def _kept_nowhere(log: Sequence[Measured | Reading], flags: Sequence[str]) -> None:
    del log, flags


@dataclass(slots=True)
class Answers:
    """What was answered so far.

    Parameters
    ----------
    circuit : Circuit
        Says which nodes and parts there are.
    log : list of Measured or Reading
        In order; a reading without a value was skipped.
    flags : tuple of str
    codes : dict
        What the appliance shows for each flag: may be typed in its place.
    """

    circuit: Circuit
    log: list[Measured | Reading] = field(default_factory=list)
    flags: tuple[str, ...] = ()
    codes: Mapping[str, str] = field(default_factory=dict)
    _earlier: list[tuple[list[Measured | Reading], tuple[str, ...]]] = field(default_factory=list)

    @property
    def measured(self) -> list[Measured]:
        """The readings taken, in order."""
        return [each for each in self.log if isinstance(each, Measured)]

    @property
    def skipped(self) -> list[Reading]:
        """The readings that cannot be taken."""
        return [each for each in self.log if isinstance(each, Reading)]

    def take(self, line: str, suggested: Reading | None) -> bool:
        """Do what a line says; False where it only asks for help.

        Parameters
        ----------
        line : str
            Without blanks at its ends.
        suggested : Reading or None
            What a value alone is the answer to.

        Raises
        ------
        InputError
            If it cannot be used; nothing has changed then.
        """
        word = line.lower()
        if word in ("", "help", "?"):
            return False
        if word in UNDO:
            self._undo()
            return True
        before = list(self.log), self.flags
        if word in SKIP and suggested is not None:
            self.log.append(suggested)
        elif word.split()[0] in ("flag", "flags"):
            self.flags, self.codes = parse_flags(line.split()[1:], self.codes)
        else:
            self.log.append(self._read(line, suggested))
        self._earlier.append(before)
        return True

    def _undo(self) -> None:
        """Take the last answer back: of this conversation, then readings of earlier ones."""
        if self._earlier:
            self.log, self.flags = self._earlier.pop()
        elif self.log:
            self.log.pop()
        else:
            raise InputError("there is no answer to take back")

    def copy(self) -> Answers:
        """The same answers, to go back to."""
        earlier = [(list(log), flags) for log, flags in self._earlier]
        return Answers(self.circuit, list(self.log), self.flags, self.codes, earlier)

    def join(self, more: Sequence[Measured | Reading], log: Sequence[Measured | Reading]) -> None:
        """Take in what others have added; taking answers back does not take back theirs.

        Parameters
        ----------
        more : sequence of Measured or Reading
            What they added.
        log : sequence of Measured or Reading
            All there is now, in order.
        """
        for earlier, _ in self._earlier:
            earlier.extend(more)
        self.log = list(log)

    def forget(self, reading: Reading) -> None:
        """Take back all that was said of a reading."""
        self.log = [each for each in self.log if place_of(each) != reading]

    def last(self, reading: Reading) -> Measured | Reading | None:
        """What was last said of a reading."""
        return next((each for each in reversed(self.log) if place_of(each) == reading), None)

    def _read(self, line: str, suggested: Reading | None) -> Measured:
        """A value for the reading asked for, or a whole reading."""
        if suggested is None:
            if _is_answer(line):
                raise InputError(f'found "{line[:40]}", but {NOT_ASKED}')
            return parse_reading(line, self.circuit)
        if _is_answer(line) or not _names_a_function(line):
            try:
                return parse_shown(line, suggested, circuit=self.circuit)
            except InputError as error:
                # no reading is one word: what it would have to be is a value
                if _is_answer(line) or " " not in line:
                    raise InputError(f"{error}; {self._other_part()}") from None
        return parse_reading(line, self.circuit)

    def _other_part(self) -> str:
        """How ohms of another part are typed."""
        refs = (e.ref for e in self.circuit.of(Resistance) if not is_hidden(e))
        return f'to enter another part, put its name first, such as "{next(refs, "R1")} 82k"'


@dataclass(slots=True)
class Conversation:
    """A diagnosis in steps.

    Parameters
    ----------
    answers : Answers
        Those known already; those given are added.
    diagnose : callable
        Diagnosis from the readings taken, those skipped, and the flags.
    save : callable
        Keeps the log and the flags; called after each answer.
    unkept : str
        Why the last answer could not be kept; empty: it was.
    """

    answers: Answers
    diagnose: Diagnose
    save: Save = _kept_nowhere
    unkept: str = ""

    def run(
        self,
        show: Callable[[Diagnosis], None],
        ask: Callable[[str], str],
        tell: Callable[[str], None],
        explain: Callable[[str, Diagnosis], None],
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
        explain : callable
            Answers ``?`` or a word of `MORE`, about a diagnosis.

        Returns
        -------
        diagnosis : Diagnosis
            The last one.
        """
        while True:
            diagnosis = self.diagnose(
                self.answers.measured, self.answers.skipped, self.answers.flags
            )
            show(diagnosis)
            try:
                if not self._answer(diagnosis, ask, tell, explain):
                    return diagnosis
            except EOFError:
                return diagnosis

    def _answer(
        self,
        diagnosis: Diagnosis,
        ask: Callable[[str], str],
        tell: Callable[[str], None],
        explain: Callable[[str, Diagnosis], None],
    ) -> bool:
        """Take one usable line; False ends the conversation."""
        suggested = diagnosis.suggestion.reading if diagnosis.suggestion else None
        question = LAST_QUESTION
        if suggested:
            question = QUESTION.format(name=suggested.name)
        while True:
            line = " ".join(ask(question).split())
            if line.lower() in END or (not line and suggested is None):
                return False
            before = self.answers.copy()
            try:
                if line.lower() in MORE or not self.answers.take(line, suggested):
                    explain(line.lower(), diagnosis)
                elif self._kept(before):
                    return True
                else:
                    tell(self.unkept)
            except InputError as error:
                tell(str(error))

    def _kept(self, before: Answers) -> bool:
        """Keep what was answered last; what could not be kept was not answered."""
        try:
            self.save(self.answers.log, self.answers.flags)
            self.unkept = ""
        except InputError as error:
            self.answers, self.unkept = before, str(error)
        return not self.unkept


def place_of(each: Measured | Reading) -> Reading:
    """What was read, or cannot be."""
    return each.reading if isinstance(each, Measured) else each


def _is_answer(line: str) -> bool:
    """Whether a line says what a meter showed, and not where."""
    word = line.lower()
    return not word[0].isalpha() or word in (*ANSWERS, *SKIP) or word.startswith(("about ", "ol "))


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


def parse_flags(
    words: Sequence[str], codes: Mapping[str, str] | None = None
) -> tuple[tuple[str, ...], dict[str, str]]:
    """Flags as typed, ``sync`` or ``sync,fan``, with what the appliance shows for them,
    ``sync=F3``; or that alone where it is known. ``none`` stands alone.

    Returns
    -------
    flags : tuple of str
    codes : dict
        What the appliance shows for each, where that is known.
    """
    names = {code.lower(): flag for flag, code in (codes or {}).items()}
    flags = []
    new: dict[str, str] = {}
    for word in ",".join(words).replace(",", " ").split():
        flag, told, code = word.partition("=")
        if told:
            check_codes({flag: code})
            if new.setdefault(flag.lower(), code) != code:
                both = f"{flag}={new[flag.lower()]} and {flag}={code}"
                raise invalid_value(both, "one code for each flag", "flags")
        flags.append(names.get(flag.lower(), flag.lower()))
    if not flags or not set(flags) <= set(FLAGS) or (NO_FLAG in flags and len(set(flags)) > 1):
        allowed = f'{", ".join(FLAGS[:-1])}, or {NO_FLAG} alone; with a code: "sync=F3"'
        raise invalid_value(" ".join(words), allowed, "flags")
    return tuple(dict.fromkeys(flags)), {**(codes or {}), **new}
