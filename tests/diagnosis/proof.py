"""Cases from transistor-level circuits, diagnosed step by step: how often the tool is right.

Truth is ngspice's, with a transistor as the output stage, not the engine's: a board drawn at
random, one fault put in, each reading taken when it is asked for, with the meter hanging in the
circuit and erring. ``python -m tests.diagnosis.proof 1000`` prints the figures.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np

from tests.diagnosis.boards import TEXTS, board
from tests.diagnosis.truth import Case, alike, noisy, random_circuits
from zcd.diagnosis.atlas import Atlas, make_atlas
from zcd.diagnosis.bench import Bench
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.rank import Diagnosis, Ranked, diagnose, one_repair
from zcd.diagnosis.readings import Measured, Reading, Side, side_of
from zcd.errors import SimulationError
from zcd.spice.solve import Level, Spice

BOARDS = tuple(TEXTS)
EDGES = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 1.0)
"""Ends of the classes of a reliability diagram."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """How one case went.

    Parameters
    ----------
    board, truth, first : str
    place : int
        Of the truth in the ranking, 1 the first; a pair that has it counts as it, and so do
        faults that are named together with it, or ask for the same repair.
    told_apart : bool
        False: what was first instead shows the same, within one standard error, at every
        reading taken.
    probability : float
        Of the first.
    taken, fixed : int
        Readings until it stopped, and down the bench card until it would have; 0: not tried.
    """

    board: str
    truth: str
    first: str
    place: int
    told_apart: bool
    probability: float
    taken: int
    fixed: int = 0

    @property
    def right(self) -> bool:
        """Whether the first place is the truth."""
        return self.place == 1


@cache
def atlas_of(name: str) -> Atlas:
    return make_atlas(board(name), usual_meter(), stored=True)


class Patient:
    """One faulty board, measured by ngspice when asked."""

    def __init__(self, name: str, rng: np.random.Generator) -> None:
        self.atlas, self.rng = atlas_of(name), rng
        real = [k for k, f in enumerate(self.atlas.faults) if not f.states and not f.members]
        self.fault = int(rng.choice(real))
        self.healthy = random_circuits(self.atlas.board, rng, 1)
        edit = self.atlas.faults[self.fault].edit
        self.circuit = edit(self.healthy, rng.random(1))
        way = Spice(level=Level.DEVICE, family=self.atlas.board.optocoupler.family)
        self.bench = Bench(
            self.atlas.board, self.circuit, self.atlas.meter, way.solve, way.solve_dead
        )
        self.exact: dict[Reading, float] = {}
        self.shown: dict[Reading, float] = {}

    def take(self, reading: Reading) -> Measured:
        """What the meter shows, the same if it is asked twice."""
        if reading not in self.shown:
            value = self.bench.take([reading])[:, 0]
            self.exact[reading] = float(value[0])
            self.shown[reading] = float(noisy(self.atlas, reading, value, self.rng)[0])
        return Measured(reading=reading, value=self.shown[reading])


def follow(patient: Patient, order: Sequence[Reading] | None = None) -> Diagnosis:
    """Take what is suggested, or go down a list, until nothing more is asked."""
    taken: list[Measured] = []
    while True:
        found = diagnose(patient.atlas, taken)
        if found.suggestion is None or (order is not None and len(taken) == len(order)):
            return found
        following = found.suggestion.reading if order is None else order[len(taken)]
        taken.append(patient.take(following))


def judge(name: str, patient: Patient, found: Diagnosis, fixed: int) -> Result:
    """Where the truth came."""
    truth = patient.atlas.faults[patient.fault].key
    keys = [r.key for r in found.ranked]
    holds = [
        n for n, r in enumerate(found.ranked, start=1)
        if r.key == truth or (r.fault is not None and truth in (*r.fault.members, *r.fault.states))
    ]  # fmt: skip
    place = min(holds)
    real = Ranked(fault=patient.atlas.faults[patient.fault], probability=1.0)
    together = truth in [r.key for r in found.alike] or one_repair(real, found.ranked[0])
    same = together
    if place > 1 and not together and found.ranked[0].fault is not None:
        readings = tuple(patient.exact)
        case = Case(
            board=patient.atlas.board, fault=patient.fault, healthy=patient.healthy,
            readings=readings, exact=np.array([patient.exact[r] for r in readings]),
            shown=np.array([patient.shown[r] for r in readings]),
        )  # fmt: skip
        first = patient.atlas.faults.index(found.ranked[0].fault)
        same = alike(patient.atlas, case, first)
    return Result(
        board=name,
        truth=truth,
        first=keys[0],
        place=1 if together else place,
        told_apart=place == 1 or not same,
        probability=sum(r.probability for r in found.alike),
        taken=len(found.measured),
        fixed=fixed,
    )


def run(cases: int, seed: int, boards: Sequence[str] = BOARDS, every: int = 4) -> Iterator[Result]:
    """Cases in turn over the boards; the fixed order is tried on every so many."""
    rng = np.random.default_rng(seed)
    for number in range(cases):
        name = boards[number % len(boards)]
        patient = Patient(name, rng)
        try:
            found = follow(patient)
            fixed = 0
            if every and number % every == 0:
                order = [
                    r for r in patient.atlas.readings
                    if side_of(patient.atlas.circuit, r) is not Side.LIFTED
                ]  # fmt: skip
                fixed = len(follow(patient, order).measured)
        except SimulationError as error:
            print(f"left out: {name}, {patient.atlas.faults[patient.fault].key}: {error}")
            continue
        yield judge(name, patient, found, fixed)


def figures(results: Sequence[Result]) -> str:
    """The figures that are printed."""
    apart = [r for r in results if r.told_apart]
    both = [r for r in results if r.fixed]
    lines = [
        f"cases {len(results)}, of which told apart {len(apart)}",
        f"first place {np.mean([r.right for r in apart]):.1%}",
        f"first three {np.mean([r.place <= 3 for r in apart]):.1%}",
        f"readings {np.mean([r.taken for r in results]):.2f}",
    ]
    if both:
        ratio = sum(r.taken for r in both) / sum(r.fixed for r in both)
        lines.append(f"against the fixed order on {len(both)}: {ratio:.2f} of its readings")
    for low, high in pairwise(EDGES):
        here = [r for r in results if low < r.probability <= high]
        if here:
            said = np.mean([r.probability for r in here])
            true = np.mean([r.right or not r.told_apart for r in here])
            lines.append(f"said {said:.2f}: true {true:.2f} of {len(here)}")
    return "\n".join(lines)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("cases", type=int)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    done = []
    for result in run(options.cases, options.seed):
        done.append(result)
        if not result.right:
            print(result, flush=True)
    print(figures(done))
