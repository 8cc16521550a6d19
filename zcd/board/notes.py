"""What is taken where nobody wrote a value, and the note that this leaves behind."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from itertools import count

from zcd import refdata
from zcd.board.model import Assumption
from zcd.board.units import format_si

PRACTICE = "common practice, no source"
_DISPLAY_UNITS = {"ohm": "Ω", "degC": "°C", "": "%"}


@dataclass(slots=True)
class Notes:
    """Assumptions made so far, and references already used."""

    used: set[str]
    assumptions: list[Assumption] = field(default_factory=list)

    def assume(self, key: str, value: str, source: str) -> None:
        note = Assumption(key=key, value=value, source=source)
        if note not in self.assumptions:
            self.assumptions.append(note)

    def default(self, written: float | None, key: str, name: str = "") -> float:
        """Take the value written, or the reference default of this name (the key itself)."""
        if written is not None:
            return written
        taken = refdata.default(name or key)
        self.assume(key, _shown(taken), taken.why)
        return taken.value

    def choice(self, written: str | None, key: str, value: str, source: str = PRACTICE) -> str:
        """Take the name written, or this one."""
        if written is None:
            self.assume(key, value, source)
        return written or value

    def ref(self, written: str | None, letters: str) -> str:
        """Take the reference written, or the next free one with these letters."""
        if written is not None:
            return written
        free = next(f"{letters}{n}" for n in count(1) if f"{letters}{n}" not in self.used)
        self.used.add(free)
        return free


@cache
def _shown(taken: refdata.Default) -> str:
    """A default with its unit."""
    return format_si(taken.value, _DISPLAY_UNITS.get(taken.unit, taken.unit))
