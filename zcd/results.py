"""What every result can do: say itself in a line, as text, as HTML, as a dictionary, as a picture.

The renderings themselves are those of `zcd.report`; they are loaded when one is asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from zcd.report.table import Table


class Picture:
    """A finished figure; a notebook shows it.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
    """

    __slots__ = ("figure",)

    def __init__(self, figure: Figure) -> None:
        self.figure = figure

    def __repr__(self) -> str:
        width, height = self.figure.get_size_inches()
        name = self.figure.get_gid() or "figure"
        return f"<Picture: {name}, {width:.1f} x {height:.1f} in>"

    def _repr_svg_(self) -> str:
        from zcd.drawing.canvas import own_svg

        return own_svg(self.figure)

    def save(self, path: str | Path) -> Path:
        """Write the picture to a file.

        Parameters
        ----------
        path : str or Path
            Ends in ``.png`` or ``.svg``; an existing file is replaced.

        Returns
        -------
        path : Path

        Raises
        ------
        InputError
            If its name has another ending, or it cannot be written.

        Examples
        --------
        >>> import zcd
        >>> board = zcd.loads('''
        ... mains = "230 V 50 Hz"
        ... rectifier = "1N4007"
        ... optocoupler = "817C"
        ... chain.resistors = ["68k", "68k"]
        ... output = {pull_up = "10k", supply = "5 V"}
        ... ''')
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     zcd.draw(board).save(f"{folder}/circuit.png").name
        'circuit.png'
        """
        from zcd.drawing.canvas import save_figure

        return save_figure(self.figure, path)


class Result:
    """Base of all results.

    ``repr`` is one line, ``str`` the text that the command line prints; a notebook shows a table.
    """

    __slots__ = ()

    def __repr__(self) -> str:
        from zcd.renderings import line_of

        return f"<{type(self).__name__}: {line_of(self)}>"

    def __str__(self) -> str:
        from zcd.renderings import text_of

        return text_of(self)

    def _repr_html_(self) -> str:
        from zcd.renderings import html_of

        return html_of(self)

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:
        printer.text(repr(self) if cycle else str(self))

    def to_dict(self) -> dict[str, Any]:
        """The result as plain values: what the command prints with ``--json``.

        Returns
        -------
        record : dict
            SI units; the unit ends the key.

        Examples
        --------
        >>> import zcd
        >>> board = zcd.loads('''
        ... mains = "230 V 50 Hz"
        ... rectifier = "1N4007"
        ... optocoupler = "817C"
        ... chain.resistors = ["68k", "68k"]
        ... output = {pull_up = "10k", supply = "5 V"}
        ... ''')
        >>> zcd.solve(board).to_dict()["locks"]
        [True]
        """
        from zcd.renderings import record_of

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

        Examples
        --------
        >>> import zcd
        >>> board = zcd.loads('''
        ... mains = "230 V 50 Hz"
        ... rectifier = "1N4007"
        ... optocoupler = "817C"
        ... chain.resistors = ["68k", "68k"]
        ... output = {pull_up = "10k", supply = "5 V"}
        ... ''')
        >>> zcd.solve(board).plot().get_xlabel()
        'time [ms]'
        """
        from zcd.renderings import plot_of

        return plot_of(self, ax)

    def table(self, name: str | None = None) -> Table:
        """One table of the result.

        Parameters
        ----------
        name : str, optional
            Such as ``"rules"`` of a check; an unknown name lists the known ones. By default the
            first table.

        Returns
        -------
        table : Table
            A notebook shows it, `print` prints it; `to_dicts` and `to_pandas` give plain values.

        Raises
        ------
        InputError
            If the result has no such table.

        Examples
        --------
        >>> import zcd
        >>> board = zcd.loads('''
        ... mains = "230 V 50 Hz"
        ... rectifier = "1N4007"
        ... optocoupler = "817C"
        ... chain.resistors = ["68k", "68k"]
        ... output = {pull_up = "10k", supply = "5 V"}
        ... ''')
        >>> zcd.solve(board).table("cases").to_dicts()[0]["locks"]
        True
        """
        from zcd.renderings import table_of

        return table_of(self, name)

    def picture(self, name: str | None = None) -> Picture:
        """A whole figure, as in a report.

        Parameters
        ----------
        name : str, optional
            Such as ``"timeline"`` of a story; an unknown name lists the known ones. By default the
            first picture.

        Returns
        -------
        picture : Picture

        Raises
        ------
        InputError
            If the result has no such picture.

        Examples
        --------
        >>> import zcd
        >>> board = zcd.loads('''
        ... mains = "230 V 50 Hz"
        ... rectifier = "1N4007"
        ... optocoupler = "817C"
        ... chain.resistors = ["68k", "68k"]
        ... output = {pull_up = "10k", supply = "5 V"}
        ... ''')
        >>> zcd.solve(board).picture("waveforms")
        <Picture: waveforms, 7.2 x 6.8 in>
        """
        from zcd.renderings import picture_of

        return Picture(picture_of(self, name))
