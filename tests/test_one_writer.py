"""One zcd writes into a folder at a time: real processes, killed ones, disks that know no locks."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from zcd import files
from zcd.errors import InputError
from zcd.files import (
    UNDER_WAY,
    OtherWriterError,
    only_writer,
    replace_whole,
    update_whole,
    write_whole,
)

NO_LOCKS = """\
import errno, fcntl
def flock(*_):
    raise OSError(errno.ENOLCK, "No locks available")
fcntl.flock = flock
"""
"""As a share does whose server keeps no locks."""
COUNT = """\
import sys
from pathlib import Path
from zcd.files import only_writer
count = Path("count")
for _ in range(int(sys.argv[1])):
    with only_writer(Path()):
        count.write_text(str(int(count.read_text()) + 1))
"""
ADD = """\
import sys
from pathlib import Path
from zcd.files import update_whole
for turn in range(int(sys.argv[1])):
    update_whole(Path("lines"), lambda data: data + f"{sys.argv[2]} {turn}\\n".encode())
"""
HOLD = """\
from pathlib import Path
from zcd.files import only_writer
with only_writer(Path()):
    print("held", flush=True)
    input()
"""


def run_all(folder: Path, code: str, processes: int, turns: int) -> None:
    """So many at once, all of which must end well."""
    children = [
        subprocess.Popen([sys.executable, "-c", code, str(turns), str(number)], cwd=folder)
        for number in range(processes)
    ]
    assert [child.wait() for child in children] == [0] * processes


@pytest.mark.parametrize("start", ["", NO_LOCKS], ids=["locks", "no locks"])
@pytest.mark.parametrize(
    ("processes", "turns"), [(6, 20), pytest.param(24, 100, marks=pytest.mark.slow)]
)
def test_no_count_is_lost(tmp_path: Path, start: str, processes: int, turns: int) -> None:
    """Read, add one, write, each time with a lock whose file comes and goes."""
    (tmp_path / "count").write_text("0")
    run_all(tmp_path, start + COUNT, processes, turns)
    assert int((tmp_path / "count").read_text()) == processes * turns
    assert [each.name for each in tmp_path.iterdir()] == ["count"]


def test_no_line_is_lost(tmp_path: Path) -> None:
    (tmp_path / "lines").write_text("")
    run_all(tmp_path, ADD, 6, 20)
    lines = (tmp_path / "lines").read_text().splitlines()
    assert sorted(lines) == sorted(f"{number} {turn}" for number in range(6) for turn in range(20))
    assert [each.name for each in tmp_path.iterdir()] == ["lines"]


def holder(folder: Path, start: str = "") -> subprocess.Popen[str]:
    """A process that holds the lock of a folder, until something is typed."""
    process = subprocess.Popen(
        [sys.executable, "-c", start + HOLD],
        cwd=folder, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    return process


@pytest.mark.parametrize("start", ["", NO_LOCKS], ids=["locks", "no locks"])
def test_a_killed_one_keeps_nobody_waiting(tmp_path: Path, start: str) -> None:
    process = holder(tmp_path, start)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    (left,) = tmp_path.iterdir()
    assert left.name.startswith(UNDER_WAY)
    (tmp_path / "count").write_text("0")
    run_all(tmp_path, start + COUNT, 2, 1)
    assert [each.name for each in tmp_path.iterdir()] == ["count"]


def test_who_has_to_wait_writes_then(tmp_path: Path) -> None:
    process = holder(tmp_path)
    (tmp_path / "count").write_text("0")
    waiting = subprocess.Popen([sys.executable, "-c", COUNT, "1"], cwd=tmp_path)
    time.sleep(1.0)
    assert (tmp_path / "count").read_text() == "0"
    process.communicate("\n")
    assert waiting.wait() == 0
    assert (tmp_path / "count").read_text() == "1"


def test_a_lock_that_lost_its_name_is_none(tmp_path: Path) -> None:
    """NFS keeps a removed file under another name while it is open; it is not to be trusted."""
    place = tmp_path / "lock"
    place.touch()
    with place.open() as file:
        files._require_named(place, file.fileno())
        place.rename(tmp_path / ".nfs0001")
        with pytest.raises(files._NamelessError):
            files._require_named(place, file.fileno())
        place.touch()
        with pytest.raises(files._NamelessError):
            files._require_named(place, file.fileno())


def test_every_user_may_wait_for_the_lock(tmp_path: Path) -> None:
    """What a killed one left is no wall for another; where files are one's own, so are locks."""
    with only_writer(tmp_path):
        (lock,) = tmp_path.iterdir()
        assert lock.stat().st_mode & 0o777 == 0o666
    tmp_path.chmod(0o1777)
    with only_writer(tmp_path):
        (own,) = tmp_path.iterdir()
        assert own.name == f"{lock.name}-{os.getuid()}"


def test_no_folder_is_made_for_a_lock(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    for folder in ("missing", "file"):
        with pytest.raises(InputError, match="found a place that cannot be written"):
            write_whole(tmp_path / folder / "a.html", b"")
    assert [each.name for each in tmp_path.iterdir()] == ["file"]


def test_what_an_editor_saves_meanwhile_is_kept(tmp_path: Path) -> None:
    """An editor knows no lock; its file is looked for once more in the last moment."""
    path = tmp_path / "job.toml"
    path.write_bytes(b"old")

    def change(data: bytes) -> bytes:
        path.write_bytes(b"theirs")
        return data + b"new"

    with pytest.raises(OtherWriterError, match="wrote nothing"):
        update_whole(path, change)
    assert path.read_bytes() == b"theirs"
    path.unlink()
    for write in (lambda: update_whole(path, change), lambda: replace_whole(path, b"old", b"new")):
        with pytest.raises(OtherWriterError, match="wrote nothing"):
            write()
    assert list(tmp_path.iterdir()) == []


def test_what_is_refused_or_the_same_is_not_written(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes(b"old")
    before = path.stat()

    def refuse(data: bytes) -> bytes:
        raise InputError("job.toml: found a closed job; allowed: an open one")

    with pytest.raises(InputError, match="found a closed job"):
        update_whole(path, refuse)
    update_whole(path, bytes)
    now = path.stat()
    assert (now.st_ino, now.st_mtime_ns) == (before.st_ino, before.st_mtime_ns)
    assert list(tmp_path.iterdir()) == [path]
