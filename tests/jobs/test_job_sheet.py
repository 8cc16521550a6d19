"""The report: one file, nothing loaded, nothing of the user's taken for markup."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.jobs.demo_job import (
    FAILS,
    HOLDS,
    SETTLED,
    case,
    dictionary,
    lost_below,
    share_lost,
    solved,
)
from tests.sampled import some
from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.diagnosis.case import Case
from zcd.diagnosis.job import Job
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.retest_record import RetestRecord, Verdict
from zcd.errors import InputError
from zcd.jobs import job_sheet
from zcd.jobs.job_sheet import (
    _story_section,
    job_line,
    left_line,
    report_document,
    unlike_retest_line,
    verdict_text,
    write_report,
)
from zcd.margin.as_new import with_original
from zcd.report.cautions import DEAD, GENERAL, ISOLATED, LIVE
from zcd.report.document import Document, Facts, Paragraph, Picture
from zcd.report.document import Verdict as Shown
from zcd.report.of_diagnosis_answer import TOO_MILD, recorded_line
from zcd.report.of_retest_record import closed_text
from zcd.report.pdf import report_pdf
from zcd.report.terminal import document_text

HOSTILE = "<script>alert(1)</script> & \"quoted\" 'name'"
LOADS = {"src", "srcset", "href", "xlink:href", "data", "action", "poster", "background"}


class Page(HTMLParser):
    """What a browser would see."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def pages_of(text: str = HOLDS, name: str | None = None, before: Case | None = None) -> Document:
    result = solved(text)
    board = result.board if name is None else replace(result.board, name=name)
    return report_document(
        board=board,
        check=replace(result.check, board=board),
        solution=result.solution,
        lock=result.lock,
        lost=replace(lost_below(0.2), share=share_lost(lost_below(0.2))),
        case=before,
    )


def written(
    path: Path, text: str = HOLDS, name: str | None = None, before: Case | None = None
) -> str:
    write_report(path, pages_of(text, name, before))
    return path.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def html(tmp_path_factory: pytest.TempPathFactory) -> str:
    return written(tmp_path_factory.mktemp("report") / "report.html", name=HOSTILE)


@pytest.fixture(scope="module")
def repaired(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The report of a repair, with what was found before it."""
    path = tmp_path_factory.mktemp("report") / "repaired.html"
    before = case(SETTLED, HOSTILE)
    job = replace(before.job, board=replace(before.job.board, name=f"before {HOSTILE}"))
    return written(path, before=replace(before, job=job))


@pytest.mark.parametrize("report_of", some(["html", "repaired"], "repaired"))
def test_nothing_is_loaded(report_of: str, request: pytest.FixtureRequest) -> None:
    html = request.getfixturevalue(report_of)
    page = Page(html)
    assert not {"script", "link", "iframe", "img", "object", "embed", "base"} & set(page.tags)
    loads = [value for name, value in page.attributes if name in LOADS]
    assert loads
    assert all(value.startswith("#") for value in loads)
    assert "@import" not in html
    assert not re.search(r"url\((?!#)", html)


def test_a_hostile_name_stays_text(html: str) -> None:
    page = Page(html)
    assert "script" not in page.tags
    assert HOSTILE in page.words
    assert "<script" not in html


def test_a_hostile_note_stays_text(repaired: str) -> None:
    page = Page(repaired)
    assert "script" not in page.tags
    assert "<script" not in repaired
    text = "".join(page.words)
    assert HOSTILE in text
    assert f"before {HOSTILE}" in text


def test_what_was_found_stands_before_the_pictures(repaired: str) -> None:
    """Conclusion, readings, ranking and a picture of the faulty board."""
    heads = re.findall(r"<h2>(.*?)</h2>", repaired)
    assert heads[:2] == ["Job sheet", "What was found before the repair"]
    assert heads.index("What was found before the repair") < heads.index("Waveforms")
    page = Page(repaired)
    text = "".join(page.words)
    assert "R2 is open" in text
    assert "error flags: sync, fan" in text
    assert "4.98 V" in text
    assert page.tags.count("svg") == 5
    assert len([value for name, value in page.attributes if name == "aria-label" and value]) == 5
    result = repaired[repaired.index('id="picture-found"') :]
    assert "<title>R2, 43 kΩ, ohm OL, open</title>" in result[: result.index("</figure>")]
    assert "<title>pin, DC 4.98 V</title>" in result[: result.index("</figure>")]
    ids = [value for name, value in page.attributes if name == "id"]
    assert len(ids) == len(set(ids))


def test_without_a_diagnosis_nothing_is_said_of_one(html: str) -> None:
    assert "before the repair" not in html


def test_no_handler_comes_from_words(html: str) -> None:
    assert not [name for name, _ in Page(html).attributes if name.startswith("on")]


def test_sections_are_in_order(html: str) -> None:
    heads = re.findall(r"<h2>(.*?)</h2>", html)
    assert heads == [
        "Job sheet",
        "Verdict",
        "Waveforms",
        "Levels",
        "Stress",
        "Reserve",
        "Rules and where they come from",
        "Tolerances",
        "Beyond the verdict",
        "Where sync is lost",
        "Assumptions",
        "Origins and sources",
        "Cautions",
    ]


def test_pictures_are_inside_with_words_for_those_who_cannot_see(html: str) -> None:
    page = Page(html)
    assert page.tags.count("svg") == 3
    assert len([value for name, value in page.attributes if name == "aria-label" and value]) == 3


def test_the_diagram_says_what_a_good_board_reads(html: str) -> None:
    drawn = html[html.index('id="picture-schematic"') :]
    drawn = drawn[: drawn.index("</figure>")]
    assert "<title>feed, AC 120 V</title>" in drawn
    assert "<title>logic+, DC 5 V</title>" in drawn


def test_ids_are_unique(html: str) -> None:
    ids = [value for name, value in Page(html).attributes if name == "id"]
    assert len(ids) == len(set(ids))


def test_every_caution_stands_there_with_its_source(html: str) -> None:
    text = "".join(Page(html).words)
    for caution in (*GENERAL, *DEAD, *ISOLATED, *LIVE):
        assert caution.text in text
        assert caution.source in text


@pytest.mark.usefixtures("undrawn")
def test_failures_are_listed_under_the_verdict(tmp_path: Path) -> None:
    text = written(tmp_path / "fails.html", FAILS)
    verdict = text.index("FAILS: R1 and R2 are overloaded.")
    assert verdict < text.index("FAIL: R1 voltage") < text.index("<h2>Waveforms")
    assert '<tr class="fails">' in text


def test_what_is_assumed_is_all_there(html: str) -> None:
    for assumption in solved().board.assumptions:
        assert f"<td>{assumption.key}</td>" in html


def test_readings_stand_beside_those_of_a_good_board(repaired: str) -> None:
    """R2 of 43 kΩ, 5 %, reads OL; a good one reads within that, and the meter's own accuracy."""
    assert '<th scope="col" class="right">good board</th>' in repaired
    row = re.search(r"<tr><td[^>]*>3</td>.*?</tr>", repaired)
    assert row is not None
    shown, good = re.findall(r">([^<>]+)</td>", row[0])[-2:]
    assert shown == "OL"
    low, high = (float(end.removesuffix(" kΩ")) for end in good.split(" to "))
    off = dictionary().meter.ohm_accuracy_ratio
    assert low / 43.0 == pytest.approx(0.95 * (1.0 - off), abs=2e-3)
    assert high / 43.0 == pytest.approx(1.05 * (1.0 + off), abs=2e-3)


def test_the_story_tells_how_one_fault_raised_both_flags(repaired: str) -> None:
    heads = re.findall(r"<h2>(.*?)</h2>", repaired)
    assert heads.index("Why the controller reports what it reports") == 2
    text = "".join(Page(repaired).words)
    assert "The sync fault alone explains the fan flag;" in text


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize(
    ("paper", "css"), [pytest.param("a4", "A4", marks=pytest.mark.slow), ("letter", "Letter")]
)
def test_it_prints_on_either_paper(tmp_path: Path, paper: str, css: str) -> None:
    path = write_report(tmp_path / "r.html", pages_of(), paper)
    assert f"@page {{ size: {css};" in path.read_text()


@pytest.mark.usefixtures("undrawn")
def test_an_old_report_survives_a_failure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError("no page")

    path = tmp_path / "report.html"
    path.write_text("old")
    monkeypatch.setattr(job_sheet, "report_html", fail)
    with pytest.raises(RuntimeError, match="no page"):
        written(path)
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.usefixtures("undrawn")
def test_a_missing_directory_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="existing directory"):
        written(tmp_path / "missing" / "report.html")


@pytest.mark.usefixtures("undrawn")
def test_what_was_replaced_is_told_against_the_board_as_it_came_in() -> None:
    before = case(SETTLED, "")
    now = solved().board
    same = replace(before, job=replace(before.job, board=now))
    assert "'Done'" not in str(pages_of(before=same).sections[0])
    old = replace(now.chains[0][0], resistance_ohm=43e3)
    was = replace(now, chains=((old, *now.chains[0][1:]), *now.chains[1:]))
    first = pages_of(before=replace(before, job=replace(before.job, board=was))).sections[0]
    assert "'Done'" in str(first)
    assert f"{old.ref}: 43 kΩ" in str(first)


def short_pages(before: Case | None = None, board: Board | None = None) -> Document:
    """What is written where nobody asks for all of it."""
    result = solved()
    return report_document(
        board=board or result.board,
        check=result.check,
        solution=result.solution,
        lock=result.lock,
        case=before,
    )


@pytest.mark.usefixtures("undrawn")
def test_the_first_page_is_the_job_sheet() -> None:
    """Appliance, complaint, found, done, tested, verdict, one picture, a line to sign."""
    before = case(SETTLED, "")
    closed = replace(before.job, found="R2 burnt", repair="R2 renewed, 43 k", note="no heat")
    sheet = short_pages(replace(before, job=closed)).sections[0]
    assert sheet.title == "Job sheet"
    facts, picture, signature, _ = sheet.blocks
    assert isinstance(facts, Facts)
    told = dict(facts.pairs)
    assert list(told)[:5] == ["Appliance", "Complaint", "Found", "Done", "Tested"]
    assert told["Complaint"].startswith("no heat")
    assert (told["Found"], told["Done"]) == ("R2 burnt", "R2 renewed, 43 k")
    assert told["Tested"] == "not measured again"
    assert told["Verdict"].startswith("PASSES.")
    assert isinstance(picture, Picture)
    assert isinstance(signature, Facts)
    assert [name for name, _ in signature.pairs] == ["Technician", "Date"]


@pytest.mark.parametrize("with_case", some([True, False], True))
def test_the_report_has_at_most_four_pages(with_case: bool) -> None:
    document = short_pages(case(SETTLED, "") if with_case else None)
    assert len(PdfReader(BytesIO(report_pdf(document))).pages) <= 4


@pytest.mark.usefixtures("undrawn")
def test_a_closed_job_leads_with_what_was_found_and_done() -> None:
    """Whatever the readings would say by themselves."""
    told = case(SETTLED)
    closed = date(2026, 3, 14)
    job = replace(told.job, closed=closed, found="R1 open", repair="R1 renewed")
    told = replace(told, job=job)
    document = short_pages(told)
    facts = dict(next(b for b in document.sections[0].blocks if isinstance(b, Facts)).pairs)
    assert facts["Found"] == "R1 open"
    assert facts["Done"] == "R1 renewed"
    (found,) = [s for s in document.sections if s.title == "What was found before the repair"]
    first = found.blocks[0]
    assert isinstance(first, Paragraph)
    assert first.text == "Found: R1 open."
    assert facts["Closed"] == "on 2026-03-14 without a retest"
    assert job_line(told) == (
        "Found: R1 open. Done: R1 renewed. Closed on 2026-03-14 without a retest."
    )


@pytest.mark.parametrize(
    ("verdicts", "without"),
    [
        ((Verdict.UNSURE,), " without a passed retest"),
        ((Verdict.GOOD, Verdict.NOT_GOOD), " without a passed retest"),
        ((Verdict.UNSURE, Verdict.GOOD), ""),
    ],
)
def test_a_job_closed_without_a_passed_retest_says_so(
    verdicts: tuple[Verdict, ...], without: str
) -> None:
    records = [RetestRecord(taken=date(2026, 3, 13), verdict=v, good_ratio=0.9) for v in verdicts]
    assert closed_text(date(2026, 3, 14), records) == f"on 2026-03-14{without}"


@pytest.mark.usefixtures("undrawn")
def test_a_sheet_does_not_call_same_what_was_written_as_another_part() -> None:
    """The same file before and after, but R2 of another value written down as fitted."""
    result = solved()
    check = with_original(result.check, result.check)

    def told(*replaced: str) -> str:
        tested = RetestRecord(
            taken=date(2026, 3, 14), verdict=Verdict.GOOD, good_ratio=0.97, replaced=replaced
        )
        pages = report_document(
            board=result.board, check=check, solution=result.solution, lock=result.lock,
            case=case(SETTLED), retests=[tested],
        )  # fmt: skip
        return " ".join(document_text(pages).split())

    assert "Same types and values as the original." in told("R2 renewed")
    other = told("R2 1k")
    assert "Fitted, as written: R2 1k; the board file has R2 " in other
    assert "Same types and values" not in other


@pytest.mark.usefixtures("undrawn")
def test_a_sheet_says_that_only_what_was_written_as_fitted_has_a_grade() -> None:
    """What was done has the letter, the file of the board has none: the verdict is without it."""
    bare = solved(HOLDS.replace('"817 C"', '"817"'))
    check = with_original(bare.check, bare.check)
    as_is = case(SETTLED)

    def told(repair: str) -> str:
        job = replace(
            as_is.job, board=bare.board, board_file=Path("shop/press.toml"), repair=repair,
            closed=date(2026, 3, 14), found="OC1 LED open",
        )  # fmt: skip
        pages = report_document(
            board=bare.board, check=check, solution=bare.solution, lock=bare.lock,
            case=replace(as_is, job=job),
        )  # fmt: skip
        return " ".join(document_text(pages).split())

    line = (
        "Fitted: PC817B. The verdict is for the board as described, without a grade: write PC817B "
        "into press.toml and check again."
    )
    assert told("OC1 renewed, PC817B").count(line) == 2
    assert "Same types" not in told("OC1 renewed, PC817B")
    assert "Read the " not in told("OC1 renewed, PC817B")
    assert "Same types" in told("OC1 renewed")
    assert line not in told("OC1 renewed")


@pytest.mark.usefixtures("undrawn")
def test_an_open_job_records_a_finding_and_no_instruction() -> None:
    settled = case()
    assert settled.diagnosis.stopped == "sure"
    line = recorded_line(settled)
    assert line.startswith("Found (not confirmed): R2 open (")
    assert "Replace" not in line


@pytest.mark.usefixtures("undrawn")
def test_no_verdict_on_a_board_that_is_not_the_one_retested() -> None:
    """A description of the board as it came in is no pass of the repaired one."""
    board = parse_board(HOLDS)
    tested = RetestRecord(
        taken=date(2026, 3, 14), verdict=Verdict.GOOD, good_ratio=0.97, board="repaired.toml"
    )
    job = Job(board=board, meter=usual_meter(), board_file=Path("in.toml"), retests=(tested,))
    unlike = unlike_retest_line(job, board)
    assert unlike == (
        "Calculated for in.toml; the retest was of repaired.toml: add --repaired repaired.toml."
    )
    told = case(SETTLED)
    told = replace(told, job=replace(job, log=told.job.log))
    left = left_line(board, told, job.retests)
    assert left == f"NOT JUDGED. {unlike}"
    assert verdict_text(solved(HOLDS).check, left).startswith(f"{left} By calculation")
    # the repaired board's file may describe just the same parts
    assert unlike_retest_line(job, parse_board(HOLDS)) == ""
    assert unlike_retest_line(replace(job, retests=()), board) == ""


@pytest.mark.usefixtures("undrawn")
def test_an_open_job_has_one_story() -> None:
    """No verdict on a board whose fault is still in it, on page one or further down."""
    faulty = case()
    document = short_pages(faulty, faulty.job.board)
    facts = dict(next(b for b in document.sections[0].blocks if isinstance(b, Facts)).pairs)
    assert facts["Verdict"].startswith(
        "NOT REPAIRED yet: R2 open. By calculation it passes as described"
    )
    assert not [b for s in document.sections for b in s.blocks if isinstance(b, Shown)]
    assert "Verdict" not in [s.title for s in document.sections]
    unsettled = replace(faulty, diagnosis=replace(faulty.diagnosis, stopped=""))
    assert left_line(faulty.job.board, unsettled, ()) == "FAULT NOT FOUND yet."
    few = RetestRecord(taken=date(2026, 3, 14), verdict=Verdict.UNSURE, good_ratio=0.88)
    assert left_line(faulty.job.board, faulty, (few,)) == (
        "NOT PASSED. The last retest was 88 % sure that the board is good (95 % needed)."
    )
    closed = replace(faulty, job=replace(faulty.job, closed=date(2026, 3, 14)))
    assert left_line(faulty.job.board, closed, ()) == ""


@pytest.mark.usefixtures("undrawn")
def test_the_complaint_is_not_denied_and_no_fan_is_told_of_that_nobody_named() -> None:
    """A part whose ageing the model would still lock with, on a board without a word on its fan."""
    as_is = case()
    aged = next(r for r in as_is.diagnosis.ranked if r.key == "OC1 aged")
    aged = replace(aged, severity=0.9)
    mild = replace(
        as_is,
        job=replace(as_is.job, flags=("sync",), found=aged.key),
        diagnosis=replace(as_is.diagnosis, ranked=(aged,)),
    )
    (told,) = _story_section(mild, full=False).blocks
    assert told == Paragraph(TOO_MILD)
    plain_job = replace(as_is, job=replace(as_is.job, flags=("sync",)))
    words = str(_story_section(plain_job, full=False).blocks)
    assert "no good sync pulses" in words
    assert "the fan" not in words.partition("BulletList")[2]
