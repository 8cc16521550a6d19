"""What every result can do: say itself in a line, as text, as HTML, as a dictionary, as a picture.

The renderings themselves are those of `zcd.show`; they are loaded when one is asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes


class Result:
    """Base of all results.

    ``repr`` is one line, ``str`` the text that the command line prints; a notebook shows a table.
    """

    __slots__ = ()

    def __repr__(self) -> str:
        from zcd.show.renderings import line_of

        return f"<{type(self).__name__}: {line_of(self)}>"

    def __str__(self) -> str:
        from zcd.show.renderings import text_of

        return text_of(self)

    def _repr_html_(self) -> str:
        from zcd.show.renderings import html_of

        return html_of(self)

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:
        printer.text(repr(self) if cycle else str(self))

    def to_dict(self) -> dict[str, Any]:
        """The result as plain values: what the command prints with ``--json``.

        Returns
        -------
        record : dict
            SI units; the unit ends the key.
        """
        from zcd.show.renderings import record_of

        return record_of(self)

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the result into axes.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            By default new ones.

        Returns
        -------
        matplotlib.axes.Axes
        """
        from zcd.show.renderings import plot_of

        return plot_of(self, ax)
