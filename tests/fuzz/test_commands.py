"""What hostile command lines brought to light, and what they are answered with."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.fuzz.commands import bench, call, require_sound

LONG = "x" * 300

REFUSED: list[tuple[list[str], str]] = [
    # not a number
    (["story", "board.toml", "--all", "--seconds", "nan"], "not a number in the range 1 to 600"),
    (["story", "board.toml", "--cause", "R1 open", "--seconds", "inf"], "not in the range"),
    (["spice", "board.toml", "--severity", "nan"], "not a number in the range 0 to 1"),
    # names that no file can have
    (["new", "a\x00b"], "a?b: found a place that cannot be written (not a file name)"),
    (["capture", "a\x00b", "board.toml"], "a?b: found no such file"),
    (["jobs", "a\x00b"], "a?b: found no folder"),
    (["check", "board.toml", "--report", "a\x00b.html"], "(not a file name)"),
    (["check", "board.toml", "--report", f"{LONG}.html"], "(File name too long)"),
    (["diagnose", "board.toml", "--ask", "--job", "a\x00b"], "(not a file name)"),
    (["diagnose", "board.toml", "--ask", "--job", "no/job.toml"], "(No such file or directory)"),
    (["demo", LONG], "(File name too long)"),
    (["check", "a\nb.toml"], "a?b.toml: found no such file"),
    # no name at all, which is no reason to leave an option out
    (["report", ""], 'JOB: found ""'),
    (["check", "board.toml", "--report", ""], '--report: found ""; allowed: a file name'),
    (["check", "board.toml", "--plots", ""], '"": found a place that cannot be written'),
    (["map", "board.toml", "--plot", ""], 'found ""; allowed: a file name that ends in .png'),
    (["capture", "scope.csv", "board.toml", "--plot", ""], "ends in .png or .svg"),
    (["spice", "board.toml", "--netlist", ""], '"": found a place that cannot be written'),
    (["spice", "board.toml", "--plot", ""], "ends in .png or .svg"),
    (["story", "board.toml", "--cause", "R1 open", "--plots", ""], '"": found a place'),
    (["substitute", "board.toml", "--drawer", ""], "found a directory; allowed: a drawer file"),
    (["substitute", "board.toml", "--series", ""], '--series: found ""; allowed: one of E6'),
    (["substitute", "board.toml", "--style", ""], '--style: found ""; allowed: one of'),
    (["diagnose", "board.toml", "--capture", ""], "found a directory; allowed: an oscilloscope"),
    (["retest", "board.toml", "-r", "dc pin logic0 5 V", "--job", ""], "found a directory"),
    # what is no ordinary file is not waited for
    (["capture", "pipe", "board.toml"], "pipe: found no ordinary file"),
    (["capture", "/dev/zero", "board.toml"], "zero: found no ordinary file"),
    (["check", "loop"], "loop: found a link that leads nowhere"),
]


@pytest.mark.parametrize(
    ("words", "told"), REFUSED, ids=[" ".join(words)[:60] for words, _ in REFUSED]
)
def test_refused_with_a_reason(words: list[str], told: str) -> None:
    ran = call(words)
    assert ran.code == 2, ran
    assert told in ran.err
    require_sound(ran, as_json=False)


def test_a_near_miss_of_a_fault_is_not_told_all_faults() -> None:
    ran = call(["spice", "board.toml", "--fault", "R1 opne"])
    assert ran.code == 2
    assert ran.err == (
        'zcd: --fault: found "R1 opne"; allowed: a fault of this board (did you mean "R1 open"?)\n'
    )


def test_a_netlist_goes_to_the_terminal() -> None:
    ran = call(["spice", "board.toml", "--netlist", "-"])
    assert ran.code == 0
    assert ran.out.startswith("zcd sync circuit\n")
    assert ran.out.rstrip().endswith(".end")
    assert not (bench() / "-").exists()


def test_names_on_the_terminal_are_plain() -> None:
    """A lead's or a file's name cannot move the cursor or begin a line of its own."""
    for odd in ("\x1b[2J", "\n\n"):
        leads = [f"{odd}-b=100", "b-c=200", f"{odd}-c=300"]
        require_sound(call(["windings", *leads]), as_json=False)


@pytest.mark.parametrize("name", ["a\x1b[2J", "a\nzcd: all is well", "\U00018cd6"])
def test_a_file_that_was_written_is_named_plainly(name: str, tmp_path: Path) -> None:
    for words in (["new"], ["spice", "board.toml", "--netlist"], ["bench", "--jobs"]):
        require_sound(call([*words, str(tmp_path / name)]), as_json=False)
    (tmp_path / "board.toml").write_bytes((bench() / "board.toml").read_bytes())
    job = tmp_path / f"{name}-job.toml"
    job.write_text('board = "board.toml"', encoding="utf-8")
    ran = call(["close", str(job), "--found", "R1 open"])
    assert ran.code == 0
    require_sound(ran, as_json=False)


@pytest.mark.slow
def test_a_demo_names_its_folder_plainly(tmp_path: Path) -> None:
    ran = call(["demo", str(tmp_path / "a\x1b[2J\U0006aab6")])
    assert ran.code == 0
    require_sound(ran, as_json=False)


@pytest.mark.parametrize(
    "words", [["check", "board.toml", "\x1f"], ["check", "--\x1b[2J"], ["\x1b[2J"]]
)
def test_a_usage_is_told_plainly(words: list[str]) -> None:
    ran = call(words)
    assert ran.code == 2
    require_sound(ran, as_json=False)


def test_a_folder_of_hostile_names_is_listed(tmp_path: Path) -> None:
    (tmp_path / "a\x1b[31m\n.toml").write_text('board = "b\\u0000.toml"', encoding="utf-8")
    (tmp_path / "name.toml").write_text('name = "\\u001b[2J"', encoding="utf-8")
    (tmp_path / "job.toml").write_text('board = "name.toml"', encoding="utf-8")
    (tmp_path / "loop.toml").symlink_to("loop.toml")
    (tmp_path / "folder.toml").mkdir()
    os.mkfifo(tmp_path / "pipe.toml")
    ran = call(["jobs", str(tmp_path)])
    assert ran.code == 0
    require_sound(ran, as_json=False)
    require_sound(call(["jobs", str(tmp_path), "--json"]), as_json=True)
