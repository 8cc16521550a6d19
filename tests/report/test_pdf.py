"""The report as PDF, read back by a reader of its own: paper, words, tags, nothing loaded."""

from __future__ import annotations

import re
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.jobs.demo_job import SETTLED, case
from tests.jobs.test_job_sheet import HOSTILE, pages_of
from zcd.errors import ZcdError
from zcd.files import require_place
from zcd.jobs.job_sheet import write_report
from zcd.report import pdf
from zcd.report.cautions import DEAD, GENERAL, ISOLATED, LIVE
from zcd.report.document import Document
from zcd.report.pdf import report_pdf

MM = 72.0 / 25.4
TYPESETTING = '#panic("x") $a^2$ *b* _c_ @d <e> [f] \\g // h'


@pytest.fixture(scope="module")
def pages() -> Document:
    """The record of a repair, whose names are code to a browser and to a typesetter."""
    before = case(SETTLED, TYPESETTING)
    return pages_of(name=HOSTILE, before=before)


@pytest.fixture(scope="module")
def reader(pages: Document) -> PdfReader:
    return PdfReader(BytesIO(report_pdf(pages)))


def squeezed(text: str) -> str:
    """Without what a line break may change."""
    return re.sub(r"[\s-]+", "", text)


@pytest.fixture(scope="module")
def text(reader: PdfReader) -> str:
    return squeezed("".join(page.extract_text() for page in reader.pages))


@pytest.mark.parametrize(
    ("paper", "width_mm", "height_mm"),
    [pytest.param("a4", 210.0, 297.0, marks=pytest.mark.slow), ("letter", 215.9, 279.4)],
)
def test_paper(pages: Document, paper: str, width_mm: float, height_mm: float) -> None:
    """ISO 216 A4; ANSI Y14.1 A, 8.5 in by 11 in."""
    box = PdfReader(BytesIO(report_pdf(replace(pages, sections=pages.sections[1:2]), paper)))
    size = box.pages[0].mediabox
    assert float(size.width) == pytest.approx(width_mm * MM, abs=0.1)
    assert float(size.height) == pytest.approx(height_mm * MM, abs=0.1)


def test_what_a_person_typed_is_set_as_it_is(text: str) -> None:
    assert squeezed(HOSTILE) in text
    assert squeezed(TYPESETTING) in text


def test_every_section_is_there_in_order(pages: Document, text: str) -> None:
    at = 0
    for section in pages.sections:
        at = text.index(squeezed(section.title), at)


def test_every_caution_is_there(text: str) -> None:
    for caution in (*GENERAL, *DEAD, *ISOLATED, *LIVE):
        assert squeezed(caution.text) in text


def test_words_of_the_diagram_stay_words(text: str) -> None:
    assert squeezed("mains, LIVE") in text
    assert squeezed("K1 contact") in text


def test_tagged_for_screen_readers_with_words_for_each_picture(
    pages: Document, reader: PdfReader
) -> None:
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en-GB"
    told = set()
    for number in range(1, reader.trailer["/Size"]):
        result = reader.get_object(number)
        if isinstance(result, dict) and "/Alt" in result:
            told.add(result["/Alt"])
    assert {
        b.words for s in pages.sections for b in s.blocks if type(b).__name__ == "Picture"
    } <= told


def test_nothing_is_linked_or_run(pages: Document) -> None:
    raw = report_pdf(pages)
    objects, streams = re.subn(rb"\bstream\r?\n.*?endstream", b"", raw, flags=re.DOTALL)
    assert streams > 0  # packed bytes, in which these words may come by chance
    assert not re.search(rb"/(URI|JavaScript|JS|Launch|EmbeddedFile)\b", objects)


def test_the_same_report_gives_the_same_file(pages: Document) -> None:
    short = replace(pages, sections=pages.sections[1:2])
    assert report_pdf(short) == report_pdf(short)


def test_only_an_earlier_report_is_replaced(pages: Document, tmp_path: Path) -> None:
    short = replace(pages, sections=pages.sections[1:2])
    path = write_report(tmp_path / "report.pdf", short)
    require_place(path)
    assert path.read_bytes().startswith(b"%PDF-")


def test_a_typesetter_that_fails_is_no_traceback(
    pages: Document, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = tmp_path / "broken.typ"
    broken.write_text("#nothing-of-this-name")
    monkeypatch.setattr(pdf, "_TEMPLATE", broken)
    with pytest.raises(ZcdError, match="could not be set as PDF"):
        report_pdf(pages)
