"""Real processes, in surroundings that nobody plans for, ended at any moment.

None of them prints a traceback, and each ends with one of the codes that the help tells.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.fuzz.commands import bench
from tests.sampled import some
from zcd.files import UNDER_WAY

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = (sys.executable, "-m", "zcd")
HEEDED = """\
import os, signal
from zcd.__main__ import run
signal.signal(signal.SIGINT, signal.default_int_handler)
os.write(1, b"!")
raise SystemExit(run())
"""
"""The program as from a terminal, though whoever runs the tests may be deaf to Ctrl-C; before it
says so it is Python that begins, and nothing of ours could end it well."""
MOVED_OUT = """\
import os, sys
os.chdir(sys.argv[1])
os.rmdir(sys.argv[1])
os.environ["PWD"] = sys.argv[1]
os.execv(sys.executable, [sys.executable, *sys.argv[2:]])
"""
"""What a shell does whose folder somebody removes."""
BARE = {"PATH": os.environ["PATH"], "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
PLAIN = {**BARE, "HOME": "/nonexistent"}
CODES = (0, 1, 2, 3)

SURROUNDINGS: dict[str, dict[str, str]] = {
    "no home": BARE,
    "a home that is a file": {**BARE, "HOME": "/dev/null", "XDG_CACHE_HOME": "/dev/null"},
    "a plain terminal": {**PLAIN, "TERM": "dumb", "COLUMNS": "20"},
    "no columns": {**PLAIN, "COLUMNS": "0"},
    "ASCII": {**PLAIN, "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
    "another program's pictures": {**PLAIN, "MPLBACKEND": "nonsense"},
    "no place for temporary files": {**PLAIN, "TMPDIR": "/nonexistent"},
}
LINES = ("check board.toml", "diagnose job.toml", "story board.toml --cause@R1 open", "jobs .",
         "windings a-b=100 b-c=200 a-c=300", "substitute board.toml",
         "map board.toml --plot {}.png")  # fmt: skip
LONG = (*LINES, "demo {}", "check board.toml --report {}.html --plots {}", "new {}",
        "report job.toml --to {}.html", "readings full.toml", "spice board.toml",
        "bench --no-browser --port 0", "diagnose board.toml --ask --job {}.toml")  # fmt: skip
"""What may be interrupted; {} stands for a new name."""


def words_of(line: str) -> list[str]:
    """Words; what stands behind @ is one."""
    head, *rest = line.split("@")
    return [*head.split(), *rest]


def require_quiet(done: subprocess.CompletedProcess[bytes], codes: tuple[int, ...]) -> None:
    """No traceback, and a code that the help tells."""
    told = done.stdout + done.stderr
    assert b"Traceback" not in told, told.decode("utf-8", "replace")
    assert done.returncode in codes, told.decode("utf-8", "replace")


@pytest.mark.slow
@pytest.mark.parametrize("line", LINES)
@pytest.mark.parametrize("name", SURROUNDINGS)
def test_odd_surroundings(name: str, line: str, tmp_path: Path) -> None:
    done = subprocess.run(
        [*PROGRAM, *words_of(line.replace("{}", str(tmp_path / "made")))],
        cwd=bench(),
        env=SURROUNDINGS[name],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        check=False,
    )
    require_quiet(done, CODES)


@pytest.mark.parametrize("line", ["new x.toml", "check board.toml"])
def test_the_folder_is_gone(line: str, tmp_path: Path) -> None:
    """Removed by somebody else while a shell stood in it."""
    done = subprocess.run(
        [sys.executable, "-c", MOVED_OUT, tmp_path, *PROGRAM[1:], *words_of(line)],
        env=PLAIN,
        capture_output=True,
        check=False,
    )
    require_quiet(done, (2,))


def test_nothing_is_loaded_before_ctrl_c_is_heeded() -> None:
    """What is loaded before `run` is begun takes time in which Ctrl-C leaves a traceback."""
    line = "import signal, sys; was = {*sys.modules}; import zcd.__main__"
    line += "; print(*{*sys.modules} - was)"
    done = subprocess.run(
        [sys.executable, "-c", line], env=PLAIN, capture_output=True, check=True, text=True
    )
    assert {*done.stdout.split()} == {"__future__", "zcd", "zcd.__main__"}


@pytest.mark.parametrize("count", [2, pytest.param(60, marks=pytest.mark.slow)])
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ended_at_any_moment(count: int, number: signal.Signals, tmp_path: Path) -> None:
    """Ctrl-C ends with 130, or as a shell calls it, while it loads or leaves; nothing is broken."""
    moments = random.Random(count)
    for turn in range(count):
        line = moments.choice(LONG).replace("{}", str(tmp_path / f"made-{turn}"))
        process = subprocess.Popen(
            [sys.executable, "-c", HEEDED, *words_of(line)],
            cwd=bench(),
            env=PLAIN,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            start_new_session=True,
        )
        assert process.stdout is not None
        assert process.stdout.read(1) == b"!"
        time.sleep(moments.uniform(0.0, 3.0))
        process.send_signal(number)
        out, err = process.communicate(timeout=120)
        done = subprocess.CompletedProcess(process.args, process.returncode, out, err)
        require_quiet(done, (*CODES, 130, -number))
    for made in tmp_path.rglob("*"):
        assert made.name.startswith(UNDER_WAY) or made.is_dir() or made.stat().st_size


def _with_room(megabytes: int) -> Callable[[], None]:
    def limit() -> None:
        import resource  # not on Windows, where this test has nothing to ask

        resource.setrlimit(resource.RLIMIT_AS, (megabytes * 1_000_000,) * 2)

    return limit


@pytest.mark.skipif(sys.platform == "win32", reason="Windows limits no address space")
@pytest.mark.parametrize("megabytes", [100, 200, 300, 350])
def test_too_little_memory_is_said_at_once(megabytes: int) -> None:
    for line in ("check board.toml", "diagnose job.toml", "--version", "bench --no-browser"):
        done = subprocess.run(
            [*PROGRAM, *line.split()],
            cwd=bench(),
            env=BARE,
            capture_output=True,
            text=True,
            check=False,
            timeout=20,
            preexec_fn=_with_room(megabytes),
        )
        assert done.returncode == 2
        assert done.stdout == ""
        assert done.stderr == (
            f"zcd: found {megabytes} MB of address space; allowed: 600 MB or more (see ulimit -v)\n"
        )


@pytest.mark.parametrize(
    "line", some(["check board.toml", "diagnose job.toml"], "diagnose job.toml")
)
def test_the_least_memory_suffices(line: str, tmp_path: Path) -> None:
    """Also where predictions are made anew, and however many cores there are."""
    several = {key: text for key, text in BARE.items() if key != "OPENBLAS_NUM_THREADS"}
    done = subprocess.run(
        [*PROGRAM, *line.split()],
        cwd=bench(),
        env={**several, "XDG_CACHE_HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=_with_room(600),
    )
    assert done.returncode in (0, 1), done.stderr
    assert done.stderr == ""
    assert done.stdout


@pytest.mark.parametrize(
    ("line", "code", "ending"),
    [
        *(
            pytest.param("check no.toml", (2,), ending, marks=() if often else pytest.mark.slow)
            for ending, often in (
                ("2>&-", False),
                ("2>/dev/full", True),
                (">&-", False),
                (">&- 2>&-", True),
            )
        ),
        pytest.param("check board.toml", (0, 1), "2>/dev/full", marks=pytest.mark.slow),
        ("check board.toml", (0, 1), ">&- 2>&-"),
    ],
)
def test_the_exit_code_is_right_where_nothing_can_be_said(
    line: str, code: tuple[int, ...], ending: str
) -> None:
    command = " ".join([*PROGRAM, line, ending])
    done = subprocess.run(["bash", "-c", command], cwd=bench(), env=PLAIN, check=False, timeout=60)
    assert done.returncode in code
