"""What a shell is told while a command is typed: through the variables that its script sets."""

from __future__ import annotations

import json
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from zcd.cli import main
from zcd.cli.completion import SHELLS, VARIABLE


def completed(
    line: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    shell: str = "bash",
) -> list[str]:
    """Words for the last one of a line, which may be empty, with the type before the comma."""
    words = line.split(" ")
    monkeypatch.setenv(VARIABLE, f"{shell}_complete")
    monkeypatch.setenv("COMP_WORDS", line)
    monkeypatch.setenv("COMP_CWORD", words[-1] if shell == "fish" else str(len(words) - 1))
    assert main([]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return [word for word in out.splitlines() if word]


def test_commands(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    assert completed("zcd ch", capsys, monkeypatch) == ["plain,check"]
    result = completed("zcd ", capsys, monkeypatch)
    assert {"plain,check", "plain,diagnose", "plain,completion"} <= set(result)


def test_options_and_choices(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert completed("zcd check b.toml --out", capsys, monkeypatch) == ["plain,--outlook"]
    assert completed("zcd new --topology two", capsys, monkeypatch) == ["plain,two-led"]
    assert completed("zcd report j.toml --paper l", capsys, monkeypatch) == ["plain,letter"]
    assert completed("zcd substitute b.toml --series e1", capsys, monkeypatch) == ["plain,E12"]
    assert completed("zcd completion z", capsys, monkeypatch) == ["plain,zsh"]
    assert completed("zcd story b.toml --flags s", capsys, monkeypatch) == [
        "plain,sync,fan",
        "plain,sync",
    ]


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        ("zcd check bo", "file"),
        ("zcd diagnose jo", "file"),
        ("zcd report j.toml --repaired bo", "file"),
        ("zcd substitute b.toml --drawer st", "file"),
        ("zcd capture scope.csv bo", "file"),
        ("zcd check b.toml --plots pi", "dir"),
        ("zcd jobs be", "dir"),
    ],
)
def test_files_and_folders_are_left_to_the_shell(
    line: str, kind: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert completed(line, capsys, monkeypatch) == [f"{kind},{line.rsplit(maxsplit=1)[-1]}"]


def test_parts_of_the_board_that_was_typed(
    board: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    line = f"zcd substitute {board.name} --for "
    assert completed(line, capsys, monkeypatch) == [
        f"plain,{name}" for name in ("R1", "R2", "OC1", "pull-up", "D1", "contact", "drive")
    ]
    assert completed(f"{line}r", capsys, monkeypatch) == ["plain,R1", "plain,R2"]
    assert completed(f"zcd map {board.name} --across R", capsys, monkeypatch) == [
        "plain,R1",
        "plain,R2",
    ]


@pytest.mark.parametrize(
    "begun", ["spice {} --fault ", "story {} --cause ", "close job.toml --found "]
)
def test_faults_of_the_board_or_job_that_was_typed(
    begun: str, board: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    board.with_name("job.toml").write_text(f'board = "{board.name}"\n', encoding="utf-8")
    line = f"zcd {begun.format(board.name)}"
    keys = {f"R{n} {how}" for n in (1, 2) for how in ("open", "drift", "short")}
    bare = {f"plain,{key}".replace(" ", "\\ ") for key in keys}
    assert bare <= set(completed(f"{line}r", capsys, monkeypatch))
    # inside quotation marks a blank ends no word, nor where the shell looks after it
    assert "plain,R1 open" in completed(f'{line}"R1', capsys, monkeypatch)
    assert "plain,R1 open" in completed(f"{line}R1", capsys, monkeypatch, "fish")


def test_guides(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    assert completed("zcd help s", capsys, monkeypatch) == [
        "plain,speed",
        "plain,spice",
        "plain,stories",
        "plain,substitutes",
    ]


@pytest.mark.parametrize("file", ["none.toml", "-", "board.toml", "folder"])
def test_without_a_board_no_part_and_no_word_of_it(
    file: str, work: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (work / "board.toml").write_text("mains = ", encoding="utf-8")
    (work / "folder").mkdir()
    assert completed(f"zcd substitute {file} --for ", capsys, monkeypatch) == []


@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_other_shells_ask_likewise(
    shell: str, board: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    line = f"zcd substitute {board.name} --for O"
    told = {"zsh": ["plain", "OC1", "_"], "fish": ["plain,OC1"]}
    assert completed(line, capsys, monkeypatch, shell) == told[shell]


@pytest.mark.parametrize("shell", SHELLS)
def test_the_script_is_printed(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", shell]) == 0
    script, err = capsys.readouterr()
    assert err == ""
    assert f"{VARIABLE}={shell}_complete" in script
    assert main(["completion", shell, "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"schema": 3, "shell": shell, "text": script}


def test_the_shells_can_read_their_scripts(capfd: pytest.CaptureFixture[str]) -> None:
    """Each by its own option for a script that is read and not run: -n in all three."""
    scripts = {}
    for shell in SHELLS:
        assert main(["completion", shell]) == 0
        scripts[shell] = capfd.readouterr().out.encode()
    subprocess.run(["bash", "-n"], input=scripts["bash"], check=True)
    subprocess.run(["zsh", "-n"], input=scripts["zsh"], check=True)
    subprocess.run(["fish", "-n"], input=scripts["fish"], check=True)
    assert capfd.readouterr().err == ""


@pytest.mark.skipif(sys.platform == "win32", reason="no bash")
def test_bash_itself_completes(board: Path, tmp_path: Path) -> None:
    """The script in a real bash: what it puts into COMPREPLY (bash manual, 8.6)."""
    program = tmp_path / "bin" / "zcd"
    program.parent.mkdir()
    program.write_text(f'#!/bin/sh\nexec {shlex.quote(sys.executable)} -m zcd "$@"\n')
    program.chmod(0o755)
    script = f"""
        PATH={shlex.quote(str(program.parent))}:$PATH
        eval "$(zcd completion bash)"
        COMP_WORDS=(zcd substitute {board.name} --for R) COMP_CWORD=4
        _zcd_completion zcd
        printf '%s\\n' "${{COMPREPLY[@]}}"
    """
    done = subprocess.run(
        ["bash", "--norc", "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stderr == ""
    assert done.stdout.split() == ["R1", "R2"]


def test_a_shell_that_nobody_knows_is_no_command(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(VARIABLE, "nosh_complete")
    assert main(["check"]) == 1
    assert capsys.readouterr().out == ""
