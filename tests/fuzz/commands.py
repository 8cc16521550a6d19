"""Command lines: every command with every option, out of the group of commands itself."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from unittest.mock import patch

import click
from hypothesis import strategies as st

from tests.board.boards import FULL, SMALLEST
from tests.fuzz.good import CLOSED, DRAWER, JOB
from tests.fuzz.hostile import TEXTS
from tests.fuzz.judge import LONGEST_S
from zcd.cli import commands, main

NAMES = tuple(sorted(commands.commands))
CODES = frozenset({0, 1, 2, 3})
LONGEST_LINE = 2_000
NOT_A_NUMBER = re.compile(r"(?<![\w-])nan(?![\w-])", re.IGNORECASE)

PLACES = (
    "board.toml", "full.toml", "job.toml", "closed.toml", "drawer.toml", "scope.csv", "empty.toml",
    "missing.toml", "folder", "loop", "pipe", "no/such/board.toml", "a\x00b", "x" * 300, "-", "",
    ".", "/", "/dev/null", "bytes.toml", "\udcff.toml", "a\nb.toml", "new.toml", "new.html",
    "new.png", "folder/new.pdf", "secret.toml",
)  # fmt: skip
WORDS = (
    *TEXTS, "dc pin logic0 4.98 V", "ohm R1 OL", "dc pin", "R1 open", "R1 opne", "r1 short",
    "mains", "ctr", "chain", "E24", "1206", "drive", "OC1", "D1", "pull-up", "tacho lost",
    "black-white=164", "white-red=287", "black-red=449", "black=1", "1=run", "=", "-=", "a-b",
)  # fmt: skip


SCOPE = "".join(f"{n * 2e-4:.4f},{0.1 if n % 100 < 45 else 4.9}\n" for n in range(1_000))
"""Ten periods of a pin."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ran:
    """What a command left behind."""

    code: int
    out: str
    err: str


@cache
def bench() -> Path:
    """A folder with files of each kind, good and bad, kept for this process."""
    kept = tempfile.TemporaryDirectory(prefix="zcd-fuzz-")
    _KEPT.append(kept)
    path = Path(kept.name)
    texts = {"board.toml": SMALLEST, "full.toml": FULL, "job.toml": JOB, "closed.toml": CLOSED,
             "drawer.toml": DRAWER, "scope.csv": SCOPE, "empty.toml": ""}  # fmt: skip
    for name, text in texts.items():
        (path / name).write_text(text, encoding="utf-8")
    (path / "folder").mkdir()
    (path / "loop").symlink_to("loop")
    (path / "bytes.toml").write_bytes(b"\xff\xfe\x00mains")
    os.mkfifo(path / "pipe")
    return path


_KEPT: list[tempfile.TemporaryDirectory[str]] = []


def _values(option: click.Parameter) -> st.SearchStrategy[str]:
    """What may stand for an option, right or wrong."""
    choices = getattr(option.type, "choices", ())
    known = [str(choice) for choice in choices]
    return st.one_of(
        *([st.sampled_from(known)] if known else []),
        st.sampled_from(PLACES),
        st.sampled_from(WORDS),
        st.text(max_size=8),
    )


@st.composite
def command_lines(draw: st.DrawFn) -> list[str]:
    """A command with some of its options and arguments."""
    name = draw(st.sampled_from(NAMES))
    words = [name]
    for option in commands.commands[name].params:
        if isinstance(option, click.Argument):
            counts = (0, 1, 2, 3, 4) if option.nargs < 0 else (1, 1, 1, 0, 2)
            count = draw(st.sampled_from(counts))
            words += [draw(_values(option)) for _ in range(count)]
        elif draw(st.integers(0, 3)) == 0:
            words.append(draw(st.sampled_from(option.opts + option.secondary_opts)))
            if isinstance(option, click.Option) and not option.is_flag:
                words.append(draw(_values(option)))
    if draw(st.integers(0, 9)) == 0:
        words.append(draw(st.sampled_from(("--help", "--nonsense", "--", "-x", "--json=1"))))
    return words


@contextlib.contextmanager
def _quiet(typed: str) -> Iterator[tuple[io.StringIO, io.StringIO]]:
    """Nothing is printed, served or shown in a browser."""
    out, err = io.StringIO(), io.StringIO()
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        patch("sys.stdin", io.StringIO(typed)),
        patch("zcd.web.server.serve"),
        contextlib.chdir(bench()),
    ):
        yield out, err


def call(words: list[str], typed: str = "") -> Ran:
    """Run a command in this process, with what a person types."""
    with _quiet(typed) as (out, err):
        code = main(words)
    return Ran(code=code, out=out.getvalue(), err=err.getvalue())


def run_command(words: list[str]) -> Ran:
    """Run a command; what it says and returns must be sound, and a refusal quick."""
    began = time.process_time()
    ran = call(words)
    assert ran.code != 2 or time.process_time() - began < LONGEST_S, "a slow refusal"
    require_sound(ran, as_json="--json" in words)
    return ran


def require_sound(ran: Ran, *, as_json: bool) -> None:
    """Refuse a traceback, an unknown exit code, silence about a mistake, NaN, half an object."""
    told = ran.err + ran.out
    assert ran.code in CODES, ran
    assert "Traceback" not in told
    odd = {c for c in told if not (c.isprintable() or c == "\n")}
    assert not odd, f"would change the terminal: {odd}"
    assert ran.code != 2 or ran.err.strip(), "says nothing"
    lines = [line for line in ran.err.splitlines() if not line.startswith("Error: ")]
    assert ran.code < 2 or max(map(len, lines), default=0) <= LONGEST_LINE, ran.err[:300]
    assert not NOT_A_NUMBER.search(ran.out), ran.out[:3000]
    told.encode("utf-8", errors="strict")
    if as_json and ran.out.lstrip().startswith("{"):
        json.loads(ran.out)
