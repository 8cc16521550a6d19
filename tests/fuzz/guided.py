"""Fuzzing led by coverage: ``python -m tests.fuzz.guided READER COUNT``, with atheris.

Bytes are changed where that reaches new lines of the reader; what it begins with are good files.
A failure ends it with a traceback, and leaves the input as ``crash-...`` in the present folder.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

QUANTITIES = ("4k7", "120 kΩ", "10 nF", "230 V 50 Hz", "5 %", "1/4 W", "-40 °C", "1e400", "100.000")
READINGS = ("dc pin logic0 4.98 V", "ohm R11 lifted OL", "low time 190..260 us", "ac feed < 5")
WORDS = ('"', "=", "[", "]", "{", "}", "[[", ".", ",", "#", "'''", "1e400", "nan", "inf", "true",
         "value", "ref", "resistors", "chain", "mains", "k", "M", "Ω", "%", " V")  # fmt: skip
"""Put in here and there, beside single bytes."""
Reader = tuple[Callable[[bytes], Any], tuple[str, ...]]


def readers() -> dict[str, Reader]:
    """Each reader with what it begins with, watched by atheris from their import on."""
    import atheris

    with atheris.instrument_imports(include=["zcd.board", "zcd.diagnosis", "tomllib"]):
        from tests.board.boards import FULL, SMALLEST
        from tests.fuzz import targets
        from tests.fuzz.commands import SCOPE
        from tests.fuzz.good import CLOSED, DRAWER, JOB
        from zcd.board.drawer_starter import STARTER
        from zcd.board.model import Topology
        from zcd.board.starter import starter_text

    def quantity(data: bytes) -> Any:
        kind = targets.KINDS[(data[0] if data else 0) % len(targets.KINDS)]
        return targets.read_quantity((data[1:].decode("utf-8", "replace"), kind))

    def reading(data: bytes) -> Any:
        return targets.read_reading((data[1:].decode("utf-8", "replace"), data[:1] < b"\x80"))

    return {
        "quantities": (quantity, tuple(f"{kind}{text}" for kind in "abc" for text in QUANTITIES)),
        "readings": (reading, tuple(f"a{text}" for text in READINGS)),
        "boards": (targets.read_board, (SMALLEST, FULL, *map(starter_text, Topology))),
        "jobs": (targets.read_job, (JOB, CLOSED)),
        "drawers": (targets.read_drawer, (DRAWER, STARTER)),
        "captures": (targets.read_capture, (SCOPE,)),
    }


def main(reader: str, count: int) -> None:
    """Fuzz one reader; prints how many inputs it read or refused."""
    import atheris

    run, seeds = readers()[reader]
    from tests.fuzz.judge import outcome

    told: Counter[str] = Counter()

    def tried(data: bytes) -> None:
        told[outcome(run, data)] += 1
        if told.total() == count:
            counts = f"{count:>9}{told['read']:>9}{told['refused']:>9}"
            print(f"{reader:<22}{counts}{time.process_time():>10.1f}", flush=True)

    with tempfile.TemporaryDirectory() as folder:
        corpus = Path(folder) / "corpus"
        corpus.mkdir()
        for number, text in enumerate(seeds):
            (corpus / str(number)).write_bytes(text.encode())
        words = Path(folder) / "words"
        escaped = ("".join(f"\\x{byte:02x}" for byte in word.encode()) for word in WORDS)
        words.write_text("".join(f'"{word}"\n' for word in escaped), encoding="ascii")
        options = [f"-atheris_runs={count}", f"-dict={words}", "-timeout=30", "-max_len=20000"]
        atheris.Setup([sys.argv[0], *options, str(corpus)], tried)
        atheris.Fuzz()


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
