"""README and guides: plain words, links that lead somewhere, examples that work."""

from __future__ import annotations

import re
import shlex
import shutil
import sys
import tomllib
from contextlib import suppress
from io import StringIO
from pathlib import Path

import click
import pytest

from tests.readme_picture import PICTURE, picture
from zcd.board.drawer import parse_drawer
from zcd.board.files import parse_board
from zcd.cli import commands, main
from zcd.cli.help import CAUTIONS, topics
from zcd.diagnosis.priors import MAINS_RESISTOR_SHARE, MISFIT_SHARE
from zcd.refdata import table

ROOT = Path(__file__).resolve().parents[1]
README = ROOT / "README.md"
GUIDES = sorted((ROOT / "zcd" / "docs").glob("*.md"))
DEMO = ROOT / "zcd" / "jobs" / "templates" / "demo"
MOST_LINES = 120
WIDTH = 80
BANNED = (
    "told", "tells", "asked yes", "beware", "kept:", "stands", "holds", "deaf", "dark",
    "as they come", "found none", "harsher", "believed", "left of its limit", "by turns",
    "worked out", "side by side", "hold for likely", "lies on the bench", "leave with a record",
    "goes before", "under each fault",
)  # fmt: skip
"""Metaphors and turns of phrase in whose place the trade has a word."""
REWRITTEN = (
    "the makers disagree", "left in the middle one", "drawn evenly over", "board in a hundred",
    "every other gate pulse is over", "none gives lock", "nothing more is asked", "as they come",
    "fits badly with the rest", "nobody looked", "has a film or is burnt", "no bend of the law",
    "a fault of ours", "forgets within", "four fifths as much", "turns it round", "goes on with it",
    "one place for a meter", "is kept once", "under the bonnet", "told of in one line",
    "what a simulator says", "a terminal a board file alone", "of the fan's leads before it goes",
    "remembered from a standard", "the speed loop makes up",
    "at least that of the sine", "limits for every day", "costs pads", "nobody has looked",
    "until it is as small as can be", "lead nowhere", "someone else was at them",
)  # fmt: skip
"""Phrases that were rewritten once, in all that the package says and in what is written of it."""
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
STATUS = re.compile(r"#\s*exit status (\d)")
ONLY_READ = (["bench"], ["practice", "--level"], ["practice", "--seed"])
"""It serves until it is ended; exercises, of which the one that is recorded is done here."""
by_name = pytest.mark.parametrize("path", [README, *GUIDES], ids=lambda path: path.stem)
by_guide = pytest.mark.parametrize("path", GUIDES, ids=lambda path: path.stem)


def blocks(path: Path, language: str) -> list[str]:
    """The blocks of one language."""
    text = path.read_text(encoding="utf-8")
    return [block for name, block in BLOCK.findall(text) if name == language]


def prose(path: Path) -> str:
    """All but blocks and code, on one line, in small letters."""
    text = re.sub(r"^```.*?^```$", "", path.read_text(encoding="utf-8"), flags=re.M | re.S)
    return " ".join(re.sub(r"`[^`]*`", "", text).lower().split())


@by_name
def test_no_phrase_that_reads_as_translated(path: Path) -> None:
    words = prose(path)
    assert [phrase for phrase in BANNED if re.search(rf"\b{re.escape(phrase)}", words)] == []


def test_no_phrase_that_was_rewritten_comes_back() -> None:
    suffixes = {".py", ".j2", ".md", ".toml"}
    paths = [p for p in (ROOT / "zcd").rglob("*") if p.suffix in suffixes]
    assert len(paths) > 300
    found = []
    for path in (*paths, README, ROOT / "DEVELOPERS.md"):
        # a text in pieces is one
        words = re.sub(
            r"[\s`*]+", " ", re.sub(r'"\s*\n\s*f?"', "", path.read_text("utf-8"))
        ).lower()
        found += [(path.name, phrase) for phrase in REWRITTEN if phrase in words]
    assert found == []


@by_guide
def test_lines_of_a_guide_fit_a_terminal(path: Path) -> None:
    lines = BLOCK.sub("", path.read_text(encoding="utf-8")).splitlines()
    assert [line for line in lines if len(line) > WIDTH and not line.startswith("|")] == []


@by_guide
def test_a_guide_begins_with_its_title(path: Path) -> None:
    first = path.read_text(encoding="utf-8").partition("\n")[0]
    assert re.fullmatch(r"# \S.{5,65}", first)


@by_name
def test_links_lead_to_a_file(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    links = re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", text)
    assert [link for link in links if not (path.parent / link).is_file()] == []


def test_the_readme_is_short_and_links_every_guide() -> None:
    text = README.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MOST_LINES
    links = re.findall(r"\]\((zcd/docs/[^)]+\.md)\)", text)
    assert sorted(links) == [str(path.relative_to(ROOT).as_posix()) for path in GUIDES]
    assert topics() == sorted([CAUTIONS, *(path.stem for path in GUIDES)])


def test_the_guide_to_json_lists_every_command_once() -> None:
    text = (ROOT / "zcd" / "docs" / "json.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `([\w-]+)` \| ", text, re.MULTILINE)
    assert sorted(rows) == sorted(set(commands.commands) - {"schema"})


def test_the_picture_is_what_the_code_draws() -> None:
    assert PICTURE.read_text(encoding="utf-8") == picture()
    (alt,) = re.findall(r"!\[([^]]+)\]\(zcd/docs/incubator\.svg\)", README.read_text("utf-8"))
    assert "open second LED of the optocoupler" in " ".join(alt.split())


@by_guide
def test_examples_in_toml_can_be_read(path: Path) -> None:
    """Boards and drawers by their own readers; jobs and settings are TOML."""
    for text in blocks(path, "toml"):
        keys = set(tomllib.loads(text))
        if "optocoupler" in keys:
            parse_board(text)
        elif "resistors" in keys:
            parse_drawer(text)
        else:
            assert keys & {"readings", "paper"}


def shell_lines(path: Path) -> list[tuple[list[str], int]]:
    """Words of every command, and the exit status that stands behind it."""
    joined = "".join(blocks(path, "sh")).replace("\\\n", " ")
    lines = [line for line in joined.splitlines() if line.strip()]
    status = [STATUS.search(line) for line in lines]
    words = [shlex.split(line, comments=True) for line in lines]
    return [
        (each, int(found[1]) if found else 0) for each, found in zip(words, status, strict=True)
    ]


def scope() -> str:
    """The pin of the demo's faulty board: one low pulse of 7.2 ms in each period of 60 Hz."""
    rows = (
        (n * 5e-5, 0.1 if (n * 5e-5 * 60.0) % 1.0 < 7.2e-3 * 60.0 else 4.9) for n in range(4000)
    )
    return "".join(f"{time_s:.5f},{volts}\n" for time_s, volts in rows)


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize(
    "path", [path for path in GUIDES if shell_lines(path)], ids=lambda path: path.stem
)
def test_commands_of_a_guide_work(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In the demo's folder, one after another, with what the ones before have left there."""
    shutil.copytree(DEMO, tmp_path, dirs_exist_ok=True)
    (tmp_path / "scope.csv").write_text(scope(), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    for (program, *words), status in shell_lines(path):
        assert program == "zcd"
        if any(words[: len(begins)] == begins for begins in ONLY_READ):
            commands.commands[words[0]].make_context(words[0], words[1:])
            continue
        monkeypatch.setattr(sys, "stdin", StringIO("end\n"))
        assert main(words) == status, capsys.readouterr().err
        assert capsys.readouterr().out or words[0] in {"new", "spice", "close"}


@by_guide
def test_examples_in_python_run(
    path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Likewise in the demo's folder."""
    monkeypatch.chdir(DEMO)
    exec("\n".join(blocks(path, "python")), {})
    assert capsys.readouterr().err == ""


@by_name
def test_commands_in_the_text_are_understood(path: Path) -> None:
    """Names of commands, options and their values; what they do is seen above."""
    text = re.sub(r"^```.*?^```$", "", path.read_text(encoding="utf-8"), flags=re.M | re.S)
    for line in re.findall(r"`zcd ([^`]+)`", text):
        name, *words = shlex.split(re.split(r" [<|\\]", line)[0])
        if name in commands.commands:
            with suppress(click.MissingParameter):  # the text may leave out what it is about
                commands.commands[name].make_context(name, words)
        else:
            assert name in {"COMMAND", "--help"}


def test_accuracy_prints_the_shares_of_all_faults() -> None:
    """Each mode with its share, in the row of its part."""
    text = (ROOT / "zcd" / "docs" / "accuracy.md").read_text(encoding="utf-8")
    for row in table("fault_shares"):
        (line,) = (each for each in text.splitlines() if each.startswith(f"| {row['part']} |"))
        assert f" {row['mode']} {row['share_ratio']:g} (" in line
    share = f"{100.0 * MAINS_RESISTOR_SHARE:.0f} %"
    assert f"they have {share} of all parts that fail" in " ".join(text.split())
    assert f"a part fitted wrongly {100.0 * MISFIT_SHARE:.0f} %" in " ".join(text.split())
