"""The words about exit codes that stand under a command's help: those that it can give."""

from __future__ import annotations

SOLVER = "no solution of the circuit was found"
SIMULATOR = "no simulator was found, or it found no solution"


def exit_codes(good: str = "done", bad: str = "", *, solver: str = SOLVER) -> str:
    """What each exit code of a command means.

    Parameters
    ----------
    good, bad : str
        What 0 and 1 say; empty: the command never ends with 1.
    solver : str
        What 3 says; empty: nothing is solved.

    Examples
    --------
    >>> print(exit_codes(solver=""))
    \b
    Exit codes
      0  done
      2  invalid input: an option, a file or a value in it
    """
    lines = [f"0  {good}"]
    if bad:
        lines.append(f"1  {bad}")
    lines.append("2  invalid input: an option, a file or a value in it")
    if solver:
        lines.append(f"3  {solver}")
    return "\n  ".join(("\b\nExit codes", *lines))
