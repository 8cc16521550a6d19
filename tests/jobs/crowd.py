"""Lets many processes go at one job file in the same moment, and tells what each of them said.

``python -m tests.jobs.crowd FOLDER`` reads the command lines as a JSON list from its input,
each a list of its arguments and what is typed at it, and answers with a list of exit code, output
and errors. The first is run in a copy of the folder, which loads what it needs; then each runs in a
process of its own, which begins when all are there.
"""

from __future__ import annotations

import io
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple, NoReturn

from zcd.cli import main

Command = tuple[Sequence[str], str]


class Said(NamedTuple):
    """What a command left behind."""

    code: int
    out: str
    err: str


def crowd(folder: Path, commands: Sequence[Command]) -> list[Said]:
    """Run commands at once in a folder."""
    told = subprocess.run(
        [sys.executable, "-m", "tests.jobs.crowd", str(folder)],
        input=json.dumps(commands),
        check=True,
        capture_output=True,
        text=True,
    )
    return [Said(*each) for each in json.loads(told.stdout)]


def _run(folder: Path, commands: Sequence[Command]) -> list[Said]:
    waiting, start = os.pipe()
    with tempfile.TemporaryDirectory() as place:
        os.chdir(shutil.copytree(folder, Path(place, "copy")))
        _typed_at(*commands[0], Path(place), "first")
        os.chdir(folder)
        children = []
        for number, command in enumerate(commands):
            child = os.fork()
            if child == 0:
                os.close(start)
                _command(command, Path(place), number, waiting)
            children.append(child)
        os.close(start)  # which all have been waiting for
        codes = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]
        return [
            Said(code, *(Path(place, f"{number}.{name}").read_text() for name in ("out", "err")))
            for number, code in enumerate(codes)
        ]


def _command(command: Command, place: Path, number: int, waiting: int) -> NoReturn:
    """The life of a child."""
    code = 70
    try:
        os.read(waiting, 1)
        code = _typed_at(*command, place, str(number))
    finally:
        os._exit(code)


def _typed_at(arguments: Sequence[str], typed: str, place: Path, name: str) -> int:
    """Run a command at which something is typed; what it says goes into files."""
    with (place / f"{name}.out").open("w") as out, (place / f"{name}.err").open("w") as err:
        before = sys.stdin, sys.stdout, sys.stderr
        sys.stdin, sys.stdout, sys.stderr = io.StringIO(typed), out, err
        try:
            return main(arguments)
        finally:
            sys.stdin, sys.stdout, sys.stderr = before


if __name__ == "__main__":
    print(json.dumps(_run(Path(sys.argv[1]), json.load(sys.stdin))))
