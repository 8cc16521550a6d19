"""What the meter is: asked once, at its first use."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from zcd.board.toml_files import validate
from zcd.diagnosis.job import MeterTable, meter_of

if TYPE_CHECKING:
    from zcd.diagnosis.meters import Meter

START = 'Your meter (see its manual). Enter takes what is in brackets, "end" leaves.'
END = ("end", "quit", "exit", "q")
HELP = (
    "The manual has it, or a second meter measures it at the open probes. Press Enter if you do "
    "not know."
)


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
    """

    key: str
    words: str
    usual: str

    @property
    def line(self) -> str:
        """As it is put."""
        return f"  {self.words} [{self.usual or 'not known'}]: "


QUESTIONS = (
    Question("diode_stop", "Diode test: shows OL above", "2 V"),
    Question("ohms_open", "Ohms: voltage at the open probes", ""),
    Question("ohm_range", "Ohms: highest range", "20M"),
    Question("ac_kind", "AC volts: true-rms or average", "true-rms"),
    Question("scope", "An oscilloscope too: yes or no", "no"),
)
"""What decides between faults and differs from meter to meter; the usual of handhelds."""


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
    texts: dict[str, str] = {}
    for question in QUESTIONS:
        if said := _answer(question, ask, tell):
            texts[question.key] = said
    return texts


def _answer(question: Question, ask: Callable[[str], str], tell: Callable[[str], None]) -> str:
    while True:
        said = " ".join(ask(question.line).split()) or question.usual
        if said.lower() in END:
            raise EOFError
        if said.lower() in ("?", "help"):
            tell(HELP)
            continue
        _, problems = validate(MeterTable, {question.key: said} if said else {})
        if not problems:
            return said
        for problem in problems:
            tell(problem.removeprefix(f"{question.key}: "))


def meter_from(texts: dict[str, str]) -> Meter:
    """The meter that was told of; texts as `ask_meter` returns them."""
    table, _ = validate(MeterTable, texts)
    assert table is not None
    return meter_of(table)
