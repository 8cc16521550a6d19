"""What the meter is: asked once, at its first use."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from zcd.board.toml_files import validate
from zcd.diagnosis.job import MeterTable, meter_of

if TYPE_CHECKING:
    from zcd.diagnosis.meters import Meter

START = (
    'Your meter (see its manual). Enter takes what is in brackets;\n"undo" goes back, "end" leaves.'
)
UNDO = ("undo", "back")
END = ("end", "quit", "exit", "q")


@dataclass(frozen=True, slots=True)
class Question:
    """A question about the meter.

    Parameters
    ----------
    key : str
        Of ``[meter]``.
    words : str
    usual : str
        What Enter means; empty: not known.
    help : str
        How to find it out.
    """

    key: str
    words: str
    usual: str
    help: str

    @property
    def line(self) -> str:
        """As it is put."""
        return f"  {self.words} [{self.usual or 'not known'}]: "


QUESTIONS = (
    Question(
        "diode_stop", "Diode test: shows OL above", "2 V",
        "The manual has it; or a second meter, on DC volts, measures it at the open probes.",
    ),
    Question(
        "ohms_open", "Ohms: voltage at the open probes", "",
        "The manual has it; or a second meter, on DC volts, measures it at the open probes.",
    ),
    Question("ohm_range", "Ohms: highest range", "20M", "The last one on the knob: 2M, 20M, 60M."),
    Question(
        "ac_kind", "AC volts: true-rms or average", "true-rms",
        "A true-rms meter says so on its front (TRMS); any other is average.",
    ),
    Question(
        "scope", "An oscilloscope too: yes or no", "no",
        "With one, times at the pin are asked for too.",
    ),
)  # fmt: skip
"""What decides between faults and differs from meter to meter; the usual of handhelds."""
LEAST_STOP_V = 1.5
"""A diode test that stops lower does not light the LED of an optocoupler: common practice."""


def ask_meter(ask: Callable[[str], str], tell: Callable[[str], None]) -> dict[str, str]:
    """Ask what the meter is.

    Parameters
    ----------
    ask : callable
        Puts a question and returns a line; raises EOFError at the end of input.
    tell : callable
        Says why a line could not be used.

    Returns
    -------
    texts : dict
        Keys of ``[meter]`` and what was said.
    """
    answers: list[str] = []
    while len(answers) < len(QUESTIONS):
        question = QUESTIONS[len(answers)]
        said = " ".join(ask(question.line).split()) or question.usual
        if said.lower() in END:
            raise EOFError
        if said.lower() in UNDO:
            answers = answers[:-1]
        elif said.lower() in ("?", "help"):
            tell(f"{question.help} Press Enter if you do not know.")
        elif problems := _problems(question, said):
            for problem in problems:
                tell(problem.removeprefix(f"{question.key}: "))
        else:
            answers.append(said)
    return {q.key: said for q, said in zip(QUESTIONS, answers, strict=True) if said}


def _problems(question: Question, said: str) -> list[str]:
    """Why an answer cannot be used."""
    table, problems = validate(MeterTable, {question.key: said} if said else {})
    bare = table is not None and question.key == "diode_stop" and said.isdigit()
    if bare and float(said) < LEAST_STOP_V:
        return [f'found "{said}"; allowed: "{said} V", or "2 V" for most meters']
    return problems


def meter_from(texts: dict[str, str]) -> Meter:
    """The meter that was told of; texts as `ask_meter` returns them."""
    table, _ = validate(MeterTable, texts)
    assert table is not None
    return meter_of(table)
