"""Captures of an oscilloscope, kept beside the job they belong to."""

from __future__ import annotations

import os
from functools import lru_cache
from itertools import count
from pathlib import Path

from zcd.board.model import Board
from zcd.diagnosis.capture import load_capture, read_capture
from zcd.diagnosis.capture_measurements import find_traces
from zcd.diagnosis.readings import Measured
from zcd.drawing.captures import capture_sketch
from zcd.drawing.sketch import sketch_svg
from zcd.files import replace_whole

ENDING = "-capture"


def captured_readings(data: bytes, name: str, board: Board) -> tuple[Measured, ...]:
    """A capture as readings; refused in words where it is none."""
    return find_traces(read_capture(data, name or "capture"), board).readings


def keep_capture(data: bytes, job_file: Path) -> Path:
    """Keep a capture beside its job, under the first free name."""
    names = (f"{job_file.stem}{ENDING}{'' if n == 1 else f'-{n}'}.csv" for n in count(1))
    place = next(p for p in map(job_file.with_name, names) if not os.path.lexists(p))
    return replace_whole(place, None, data)


def last_capture(job_file: Path) -> Path | None:
    """The capture of a job that was kept last."""
    start = f"{job_file.stem}{ENDING}"
    result = [p for p in job_file.parent.glob("*.csv") if p.name.startswith(start) and p.is_file()]
    return max(result, key=lambda p: p.stat().st_mtime_ns, default=None)


def capture_drawing(path: Path, board: Board) -> str:
    """A capture over the model, as SVG."""
    stat = path.stat()
    return _drawn(path, stat.st_mtime_ns, stat.st_size, board)


@lru_cache(maxsize=8)
def _drawn(path: Path, changed: int, size: int, board: Board) -> str:
    del changed, size
    return sketch_svg(capture_sketch(board, find_traces(load_capture(path), board)))
