"""Tables of results by name."""

from __future__ import annotations

from collections.abc import Callable, Collection
from typing import TYPE_CHECKING

from zcd.report.table import Quantity, Table

if TYPE_CHECKING:
    from zcd.diagnosis.case import Case
    from zcd.margin.check import Check
    from zcd.simulation.drive_parts import Replacements


def check_tables() -> dict[str, Callable[[Check], Table | None]]:
    """Tables of a check; those of the outlook only where it was worked out."""
    from zcd.report import of_check as of
    from zcd.report import of_outlook as later
    from zcd.report import of_spread as spread

    return {
        "rules": of.rules_table,
        "levels": of.levels_table,
        "resistors": of.resistors_table,
        "headroom": of.headroom_table,
        "corners": lambda check: spread.corners_table(check.spread),
        "population": lambda check: spread.population_table(check.spread.population),
        "tolerances": lambda check: spread.tolerances_table(check.spread),
        "shares": lambda check: (
            later.sensitivity_table(check.outlook.sensitivity) if check.outlook else None
        ),
        "years": lambda check: (
            later.years_table(check.outlook.ageing, check.board) if check.outlook else None
        ),
        "shorts": of.shorts_table,
        "surge": of.surge_table,
        "assumptions": lambda check: of.assumptions_table(check.board),
    }


def case_tables() -> dict[str, Callable[[Case], Table]]:
    """Tables of a diagnosis."""
    from zcd.report.of_diagnosis import measured_table, ranked_table

    return {
        "faults": lambda case: ranked_table(case.diagnosis, case.circuit),
        "readings": lambda case: measured_table(case.measured, case.circuit),
        "choices": _choices,
    }


def _choices(case: Case) -> Table:
    """Readings that could be taken next, the best first."""
    from zcd.diagnosis.reading_words import reading_text

    quantities = (
        Quantity("reading", "reading", lambda c: reading_text(c.reading, case.circuit)),
        Quantity("gain_bits", "gain", lambda choice: f"{choice.gain_bits:.2f} bit", right=True),
        Quantity("cost", "cost", lambda choice: f"{choice.cost:g}", right=True),
        Quantity("worth_bits", "gain / cost", lambda c: f"{c.worth_bits:.2f} bit", right=True),
    )
    return Table.of(
        case.choices()[:12],
        quantities,
        title="Readings to choose from",
        remark="gain: information expected from the reading; cost: effort and risk, an unpowered "
        "reading is 1.",
    )


def replacement_tables() -> dict[str, Callable[[Replacements], Table | None]]:
    """Tables of replacement parts; those of the parts that were asked for."""
    return {
        "chain": lambda result: _proposals(result, ("chain",)),
        "optocouplers": lambda result: _proposals(result, ("optocoupler",)),
        "pull_ups": lambda result: _proposals(result, ("pull-up", "emitter-follower")),
        "diodes": lambda result: _proposals(result, ("rectifier", "clamp")),
    }


def _proposals(result: Replacements, kinds: Collection[str]) -> Table | None:
    from zcd.report.of_substitutes import proposals_table

    answers = (answer for answer in result.found.answers if answer.kind in kinds)
    return next((proposals_table(result.found, answer) for answer in answers), None)
