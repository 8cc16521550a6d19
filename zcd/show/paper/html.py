"""A report as one HTML file: style and pictures inside, nothing loaded, everything escaped."""

from __future__ import annotations

from pathlib import Path

from zcd.show.checked.sheets import FAILS
from zcd.show.paper.pages import Pages

_TEMPLATES = Path(__file__).with_name("templates")
PAPERS = {"a4": "A4", "letter": "Letter"}
"""Sizes of paper by what a person calls them, and what CSS does."""


def report_html(pages: Pages, paper: str = "a4") -> str:
    """Fill the page; all words are escaped, only our own drawings are not.

    Parameters
    ----------
    pages : Pages
    paper : str
        One of `PAPERS`, for printing.

    Returns
    -------
    str
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES), autoescape=True, undefined=StrictUndefined
    )
    environment.tests["block"] = lambda block, name: type(block).__name__ == name
    template = environment.get_template("report.html.j2")
    return template.render(pages=pages, paper=PAPERS[paper], fails=FAILS)
