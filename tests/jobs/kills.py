"""Kills a writer of job files at random moments, again and again, and looks at what is left.

``python -m tests.jobs.kills FOLDER COUNT SEED`` tells what it saw as a JSON object. A child
saves one answer after the other and says so after each; it is killed without a word of warning.
What it had said must be in the file, and no more than the one answer that was under way.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
from dataclasses import asdict, dataclass
from itertools import cycle, islice
from pathlib import Path

from tests.diagnosis.boards import TEXTS
from tests.jobs.test_job_file import LINES
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit
from zcd.diagnosis.job import load_job
from zcd.diagnosis.reading_syntax import parse_reading
from zcd.diagnosis.readings import Measured, Reading
from zcd.files import LEFT_S, UNDER_WAY, write_new
from zcd.jobs.job_file import JobFileWriter, free_job_path

MOST_ANSWERS = 40
LONGEST_S = 0.15
Entry = Measured | Reading


@dataclass(slots=True)
class Seen:
    """What was seen of all kills.

    Parameters
    ----------
    kills, saved : int
        How many; how many answers were said to be saved.
    under_way : int
        Answers that lay half written beside the files in the end.
    kept_unsaid : int
        Kills after an answer was in the file and before that was said.
    lost, broken : int
        Answers said to be saved that are not there; files that cannot be read.
    left : int
        Things in the folder, after one more save, that are no board and no job.
    """

    kills: int = 0
    saved: int = 0
    under_way: int = 0
    kept_unsaid: int = 0
    lost: int = 0
    broken: int = 0
    left: int = 0


def main(folder: Path, count: int, seed: int) -> Seen:
    """Kill so many writers."""
    board = folder / "dryer.toml"
    write_new(board, TEXTS["switched"])
    circuit = build_circuit(load_job(board).board)
    JobFileWriter(free_job_path(board), circuit, board)  # the children have what writing loads
    entries = [parse_reading(line, circuit) for line in LINES]
    seen, moments, path, log = Seen(), random.Random(seed), free_job_path(board), list[Entry]()
    for _ in range(count):
        if len(log) > MOST_ANSWERS:
            path, log = free_job_path(board), []
        before = len(log)
        said = before + _killed(path, circuit, log, entries, moments.uniform(0.0, LONGEST_S))
        seen.kills, seen.saved = seen.kills + 1, seen.saved + said - before
        log = _looked_at(path, said, list(islice(cycle(entries), said + 1)), seen)
    seen.left = _left(folder, path, circuit, log, entries)
    return seen


def _killed(
    path: Path, circuit: Circuit, log: list[Entry], entries: list[Entry], after_s: float
) -> int:
    """How many answers a child said it had saved when it was killed."""
    hear, say = os.pipe()
    child = os.fork()
    if child == 0:
        board = path.with_name("dryer.toml")
        new = not path.exists()
        writer = JobFileWriter(path, circuit, board if new else None, () if new else log)
        os.write(say, b"!")
        for each in islice(cycle(entries), len(log), None):
            log = [*log, each]
            writer.write(log, ())
            os.write(say, b".")
    os.close(say)
    os.read(hear, 1)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    said = 0
    while more := os.read(hear, 1000):
        said += len(more)
    os.close(hear)
    return said


def _looked_at(path: Path, said: int, wanted: list[Entry], seen: Seen) -> list[Entry]:
    """The answers that are in a job file; what is wrong with them is counted."""
    result: list[Entry] = []
    if path.exists():
        try:
            result = list(load_job(path).log)
        except ValueError:
            seen.broken += 1
    right = result in (wanted[:said], wanted[: said + 1])
    seen.lost += 0 if right else max(said - len(result), 1)
    seen.kept_unsaid += len(result) > said
    seen.under_way = len(list(path.parent.glob(f"{UNDER_WAY}*")))
    return result


def _left(
    folder: Path, path: Path, circuit: Circuit, log: list[Entry], entries: list[Entry]
) -> int:
    """What is left over, some time later, after one more answer."""
    long_ago = time.time() - 2 * LEFT_S
    for half in folder.glob(f"{UNDER_WAY}*"):
        os.utime(half, (long_ago, long_ago))
    if path.exists():
        JobFileWriter(path, circuit, log=log).write([*log, entries[0]], ())
    else:
        JobFileWriter(path, circuit, folder / "dryer.toml").write(entries[:1], ())
    return sum(each.suffix != ".toml" for each in folder.iterdir())


if __name__ == "__main__":
    print(json.dumps(asdict(main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])))))
