"""What the project starts or loads from outside, the README's command for the tests installs."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence

import pytest

from tests.started import ROOT, SELF, Start, starts, starts_of_the_project

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
THERE = {SELF, *PROJECT["scripts"]}
"""Needs no package of the system: it runs the code, or pip installs it with the project."""
PROGRAM_PACKAGES = {
    "ngspice": "ngspice",
    "chromium-headless-shell": "chromium-headless-shell",
    "chromedriver": "chromium-driver",
    "bash": "bash",
    "zsh": "zsh",
    "fish": "fish",
}
LIBRARY_PACKAGES = {"ngspice": "libngspice0"}
"""Where Debian 12 has it, by `dpkg -S`."""
IMPORTS = """\
import asyncio, ctypes, ctypes.util, os, shutil, subprocess, sys
import zcd.spice as spice
from selenium.webdriver import Chrome
from subprocess import run as go
"""


def command() -> str:
    """The README's second command."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    return readme.split("```sh\n")[2].partition("\n```")[0]


def missing(line: str, found: Sequence[Start]) -> list[Start]:
    """What a command neither looks for nor installs."""
    look, _, install = line.partition("||")
    looked_for = re.findall(r"\bwhich ([^&|;>]+)", look)[0].split()
    libraries = re.findall(r"find_library\('([^']+)'\)", look)
    packages = " ".join(re.findall(r"apt-get install ([^&|;]+)", install)).split()
    programs = {each for each in looked_for if PROGRAM_PACKAGES.get(each) in packages}
    loaded = {each for each in libraries if LIBRARY_PACKAGES.get(each) in packages}
    return [
        each for each in found if not each.names & (THERE | (loaded if each.library else programs))
    ]


def test_the_command_looks_for_each_and_installs_it() -> None:
    """If this fails: name it in the command's first part, and its package in the second.

    No names: the code does not show what is started; write it where it is started, or in a
    constant of the same module.
    """
    assert missing(command(), starts_of_the_project()) == []


@pytest.mark.parametrize(
    ("name", "places"),
    [
        ("ngspice ", {"tests/spice/test_deck.py", "zcd/spice/simulator.py"}),
        ("libngspice0", {"zcd/spice/library.py"}),
        ("chromium-headless-shell ", {"tests/web/conftest.py"}),
        ("zsh ", {"tests/cli/test_completion.py"}),
        ("fish ", {"tests/cli/test_completion.py"}),
        ("chromedriver", {"tests/web/conftest.py"}),
        ("chromium-driver", {"tests/web/conftest.py"}),
        ("find_library('ngspice')", {"zcd/spice/library.py"}),
    ],
)
def test_a_name_left_out_is_missed(name: str, places: set[str]) -> None:
    """What is known to be started is seen, and the command without it is refused."""
    left_out = missing(command().replace(name, ""), starts_of_the_project())
    assert {each.place.partition(":")[0] for each in left_out} == places


def test_the_command_looks_for_what_makes_environments() -> None:
    """Debian has both in a package of their own."""
    look, _, install = command().partition("||")
    assert "import ensurepip, venv" in look
    assert "python3-venv" in install


@pytest.mark.parametrize(
    ("code", "names"),
    [
        ("subprocess.run(['one', '-x'])", [{"one"}]),
        ("subprocess.Popen(args=('/usr/bin/one',))", [{"one"}]),
        ("shutil.which('one') or shutil.which('two')", [{"one", "two"}] * 2),
        ("a = ['one'] if os.name else ['two']\nsubprocess.run([*a, '-x'])", [{"one"}, {"two"}]),
        ("def f():\n    a = 'one'\n    return [a]\na = 'two'\nsubprocess.run(f())", [{"one"}]),
        ("def f(self):\n    self.a = 'one'\n    os.execv(self.a, [])", [{"one"}]),
        ("ctypes.CDLL(os.environ.get('A') or ctypes.util.find_library('one'))", [{"one"}] * 2),
        ("ctypes.CDLL('libone.so.0')", [{"one"}]),
        ("ctypes.CDLL(None)", [{SELF}]),
        ("subprocess.run([sys.executable, '-c', 'import os; os.execvp(\"one\", [])'])",
         [{SELF}, {"one"}]),
        ("go(['one'])", [{"one"}]),
        ("spice.subprocess.run(['one'])", [{"one"}]),
    ],
)  # fmt: skip
def test_what_a_source_starts(code: str, names: list[set[str]]) -> None:
    result = [set(each.names) for each in starts("a.py", IMPORTS + code)]
    assert sorted(map(sorted, result)) == sorted(map(sorted, names))


@pytest.mark.parametrize(
    "code",
    [
        "subprocess.run(words)",
        "subprocess.run(sys.argv[1:])",
        "words = [*words, 'one']\nsubprocess.run(words)",
        "def f(words):\n    subprocess.run(words)",
        "for words in (['one'], ['two']):\n    subprocess.run(words)",
        "subprocess.run('one | two', shell=True)",
        "subprocess.run(['one'], executable=name)",
        "subprocess.run(**options)",
        "subprocess.run([f'{name}'])",
        "subprocess.run(os.environ.get('A'))",
        "subprocess.getoutput('one')",
        "os.system('one')",
        "asyncio.create_subprocess_shell('one')",
        "run = subprocess.run",
        "getattr(subprocess, 'run')(['one'])",
        "ctypes.CDLL(path)",
        "ctypes.windll.one",
        "Chrome()",
        "f'import subprocess; subprocess.run({words})'",
        "!one",
    ],
)
def test_what_cannot_be_read_is_missed(code: str) -> None:
    result = starts("a.py", IMPORTS + code)
    assert missing(command(), result) == [Start(result[0].place, result[0].library, frozenset())]
