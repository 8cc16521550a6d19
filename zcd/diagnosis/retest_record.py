"""What a job file says of the board after its repair: an entry for each retest, the last counts.

It tells what was found on that day, in words and round numbers; nothing is worked out from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Annotated

from pydantic import BeforeValidator, Field, StrictBool

from zcd.board import quantity_kinds
from zcd.board.schema import Day, Table, one_of, quantity

TOLD_FACTOR = 4.0
"""An estimate wider than this from its 10 % to its 90 % point tells little."""


class Verdict(StrEnum):
    """How a repaired board reads."""

    GOOD = "good"
    NOT_GOOD = "not good"
    UNSURE = "too little measured"


Line = Annotated[str, Field(description="a line of text")]
Ratio = Annotated[float, quantity(quantity_kinds.CTR)]


class RetestReadingTable(Table):
    """One of ``readings`` of a retest."""

    reading: str = Field(description='what was read where such as "DC volts, pin to logic0"')
    shown: str = Field(description='what the meter showed such as "2.65 V"')
    good_board: str = Field(default="", description='what a good board shows such as "2.4 V"')
    differs: StrictBool = Field(default=False, description="true (not as on a good board) or false")
    close: StrictBool = Field(default=False, description="true (beside a good board's) or false")


class RetestTable(Table):
    """One ``[[retests]]`` of a job file."""

    taken: Day = Field(description="a date such as 2026-03-14")
    by: str = Field(default="", description="a name")
    replaced: tuple[Line, ...] = Field(default=(), description='a list such as ["R7 39k"]')
    board: str = Field(default="", description='a board file\'s name such as "repaired.toml"')
    verdict: Annotated[str, BeforeValidator(one_of(*Verdict))] = Field(
        description=f"one of {', '.join(Verdict)}"
    )
    sure: Annotated[float, quantity(quantity_kinds.FRACTION)] = Field(
        description='a share such as "97 %"'
    )
    ctr: tuple[Ratio, ...] = Field(
        default=(), max_length=3, description='three ratios such as ["80 %", "110 %", "150 %"]'
    )
    headroom: tuple[Line, ...] = Field(default=(), description='a list such as ["1.9", "2.4"]')
    headroom_weak: tuple[Line, ...] = Field(default=(), description='a list such as ["1.2"]')
    readings: tuple[RetestReadingTable, ...] = Field(
        default=(), description="a list of tables with reading and shown"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RetestReading:
    """A reading after the repair, as it was shown.

    Parameters
    ----------
    reading, shown, good_board : str
        What was read where, what the meter showed, what it shows on a good board.
    differs : bool
    close : bool
        Good, though beyond what nearly all good boards show.
    """

    reading: str
    shown: str
    good_board: str = ""
    differs: bool = False
    close: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RetestRecord:
    """A retest as a job file keeps it.

    Parameters
    ----------
    taken : date
    by : str
        Who; may be empty.
    replaced : tuple of str
        What was replaced before it.
    board : str
        Name of the repaired board's file, beside the job file; empty: the job's own.
    verdict : Verdict
    good_ratio : float
        Probability that the sync circuit is good.
    ctr_ratio : tuple of float, or None
        10 %, 50 % and 90 % point from the measured low time; None: not measured.
    headroom, headroom_weak : tuple of str
        Of the CTR at these points, on the bench and at low mains, hot; such as ``2.35``,
        ``over 100`` or ``0.8 (short)``.
    readings : tuple of RetestReading
    """

    taken: date
    verdict: Verdict
    good_ratio: float
    by: str = ""
    replaced: tuple[str, ...] = ()
    board: str = ""
    ctr_ratio: tuple[float, float, float] | None = None
    headroom: tuple[str, ...] = ()
    headroom_weak: tuple[str, ...] = ()
    readings: tuple[RetestReading, ...] = ()

    @property
    def tells(self) -> bool:
        """Whether the low time tells the CTR clearly; else only the lower ends mean something."""
        return self.ctr_ratio is not None and told_clearly(self.ctr_ratio)


def told_clearly(points: tuple[float, float, float]) -> bool:
    """Whether an estimate, by its 10 %, 50 % and 90 % point, tells more than a lower end."""
    return points[2] < TOLD_FACTOR * points[0]


def read_retest(table: RetestTable) -> RetestRecord:
    """A retest from its table."""
    return RetestRecord(
        taken=table.taken,
        verdict=Verdict(table.verdict),
        good_ratio=table.sure,
        by=table.by,
        replaced=table.replaced,
        board=table.board,
        ctr_ratio=(table.ctr[0], table.ctr[1], table.ctr[2]) if len(table.ctr) == 3 else None,
        headroom=table.headroom,
        headroom_weak=table.headroom_weak,
        readings=tuple(RetestReading(**dict(each)) for each in table.readings),
    )
