"""A file is written whole or not at all."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from zcd.errors import InputError
from zcd.files import LEFT_S, UNDER_WAY, make_folder, require_place, write_new, write_whole


def test_an_old_file_is_replaced_and_nothing_else_is_left(tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    path.write_text("old")
    assert write_whole(path, b"new") == path
    assert path.read_bytes() == b"new"
    assert list(tmp_path.iterdir()) == [path]


def test_an_old_file_survives_a_failure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(file: int) -> None:
        raise OSError(28, "No space left on device")

    path = tmp_path / "report.html"
    path.write_text("old")
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match=r"cannot be written \(No space left on device\)"):
        write_whole(path, b"new")
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("name", ["missing/a.html", "folder", "a\0b"])
def test_a_place_that_cannot_take_a_file_is_refused(tmp_path: Path, name: str) -> None:
    (tmp_path / "folder").mkdir()
    with pytest.raises(InputError, match="allowed: a new file in an existing directory"):
        write_whole(tmp_path / name, b"")


@pytest.mark.parametrize(("name", "folder"), [("missing/a", False), ("d", False), ("f", True)])
def test_a_bad_place_is_noticed_beforehand(tmp_path: Path, name: str, folder: bool) -> None:
    (tmp_path / "d").mkdir()
    (tmp_path / "f").touch()
    with pytest.raises(InputError, match="found a place that cannot be written"):
        require_place(tmp_path / name, folder=folder)


def test_a_good_place_is_let_through(tmp_path: Path) -> None:
    require_place(tmp_path / "a.html")
    require_place(tmp_path, folder=True)
    assert make_folder(tmp_path / "new").is_dir()
    assert make_folder(tmp_path / "new").is_dir()


def test_a_folder_cannot_take_the_place_of_a_file(tmp_path: Path) -> None:
    (tmp_path / "f").touch()
    with pytest.raises(InputError, match="allowed: a folder in an existing directory"):
        make_folder(tmp_path / "f")


def test_only_its_own_output_is_replaced(tmp_path: Path) -> None:
    """A board file, a link or a device given as the place for a report stays what it is."""
    notes, ours = tmp_path / "notes.txt", tmp_path / "report.html"
    notes.write_text("mains = '230 V'", encoding="utf-8")
    ours.write_text('<meta name="generator" content="zcd 1">', encoding="utf-8")
    link = tmp_path / "link.html"
    link.symlink_to(ours)
    require_place(ours)
    for path in (notes, link, Path("/dev/null")):
        with pytest.raises(InputError, match="File exists"):
            require_place(path)


def test_an_existing_file_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "new.toml"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match=r"^new\.toml exists already: choose another name"):
        write_new(path, "text")
    assert path.read_text(encoding="utf-8") == "mine"
    assert list(tmp_path.iterdir()) == [path]


def test_a_dangling_link_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "new.toml"
    path.symlink_to(tmp_path / "elsewhere.toml")
    with pytest.raises(InputError, match="exists already"):
        write_new(path, "text")
    assert not (tmp_path / "elsewhere.toml").exists()


def test_a_file_that_appears_meanwhile_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "new.toml"
    path.write_text("mine", encoding="utf-8")
    monkeypatch.setattr(os.path, "lexists", lambda _: False)
    with pytest.raises(InputError, match="exists already"):
        write_new(path, "text")
    assert path.read_text(encoding="utf-8") == "mine"


def test_a_medium_without_links(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refuse)
    path = write_new(tmp_path / "new.toml", "text")
    assert path.read_text(encoding="utf-8") == "text"
    assert list(tmp_path.iterdir()) == [path]


def test_a_new_file_in_a_missing_directory(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"new\.toml: found a place that cannot be written"):
        write_new(tmp_path / "nowhere" / "new.toml", "text")
    assert list(tmp_path.iterdir()) == []


KILLED = """\
import os, signal, sys
os.link = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
from zcd.cli import main
main(["new", "board.toml"])
"""


def test_what_a_killed_one_left_is_cleared_away(tmp_path: Path) -> None:
    """Killed in the last moment before the new file has its name."""
    ended = subprocess.run([sys.executable, "-c", KILLED], cwd=tmp_path, check=False)
    assert ended.returncode == -signal.SIGKILL
    lock, half = sorted(tmp_path.iterdir(), key=Path.is_dir)
    long_ago = time.time() - 2 * LEFT_S
    for left in (lock, half):
        assert left.name.startswith(UNDER_WAY)
        os.utime(left, (long_ago, long_ago))
    path = write_new(tmp_path / "board.toml", "text")
    assert list(tmp_path.iterdir()) == [path]
