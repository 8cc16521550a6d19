"""What every answer must be: quick, one clear line where it is a refusal, and no NaN."""

from __future__ import annotations

import math
import re
import time
import warnings
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from zcd.board.drive_parts import DrivePart
from zcd.errors import InputError, ZcdError

LONGEST_S = 5.0
LONGEST_LINE = 1_000
UNKNOWN = DrivePart
"""Where a sheet says nothing, NaN stands by intent, and is shown as unknown."""
CLEAR = re.compile(
    r".*(found .+; allowed: .+|must (be|stand) .+, got .+|: no such part; this board has .+"
    r'|".+" is not known; (write ".+"|leave it out: .+)|".+" is not known here; write .+'
    r"|is of a job, but this file describes a board: a job file has .+"
    r"|(which function|measured where)\? Write .+)"
)


def outcome(run: Callable[[Any], Any], given: Any, longest_s: float = LONGEST_S) -> str:
    """Run one input: ``read`` or ``refused``; anything else is a failure.

    Parameters
    ----------
    run : callable
        Returns what it read, or raises a refusal.
    given : object
    longest_s : float
        Of processor time.
    """
    began = time.process_time()
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            require_finite(run(given))
            told = "read"
        except InputError as error:
            require_clear(error)
            told = "refused"
    took = time.process_time() - began
    assert took < longest_s, f"took {took:.1f} s"
    return told


def require_clear(error: ZcdError) -> None:
    """Refuse a message that is not one line for each problem, with what is allowed."""
    lines = str(error).split("\n")
    for line in lines:
        assert CLEAR.fullmatch(line), f"not clear: {line[:300]!r}"
        assert line.isprintable(), f"would change the terminal: {line[:300]!r}"
        assert len(line) <= LONGEST_LINE, f"{len(line)} characters: {line[:300]!r}"


def require_finite(found: Any) -> None:
    """Refuse NaN anywhere in what was read; infinity stands for an overload or a bound."""
    if isinstance(found, float | np.floating):
        assert not math.isnan(found)
    elif isinstance(found, np.ndarray):
        assert found.dtype.kind != "f" or not np.isnan(found).any()
    elif is_dataclass(found) and not isinstance(found, type | UNKNOWN):
        for each in fields(found):
            require_finite(getattr(found, each.name))
    elif isinstance(found, dict):
        for each in found.values():
            require_finite(each)
    elif isinstance(found, list | tuple):
        for each in found:
            require_finite(each)
