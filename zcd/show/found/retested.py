"""A retest in the job file: written whole, read back, told in words."""

from __future__ import annotations

import os
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from zcd.board.documents import file_name
from zcd.board.units import format_si, refusal
from zcd.diagnosis.job import Job
from zcd.diagnosis.retest import Again, Retest
from zcd.diagnosis.retested import ReadAgain, Retested, Verdict
from zcd.diagnosis.words import show_measured
from zcd.show.files import update_whole
from zcd.show.found.findings import spread_of
from zcd.show.found.job_text import JobText, add_table, inline_table
from zcd.show.table import Table
from zcd.show.wording import factor_text, plain, probability_text

if TYPE_CHECKING:
    from tomlkit import TOMLDocument


def retested(
    found: Retest, taken: date, *, by: str = "", replaced: Sequence[str] = (), board: str = ""
) -> Retested:
    """What a job file keeps of a retest.

    Parameters
    ----------
    found : Retest
    taken : date
    by : str
        Who.
    replaced : sequence of str
        What was replaced before it.
    board : str
        Name of the repaired board's file, beside the job file.
    """
    left = found.remaining
    return Retested(
        taken=taken,
        by=by,
        replaced=tuple(replaced),
        board=board,
        verdict=verdict_of(found),
        good_ratio=found.good_ratio,
        ctr_ratio=None if left is None else left.ctr_ratio,
        headroom=() if left is None else tuple(map(factor_text, left.bench)),
        headroom_weak=() if left is None else tuple(map(factor_text, left.weak)),
        readings=tuple(map(_read_again, found.readings)),
    )


def verdict_of(found: Retest) -> Verdict:
    """How the board reads now, in a word or two."""
    if found.good:
        return Verdict.GOOD
    return Verdict.NOT_GOOD if found.differs else Verdict.UNSURE


def _read_again(again: Again) -> ReadAgain:
    function = again.measured.reading.function
    return ReadAgain(
        reading=again.measured.reading.words,
        shown=show_measured(again.measured, 4),
        good_board=spread_of(function, again.low, again.high),
        differs=not again.good,
    )


def keep_retest(job: Job, kept: Retested) -> Path:
    """Add a retest to a job file, once where it is told again; the rest of it stays as it is.

    Parameters
    ----------
    job : Job
        Read from a file; open or closed.
    kept : Retested

    Returns
    -------
    Path
        The job file.

    Raises
    ------
    InputError
        If there is no job file, or it cannot be written.
    """
    file = job.file
    if file is None:
        raise refusal("a board file", "a job file", "JOB")
    update_whole(file, lambda data: _with_retest(JobText.of(data, file_name(file)), kept).data)
    return file


def _with_retest(text: JobText, kept: Retested) -> JobText:
    """A job file with one more retest, unless that is the last one already."""
    import tomlkit

    text.job()
    entry, before = _entry(kept), text.plain.get("retests", [])
    if before[-1:] == [entry]:
        return text

    def edit(document: TOMLDocument) -> None:
        laid_out = dict(entry)
        if kept.readings:
            rows = tomlkit.array().multiline(True)
            rows.extend(map(inline_table, entry["readings"]))
            laid_out["readings"] = rows
        add_table(document, "retests", laid_out)

    return text.changed(edit, {**text.plain, "retests": [*before, entry]})


def _entry(kept: Retested) -> dict[str, Any]:
    """One ``[[retests]]``, what is empty left out."""
    told: dict[str, Any] = {
        "taken": kept.taken,
        "by": kept.by,
        "replaced": list(kept.replaced),
        "board": kept.board,
        "verdict": str(kept.verdict),
        "sure": format_si(kept.good_ratio, "%"),
        "ctr": [format_si(ratio, "%") for ratio in kept.ctr_ratio or ()],
        "headroom": list(kept.headroom),
        "headroom_weak": list(kept.headroom_weak),
        "readings": [
            {"reading": each.reading, "shown": each.shown, "good_board": each.good_board}
            | ({"differs": True} if each.differs else {})
            for each in kept.readings
        ],
    }
    return {key: value for key, value in told.items() if value}


def board_name_for(job: Job, board_file: Path | None) -> str:
    """How a job file names the repaired board's file; empty where it is the job's own board."""
    if job.file is None or board_file is None:
        return ""
    if job.board_file is not None and board_file.resolve() == job.board_file.resolve():
        return ""
    return Path(os.path.relpath(board_file, job.file.parent)).as_posix()


def retested_line(kept: Retested) -> str:
    """A retest in one line, for lists.

    Examples
    --------
    >>> retested_line(Retested(taken=date(2026, 3, 14), verdict=Verdict.GOOD, good_ratio=0.97))
    'retested 2026-03-14: good (97 %)'
    """
    line = (
        f"retested {kept.taken.isoformat()}: {kept.verdict} ({probability_text(kept.good_ratio)})"
    )
    if not kept.headroom:
        return line
    if not kept.tells:
        return f"{line}, CTR headroom {_span(kept.headroom, tells=False)}"
    return f"{line}, CTR headroom {plain(kept.headroom[len(kept.headroom) // 2])}"


def retested_lines(kept: Retested) -> list[str]:
    """A retest in sentences: what was replaced by whom, the verdict, what is left of the CTR."""
    who = f" by {plain(kept.by)}" if kept.by else ""
    share = probability_text(kept.good_ratio)
    lines = [f"Retested on {kept.taken.isoformat()}{who}: {kept.verdict} ({share} good)."]
    if kept.replaced:
        lines.append(f"Replaced: {', '.join(map(plain, kept.replaced))}.")
    if kept.ctr_ratio is not None:
        ctr = [format_si(ratio, "%", digits=3) for ratio in kept.ctr_ratio]
        lines.append(f"CTR as measured: {_span(ctr, kept.tells)}.")
    for words, factors in (
        ("on the bench", kept.headroom),
        ("at low mains, hot", kept.headroom_weak),
    ):
        if factors:
            lines.append(f"CTR headroom {words}: {_span(factors, kept.tells)}.")
    return lines


def _span(texts: Sequence[str], tells: bool) -> str:
    """The three points of an estimate; of one that tells little the lower end alone."""
    low, middle, high = (plain(text) for text in (texts[0], texts[len(texts) // 2], texts[-1]))
    if low == high:
        return low
    return f"{low} to {high}, most likely {middle}" if tells else f"{low} or more"


def retested_sheet(kept: Retested) -> Table:
    """The readings after the repair, beside those of a good board."""
    rows = tuple(
        (
            plain(each.reading),
            plain(each.shown),
            plain(each.good_board),
            "DIFFERS" if each.differs else "as a good one",
        )
        for each in kept.readings
    )
    columns = ("reading", "shown", "good board", "")
    return Table(title="Readings after the repair", columns=columns, rows=rows)


def retested_record(kept: Retested) -> dict[str, Any]:
    """A retest of a job file, ready for `json.dumps`."""
    return {
        "taken": kept.taken.isoformat(),
        "by": kept.by or None,
        "replaced": list(kept.replaced),
        "board": kept.board or None,
        "verdict": str(kept.verdict),
        "good_ratio": kept.good_ratio,
        "ctr_ratio": None if kept.ctr_ratio is None else list(kept.ctr_ratio),
        "headroom": list(kept.headroom),
        "headroom_weak": list(kept.headroom_weak),
        "readings": [
            {
                "reading": each.reading,
                "shown": each.shown,
                "good_board": each.good_board or None,
                "differs": each.differs,
            }
            for each in kept.readings
        ],
    }
