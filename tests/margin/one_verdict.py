"""What every face of the tool says of one board, held against its check.

`python -m tests.margin.one_verdict 1 300` does it for the designs of 300 seeds, and prints what it
compared.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from resource import RUSAGE_CHILDREN, getrusage
from subprocess import run
from tempfile import TemporaryDirectory
from time import process_time
from typing import Any
from unittest.mock import patch

import numpy as np

from tests.margin.drawn_designs import drawn_design
from zcd import api, loads
from zcd.board.drawer import series_drawer
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.fault_dictionary import make_fault_dictionary
from zcd.diagnosis.faults import HEALTHY
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.readings import Measured
from zcd.diagnosis.retest import retest
from zcd.margin.check import LEVELS, Check
from zcd.margin.loss_map import loss_map
from zcd.margin.rules import RARE_RATIO, worst_status
from zcd.margin.spread import AT_CORNER
from zcd.renderings import document_of
from zcd.report.of_check_answer import finding_lines, headline_text
from zcd.report.terminal import document_text
from zcd.serialize import to_dict
from zcd.simulation.causes import find_cause
from zcd.simulation.sync_view import sync_views_of
from zcd.spice.solve import Spice
from zcd.substitutes.proposals import Closeness
from zcd.sync.lock import judge
from zcd.web import tasks

NEAR = 0.02
"""A margin smaller than this may fall either way between solvers and grids."""
READINGS = 12
FIRST_WORDS = {
    "pass": ("PASSES. ", "PASSES, if "),
    "warning": ("PASSES, ", "PASSES with typical parts", "PASSES on a clean mains", "DEPENDS on "),
    "fail": ("FAILS: ", "FAILS with a weak "),
}


def disagreements(
    board: Board, *, retested: bool = True, replaced: bool = True, seldom: bool = False
) -> tuple[str, list[str]]:
    """The status of a board, and a sentence for each face that says something else than the check.

    Parameters
    ----------
    board : Board
    retested, replaced : bool
        Also ask retest and substitute, which take seconds.
    seldom : bool
        Also ask the circuit simulator, the map, and a population drawn once more.
    """
    check = api.check(board)
    found = [*_faces(board, check), *_shares(check), *_at_nominal(board, check)]
    if retested:
        found += _retest(board)
    if replaced:
        found += _substitute(board, check)
    if seldom:
        found += [*_spice(board, check), *_map(board, check), *_population(check)]
    return check.status, found


COMPARED = (
    "all: check, JSON, page, population, solve, story; retest 1 in 3; substitute 1 in 6; "
    "1 in 10 ngspice, map, commands as processes"
)


def design_disagreements(seed: int) -> tuple[str, list[str]]:
    """The same of a drawn design; the commands are asked as processes too, of one in ten."""
    design = drawn_design(seed)
    board = loads(design.text)
    status, found = disagreements(
        board, retested=seed % 3 == 0, replaced=seed % 6 == 0, seldom=design.seldom
    )
    return status, [*found, *(_processes(design.text, board) if design.seldom else ())]


def _faces(board: Board, check: Check) -> Iterator[str]:
    """JSON, terminal, page."""
    record: dict[str, Any] = to_dict(check)
    status = worst_status(check.every_rule)
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
    if not any(f"\n{first}" in f"\n{text}" for first in FIRST_WORDS[status]):
        yield f"the terminal does not say {status}: {headline_text(check)}"
    marks = {"warning": "warning: ", "fail": "FAIL: "}
    if status in marks and not "".join(lines[:1]).startswith(marks[status]):
        yield f"findings do not begin with {status}: {lines[:1]}"
    if status == "pass" and lines:
        yield f"a finding on a board that passes: {lines[:1]}"
    with patch("zcd.api.check", return_value=check):  # worked out once
        page = tasks.check(board)
    if (page["passes"], page["verdict"]) != (check.passes, headline_text(check)):
        yield f"the page says {page['verdict']}"
    if not set(lines) <= set(page["findings"]):
        yield "the page leaves findings out"


def _shares(check: Check) -> Iterator[str]:
    """The population, the worst corners and the verdict."""
    drawn = check.spread.population
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
    if check.passes and drawn.failing.ratio >= RARE_RATIO * max(2, len(least)):
        yield f"{drawn.failing.ratio:.2%} of boards fail, and the check passes"


def _population(check: Check) -> Iterator[str]:
    population, drawn = api.population(check.board), check.spread.population
    if population.failing != drawn.failing or population.doubtful_ratio != drawn.doubtful_ratio:
        yield "the population of the check is another one"


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
    places = (board.chains[0][0], board.optocoupler, board.output.resistor)
    refs = [part.ref for part in places if part is not None]
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


def _processes(text: str, board: Board) -> Iterator[str]:
    """The commands of the installed program, each started once."""
    check = api.check(board)
    nominal = check.levels[LEVELS.index("nominal")].locks
    with TemporaryDirectory() as folder:
        file = Path(folder, "board.toml")
        file.write_text(text, encoding="utf-8")

        def told(*words: str) -> tuple[int, str]:
            argv = [sys.executable, "-m", "zcd", words[0], str(file), *words[1:]]
            done = run(argv, capture_output=True, text=True, encoding="utf-8", check=False)
            if done.stderr or done.returncode > 1:
                raise AssertionError(f"zcd {words}: {done.returncode} {done.stderr}")
            return done.returncode, done.stdout

        status, out = told("check")
        first = headline_text(check).partition(":")[0].partition(",")[0].split(".")[0]
        if status != int(not check.passes) or first not in out:
            yield f"zcd check ends with {status}: {out[:80]}"
        if told("check", "--strict")[0] != int(check.status != "pass"):
            yield "zcd check --strict ends otherwise"
        record = json.loads(told("check", "--json")[1])
        if record["status"] != check.status:
            yield f"zcd check --json says {record['status']}"
        if json.loads(told("map", "--up", "temperature", "--json")[1])["locks"] is not nominal:
            yield "zcd map locks otherwise"
        if json.loads(told("spice", "--json")[1])["locks"]["ours"] is not nominal:
            yield "zcd spice locks otherwise"
        ref = check.board.chains[0][0].ref
        status, out = told("substitute", "--for", ref, "--json")
        if json.loads(out)["original"]["passes"] is not check.passes:
            yield "zcd substitute says otherwise of the original"


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


def main(first: int, count: int) -> None:
    """Print what every face says otherwise of so many designs, and what was compared."""
    statuses: Counter[str] = Counter()
    differing = 0
    for seed in range(first, first + count):
        start_s = _processor_s()
        try:
            status, found = design_disagreements(seed)
        except Exception as error:  # the next board is asked all the same
            status, found = "?", [f"{type(error).__name__}: {error}"]
        statuses[status] += 1
        differing += bool(found)
        print(f"{seed} {status} {_processor_s() - start_s:.1f} s {found}", flush=True)
    print(f"{count} boards {dict(statuses)}, {differing} of them with a difference")
    print(COMPARED)


def _processor_s() -> float:
    """Of this process and of those that it started."""
    return process_time() + sum(getrusage(RUSAGE_CHILDREN)[:2])


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
