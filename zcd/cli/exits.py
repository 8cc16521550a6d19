"""The words about exit codes that stand under every command's help."""

from __future__ import annotations

EXIT_CODES = """\b
Exit codes
  0  done; the board passes (spice: both solvers agree)
  1  done; the board does not pass (spice: they do not agree)
  2  an option, a file or a value in it cannot be used
  3  the solver found no solution, or no simulator was found"""
