"""A report as one HTML file: style and pictures inside, nothing loaded, everything escaped."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from zcd.arguments import PAPERS
from zcd.report.document import Document
from zcd.report.table import FAIL
from zcd.report.text import version_text

if TYPE_CHECKING:
    from jinja2 import Environment

_TEMPLATES = Path(__file__).with_name("templates")


def report_html(document: Document, paper: str = "a4") -> str:
    """Fill the page; all words are escaped, only our own drawings are not.

    Parameters
    ----------
    document : Document
    paper : str
        One of `zcd.arguments.PAPERS`, for printing.

    Returns
    -------
    str
    """
    template = _environment().get_template("report.html.j2")
    return template.render(
        document=document.resolved(), paper=PAPERS[paper][0], fails=FAIL, version=version_text()
    )


def fragment_html(document: Document) -> str:
    """A document as a piece of a page, for a notebook."""
    template = _environment().get_template("fragment.html.j2")
    return template.render(document=document.resolved(), fails=FAIL)


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES), autoescape=True, undefined=StrictUndefined
    )
    environment.tests["block"] = lambda block, name: type(block).__name__ == name
    return environment
