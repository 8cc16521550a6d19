"""A retest that a job file keeps, in words, as a table and as a JSON object."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from zcd.board.units import format_si
from zcd.circuit.elements import Circuit
from zcd.diagnosis.expected_readings import ExpectedRange
from zcd.diagnosis.reading_syntax import show_measured
from zcd.diagnosis.reading_words import reading_text
from zcd.diagnosis.retest import RepeatedReading
from zcd.diagnosis.retest_record import RetestReading, RetestRecord, Verdict
from zcd.errors import plain
from zcd.report.of_readings_card import MISSED, WIDE_OHMS, good_cell
from zcd.report.table import Quantity, Table
from zcd.report.text import listed, probability_text, short_of


def retest_record_line(record: RetestRecord) -> str:
    """A retest in one line, for lists.

    Examples
    --------
    >>> from datetime import date
    >>> from zcd.diagnosis.retest_record import Verdict
    >>> retest_record_line(RetestRecord(taken=date(2026, 3, 14), verdict=Verdict.GOOD,
    ...                                 good_ratio=0.97))
    'retested 2026-03-14: good (97 % sure)'
    """
    line = f"retested {record.taken.isoformat()}: {verdict_text(record)}"
    if not record.headroom:
        return line
    likeliest = record.headroom[len(record.headroom) // 2 :][:1]
    return f"{line}, {reserve_text(likeliest if record.tells else record.headroom, tells=False)}"


def retest_record_lines(record: RetestRecord) -> list[str]:
    """A retest in sentences: what was replaced by whom, the verdict, what is left of the CTR."""
    who = f" by {plain(record.by)}" if record.by else ""
    lines = [f"Retested on {record.taken.isoformat()}{who}: {verdict_text(record)}."]
    if record.replaced:
        lines.append(f"Replaced: {', '.join(map(plain, record.replaced))}.")
    if record.ctr_ratio is not None:
        ctr = [format_si(ratio, "%", digits=3) for ratio in record.ctr_ratio]
        span = span_text(ctr, record.tells)
        lines.append(f"CTR, worked out from the measured low time: {span}.")
    for words, factors in ((ON_BENCH, record.headroom), (WEAK, record.headroom_weak)):
        if factors:
            lines.append(f"{reserve_text(factors, record.tells, words)}.")
    return lines


def not_ready_line(records: Sequence[RetestRecord]) -> str:
    """What failed in the last retest, whatever the calculation says; empty where nothing did."""
    if not records or records[-1].verdict is not Verdict.NOT_GOOD:
        return ""
    differing = [each for each in records[-1].readings if each.differs]
    told = f": {'; '.join(map(_differing_text, differing))}" if differing else ""
    return f"NOT READY. The last retest failed{told}."


def not_passed_line(records: Sequence[RetestRecord]) -> str:
    """The same, or that the last retest was not sure enough; empty where it passed."""
    if not records or records[-1].verdict is not Verdict.UNSURE:
        return not_ready_line(records)
    return f"NOT PASSED. The last retest was {_sure_text(records[-1])}."


def closed_text(closed: date, records: Sequence[RetestRecord]) -> str:
    """When a job was closed, and that no retest was passed before it.

    Examples
    --------
    >>> closed_text(date(2026, 3, 14), ())
    'on 2026-03-14 without a retest'
    """
    if not records:
        without = " without a retest"
    else:
        without = "" if records[-1].verdict is Verdict.GOOD else " without a passed retest"
    return f"on {closed.isoformat()}{without}"


def _differing_text(each: RetestReading) -> str:
    """A reading that differs, such as ``low time 4 ms (good 7.8 ms to 9.2 ms)``."""
    good = f" (good {plain(each.good_board)})" if each.good_board else ""
    name = _short_name(each)
    comma = "," if "," in name else ""
    return f"{name}{comma} {plain(each.shown)}{good}"


def _short_name(each: RetestReading) -> str:
    """What was read, without the pin where a pulse is measured there."""
    name = plain(each.reading).replace(" (scope)", "")
    return name.removesuffix(", pin to logic0").removesuffix(", red on pin, black on logic0")


def verdict_text(record: RetestRecord) -> str:
    """How the board reads, with the reason or with how sure that is."""
    share = probability_text(record.good_ratio)
    if record.verdict is Verdict.UNSURE:
        return f"not passed, {_sure_text(record)}"
    if record.verdict is Verdict.GOOD:
        return f"{record.verdict} ({share} sure)"
    names = [_short_name(each) for each in record.readings if each.differs]
    if not names:
        return str(record.verdict)
    return f"{record.verdict}: {'; '.join(names)} {'differs' if len(names) == 1 else 'differ'}"


def _sure_text(record: RetestRecord) -> str:
    """How sure a retest was, of the share that is needed, and what was a bit off."""
    off = [_short_name(each) for each in record.readings if each.close]
    why = f"; {listed(off)} {CLOSE}" if off else ""
    return f"{short_of(record.good_ratio)} sure that the board is good (95 % needed{why})"


CLOSE = "a bit off"
OR_0 = " or 0"
ON_BENCH, WEAK = "on the bench", "at low mains, hot"
"""Where there is so much of a reserve."""
TIMES = " times what the board needs"


def reserve_text(factors: Sequence[str], tells: bool, where: str = "") -> str:
    """How many times the CTR that the board needs there is, as `span_text`.

    Examples
    --------
    >>> reserve_text(("1.9", "2.35", "4"), True, ON_BENCH)
    'CTR reserve on the bench: 1.9 to 4 times what the board needs, most likely 2.35'
    >>> reserve_text(("1.9", "2.35", "4"), False)
    'CTR reserve: 1.9 times what the board needs, or more'
    """
    start, span = f"CTR reserve{f' {where}' if where else ''}", span_text(factors, tells)
    if any(text[:1].isalpha() and not text.startswith("over") for text in factors):  # no sync
        return f"{start}: {span}"
    for end in (", most likely", " or more"):
        if end in span:
            first, _, last = span.partition(end)
            return f"{start}: {first}{TIMES}{end if end[0] == ',' else ',' + end}{last}"
    return f"{start}: {span}{TIMES}"


def span_text(texts: Sequence[str], tells: bool) -> str:
    """The three points of an estimate; of one that tells little the lower end alone."""
    low, middle, high = (plain(text) for text in (texts[0], texts[len(texts) // 2], texts[-1]))
    if low == high:
        return low
    return f"{low} to {high}, most likely {middle}" if tells else f"{low} or more"


def retest_reading(again: RepeatedReading, circuit: Circuit, digits: int = 3) -> RetestReading:
    """A reading after a repair as it was shown, beside that of a good board."""
    good = ExpectedRange(low=again.low, middle=again.middle, high=again.high)
    measured = again.measured
    return RetestReading(
        reading=reading_text(measured.reading, circuit),
        shown=show_measured(measured, digits),
        good_board=good_cell(measured.reading.function, good, measured.value),
        differs=not again.good,
        close=again.is_close,
    )


def _mark(each: RetestReading) -> str:
    """Whether a reading is a good board's, by itself or by the error of the meter."""
    if each.differs:
        return "DIFFERS"
    if each.shown.startswith("0 ") and each.good_board.endswith(OR_0):
        return "proves nothing"  # pulses too narrow for some meters to count
    return CLOSE if each.close else "good"


READINGS = (
    Quantity("reading", "reading", lambda each: plain(each.reading)),
    Quantity("shown", "shown", lambda each: plain(each.shown)),
    Quantity("good_board", "good board", lambda each: plain(each.good_board)),
    Quantity("status", "", _mark),
)


def readings_after(readings: Iterable[RetestReading]) -> Table:
    """The readings after a repair, each beside that of a good board."""
    return Table.of(readings, READINGS, "Readings after the repair")


def retest_record_table(record: RetestRecord) -> Table:
    """Those of a record, with what to know of the cells."""
    good = [(each.reading, each.good_board) for each in record.readings]
    wide = any(name.startswith("ohms") and cell.startswith("up to ") for name, cell in good)
    missed = any(cell.endswith(OR_0) for _, cell in good)
    close = f"{CLOSE}: few good boards show it." if any(e.close for e in record.readings) else ""
    legend = " ".join(filter(None, (WIDE_OHMS * wide, MISSED * missed, close)))
    return replace(readings_after(record.readings), remark=legend)


def retest_record_to_dict(record: RetestRecord) -> dict[str, Any]:
    """A retest of a job file, ready for `json.dumps`."""
    return {
        "taken": record.taken.isoformat(),
        "by": record.by or None,
        "replaced": list(record.replaced),
        "board": record.board or None,
        "verdict": str(record.verdict),
        "good_ratio": record.good_ratio,
        "ctr_ratio": None if record.ctr_ratio is None else list(record.ctr_ratio),
        "headroom": list(record.headroom),
        "headroom_weak": list(record.headroom_weak),
        "readings": [
            {
                "reading": each.reading,
                "shown": each.shown,
                "good_board": each.good_board or None,
                "differs": each.differs,
                "close": each.close,
            }
            for each in record.readings
        ],
    }
