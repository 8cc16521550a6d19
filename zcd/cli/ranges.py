"""Numbers as options: within a range, and numbers at all."""

from __future__ import annotations

from math import isfinite
from typing import Any

import click


class FiniteRange(click.FloatRange):
    """A range of numbers; "nan", which lies outside of every range, is refused too."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the number."""
        number = float(super().convert(value, param, ctx))
        if not isfinite(number):
            self.fail(f"{value!r} is not a number in the range {self.min:g} to {self.max:g}.")
        return number
