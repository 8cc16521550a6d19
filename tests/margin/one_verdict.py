"""What every face of the tool says of one board, held against its check."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any
from unittest.mock import patch

import numpy as np
from hypothesis import strategies as st

from tests.fuzz.random_boards import boards
from zcd import api
from zcd.board.drawer import series_drawer
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.fault_dictionary import make_fault_dictionary
from zcd.diagnosis.faults import HEALTHY
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.readings import Measured
from zcd.diagnosis.retest import retest
from zcd.diagnosis.samples import BENCH_DEGC
from zcd.margin.check import LEVELS, Check
from zcd.margin.loss_map import loss_map
from zcd.margin.rules import RARE_RATIO, worst_status
from zcd.margin.spread import AT_CORNER
from zcd.renderings import document_of
from zcd.report.of_check_answer import FEW_RATIO, finding_lines, headline_text
from zcd.report.terminal import document_text
from zcd.serialize import to_dict
from zcd.simulation.causes import find_cause
from zcd.simulation.sync_view import sync_views_of
from zcd.spice.solve import Spice
from zcd.substitutes.proposals import Closeness
from zcd.sync.lock import LIMITS, judge
from zcd.web import tasks

NEAR = 0.02
"""A margin smaller than this may fall either way between solvers and grids."""
READINGS = 12
FIRST_WORDS = {"pass": "PASSES. ", "warning": "PASSES, with ", "fail": "FAILS: "}


@st.composite
def any_board(draw: st.DrawFn, *, capacitors: bool = True) -> Board:
    """A random board on a bench, whose controller is read in nothing, something or everything."""
    board = draw(boards(capacitors=capacitors))
    keys = [limit.key for limit in LIMITS.values()]
    stated = frozenset(draw(st.lists(st.sampled_from(keys), unique=True)))
    volts, opto = board.output.supply_v, board.optocoupler
    spread = draw(st.floats(1.1, 2.0))  # of its grade, each way
    opto = replace(
        opto, ctr_min_ratio=opto.ctr_ratio / spread, ctr_max_ratio=opto.ctr_ratio * spread
    )
    return replace(
        board,
        optocoupler=opto,
        service=replace(board.service, bench_degc=draw(st.floats(*BENCH_DEGC))),
        controller=replace(
            board.controller,
            stated=stated,
            edges=draw(st.sampled_from(("one", "both"))),
            low_threshold_v=0.2 * volts,
            high_threshold_v=0.8 * volts,
        ),
    )


def disagreements(board: Board, *, deep: bool = False, slow: bool = False) -> list[str]:
    """A sentence for each face that says something else than the check.

    Parameters
    ----------
    board : Board
    deep : bool
        Also ask retest and substitute, which take seconds.
    slow : bool
        Also ask the circuit simulator and the map.
    """
    check = api.check(board)
    found = [
        *_faces(board, check),
        *_shares(check),
        *_at_nominal(board, check),
    ]
    if deep:
        found += [*_substitute(board, check), *_retest(board)]
    if slow:
        found += [*_spice(board, check), *_map(board, check)]
    return found


def _faces(board: Board, check: Check) -> Iterator[str]:
    """JSON, terminal, page."""
    record: dict[str, Any] = to_dict(check)
    status = worst_status(rule for rule in check.every_rule if not rule.is_note)
    if (record["status"], record["passes"]) != (status, status != "fail"):
        yield f"JSON says {record['status']}, the rules {status}"
    if {rule["name"]: rule["status"] for rule in record["rules"]} != {
        rule.name: rule.status for rule in (*check.rules, *check.spread.rules)
    }:
        yield "JSON's rules are others"
    kept = {corner["rule"]: corner["passes"] for corner in record["spread"]["corners"]}
    for rule in check.spread.rules:
        if kept[rule.name.removeprefix(AT_CORNER)] is not rule.passes:
            yield f"JSON's corner differs: {rule.name}"
    text = document_text(document_of(check).answer)
    lines = finding_lines(check)
    # a corner that no board drawn reaches asks for nothing
    noted = any(rule.is_note for rule in check.every_rule)
    doubt = any(rule.depends_on for rule in check.every_rule)
    doubted = doubt and check.spread.population.doubtful_ratio >= FEW_RATIO
    first = "WARNING: " if doubted and status == "warning" else FIRST_WORDS[status]
    if f"\n{first}" not in f"\n{text}":
        yield f"the terminal does not say {status}: {headline_text(check)}"
    marks = {"pass": "note: ", "warning": "warning: ", "fail": "FAIL: "}[status]
    if (status != "pass" and not lines) or (lines and not lines[0].startswith(marks)):
        yield f"findings do not begin with {status}: {lines[:1]}"
    if status == "pass" and bool(lines) is not noted:
        yield f"a note that is not told, or none: {lines[:1]}"
    with patch("zcd.api.check", return_value=check):  # worked out once
        page = tasks.check(board)
    if (page["passes"], page["verdict"]) != (check.passes, headline_text(check)):
        yield f"the page says {page['verdict']}"
    if not set(lines) <= set(page["findings"]):
        yield "the page leaves findings out"


def _shares(check: Check) -> Iterator[str]:
    """The population, the worst corners and the verdict."""
    population = api.population(check.board)
    drawn = check.spread.population
    if population.failing != drawn.failing or population.doubtful_ratio != drawn.doubtful_ratio:
        yield "the population of the check is another one"
    margins = drawn.rule_margins
    least = dict(zip(margins.names, margins.margins.min(axis=0), strict=True))
    sure = drawn.sure_margins.broken_ratio
    binding = dict(zip(margins.names, margins.binding, strict=True))
    for rule in check.spread.rules:
        name = rule.name.removeprefix(AT_CORNER)
        if rule.margin > least[name] + NEAR:
            yield f"a drawn board is worse than the corner of {name}"
        if binding[name] and sure[name] >= RARE_RATIO and rule.passes:
            yield f"{name} fails in {sure[name]:.2%} of boards, and its corner passes"
        if rule.status == "fail" and not rule.margin < 0.0:
            yield f"{name} fails with something left"
    if check.passes and population.failing.ratio >= RARE_RATIO * max(2, len(least)):
        yield f"{population.failing.ratio:.2%} of boards fail, and the check passes"


def _at_nominal(board: Board, check: Check) -> Iterator[str]:
    """Solve and the story, where the check has its nominal level."""
    level = check.levels[LEVELS.index("nominal")]
    solved = api.solve(board)
    if bool(solved.locks[0]) is not level.locks:
        yield "solve does not lock as the check's nominal level does"
    margin = float(judge(solved.solution, board).margin[0])
    if abs(margin) < NEAR:
        return
    (view,) = sync_views_of(board, [find_cause(board, HEALTHY.key)])
    if view.faulty_closed.good is not level.locks:
        yield f"the story locks: {view.faulty_closed.good}, the check: {level.locks}"


def _substitute(board: Board, check: Check) -> Iterator[str]:
    """What is proposed passes the check, or does as well as the original."""
    refs = (board.chains[0][0].ref, board.optocoupler.ref, board.output.resistor.ref)
    found = api.substitute(board, series_drawer("E12", "1206"), refs=refs).found
    if bool(found.original.failed) is check.passes:
        yield f"substitute says of the original: {[r.name for r in found.original.failed]}"
    for answer in found.answers:
        for proposal in answer.proposals[:1]:
            passes = api.check(proposal.board).passes
            words = f"{answer.kind} {[p.ref for p in answer.replaced]}"
            if passes is not proposal.verdict.passes:
                yield f"substitute says {proposal.verdict.passes} of {words}, its check {passes}"
            if check.passes and not passes and proposal.closeness is not Closeness.SAME:
                yield f"what is proposed for {words} fails"


def _retest(board: Board) -> Iterator[str]:
    """A board that reads exactly as calculated is a good one."""
    meter = usual_meter()
    dictionary = make_fault_dictionary(board, meter)
    step = max(1, len(dictionary.readings) // READINGS)
    readings = dictionary.readings[::step]
    shown = MeterModel(board, dictionary.circuit, meter).read(list(readings))
    measured = [
        Measured(reading=reading, value=float(values[0]))
        for reading, values in zip(readings, np.asarray(shown).T, strict=True)
        if np.isfinite(values[0])
    ]
    result = retest(dictionary, measured)
    for again in result.differs:
        yield f"retest takes a perfect reading for none: {again.measured.reading.words}"


def _map(board: Board, check: Check) -> Iterator[str]:
    level = check.levels[LEVELS.index("nominal")]
    found = loss_map(board, "mains", "temperature")
    if found.locks is not level.locks:
        yield f"the map locks: {found.locks}, the check: {level.locks}"
    expected = {rule.subject for rule in check.rules if rule.kind == "expectation"}
    if not set(found.unmet_expectations) <= expected:
        yield f"the map warns of {found.unmet_expectations}, the check of {expected}"


def _spice(board: Board, check: Check) -> Iterator[str]:
    level = check.levels[LEVELS.index("nominal")]
    lock = judge(Spice().solve(build_circuit(board)), board)
    if abs(float(lock.margin[0])) > NEAR and bool(lock.locks[0]) is not level.locks:
        yield f"ngspice locks: {bool(lock.locks[0])}, the check: {level.locks}"
