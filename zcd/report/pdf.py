"""A report as a PDF file, set by Typst: tagged for screen readers, fonts inside, no page loaded.

What a person typed goes to the typesetter as data, never as its language.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

from zcd.arguments import PAPERS
from zcd.errors import ZcdError
from zcd.files import PDF_END, require_typesetter
from zcd.report.document import Block, Document
from zcd.report.table import FAIL
from zcd.report.text import version_text

_TEMPLATE = Path(__file__).with_name("templates") / "report.typ"


def report_pdf(document: Document, paper: str = "a4") -> bytes:
    """Set a report.

    Parameters
    ----------
    document : Document
    paper : str
        One of `zcd.arguments.PAPERS`.

    Returns
    -------
    bytes
        A PDF file.

    Raises
    ------
    InputError
        If the typesetter is not installed.
    ZcdError
        If it fails.
    """
    require_typesetter("report.pdf")
    import typst
    from matplotlib import get_data_path

    record = {
        "title": document.title,
        "before": document.before,
        "version": version_text(),
        "paper": PAPERS[paper][1],
        "fails": FAIL,
        "sections": [
            {"title": section.title, "blocks": [_block(block) for block in section.blocks]}
            for section in document.resolved().sections
        ],
    }
    try:
        result = typst.compile(
            _TEMPLATE,
            root=_TEMPLATE.parent,
            font_paths=[Path(get_data_path()) / "fonts" / "ttf"],
            ignore_system_fonts=True,
            sys_inputs={"report": json.dumps(record)},
            format="pdf",
        )
    except (RuntimeError, OSError) as error:
        raise ZcdError(f"the report could not be set as PDF: {error}") from error
    assert isinstance(result, bytes)
    return result.rstrip(b"\n") + b"\n" + PDF_END


def _block(block: Block) -> dict[str, Any]:
    """A block as plain data, with its kind."""
    return {"kind": type(block).__name__, **asdict(block)}
