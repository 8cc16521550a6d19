"""Job files are written whole after each answer; what a person wrote into them stays."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.diagnosis.boards import TEXTS
from zcd.circuit.build import build_circuit
from zcd.diagnosis.job import load_job
from zcd.diagnosis.reading_syntax import parse_reading
from zcd.diagnosis.readings import Measured, Reading
from zcd.errors import InputError
from zcd.jobs.job_file import JobFileWriter, free_job_path

LINES = (
    "dc pin logic0 4.983 V", "ohm R2 lifted about 130k", "diode D1 reversed lifted OL",
    "ac feed neutral nothing", "ohm chain.1 chain.2 over 1M", "low time 9.37 ms",
    "dc coil+ coil- 23 to 25 V", "edge delay -0.3 ms", "dc logic+ logic0 unstable",
    "low z feed neutral < 5 V", "dc pin logic0 bench supply 5.01 V", "ohm R1 OL on 200k",
    "ac feed neutral relay off 61 V", "low time relay off nothing", "frequency line neutral 50 Hz",
)  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "dryer.toml").write_text(TEXTS["switched"], encoding="utf-8")
    return tmp_path


def entries(folder: Path) -> list[Measured | Reading]:
    circuit = build_circuit(load_job(folder / "dryer.toml").board)
    return [parse_reading(line, circuit) for line in LINES]


def document(folder: Path) -> JobFileWriter:
    board = folder / "dryer.toml"
    return JobFileWriter(free_job_path(board), build_circuit(load_job(board).board), board)


def test_every_kind_of_answer_is_read_back(folder: Path) -> None:
    made, log = document(folder), entries(folder)
    log.insert(3, log[0].reading)  # type: ignore[union-attr]
    for count in range(1, len(log) + 1):
        made.write(log[:count], ("sync", "fan"))
        assert load_job(made.path).log == tuple(log[:count])
    result = load_job(made.path)
    assert result.flags == ("sync", "fan")
    assert result.skipped == (log[3],)
    assert result.board_file is not None
    assert result.board_file.name == "dryer.toml"


def test_answers_taken_back_leave_no_trace(folder: Path) -> None:
    made, log = document(folder), entries(folder)
    made.write(log[:2], ())
    before = made.path.read_bytes()
    made.write(log[:3], ())
    made.write(log[:2], ())
    assert made.path.read_bytes() == before


def test_comments_and_keys_of_a_person_stay(folder: Path) -> None:
    path = folder / "mine.toml"
    text = (
        '# came in by post\nboard = "dryer.toml"\nnote = "smells"  # of what?\n'
        '[meter]\ndc_input = "1M"\n\n[[readings]]   # first\nfunction = "dc"\nvalue = 4.98\n'
    )
    path.write_text(text, encoding="utf-8")
    job = load_job(path)
    made = JobFileWriter(path, build_circuit(job.board), log=job.log)
    made.write([*job.log, entries(folder)[1]], job.flags)
    assert path.read_text(encoding="utf-8").startswith(text)
    assert len(load_job(path).log) == 2


def test_nothing_of_others_is_overwritten(folder: Path) -> None:
    first = document(folder)
    first.write(entries(folder)[:1], ())
    second = document(folder)
    assert (first.path.name, second.path.name) == ("dryer-job.toml", "dryer-job-2.toml")
    with pytest.raises(InputError, match="allowed: a new job file"):
        JobFileWriter(first.path, build_circuit(load_job(folder / "dryer.toml").board), first.path)
    first.path.write_text("changed by hand", encoding="utf-8")
    with pytest.raises(InputError, match="changes made by somebody else"):
        first.write(entries(folder)[:2], ())
    assert first.path.read_text(encoding="utf-8") == "changed by hand"


def test_two_who_begin_the_same_job_at_once_both_keep_their_answers(folder: Path) -> None:
    first, second, log = document(folder), document(folder), entries(folder)
    assert first.path == second.path
    assert first.keep(log[:1], ()) == ()
    assert second.keep(log[1:2], ()) == tuple(log[:1])
    assert load_job(first.path).log == tuple(log[:2])


def test_an_answer_that_could_not_be_kept_is_forgotten(folder: Path) -> None:
    """The next one takes its place in the file."""
    made, log = document(folder), entries(folder)
    made.write(log[:1], ())
    there = made.path.read_bytes()
    made.path.write_text("changed by hand", encoding="utf-8")
    with pytest.raises(InputError, match="changes made by somebody else"):
        made.write(log[:2], ())
    made.path.write_bytes(there)
    made.write([log[0], log[2]], ())
    assert load_job(made.path).log == (log[0], log[2])


def test_an_entry_taken_away_leaves_the_others_as_they_are(folder: Path) -> None:
    made = document(folder)
    log = entries(folder)
    assert len(log) >= 3
    made.write(log, ())
    text = made.path.read_text(encoding="utf-8").replace("[[readings]]", "[[readings]]  # mine")
    made.path.write_text(text, encoding="utf-8")
    job = load_job(made.path)
    again = JobFileWriter(made.path, build_circuit(job.board), log=job.log)
    again.write([*job.log[:1], *job.log[2:]], ())
    assert load_job(made.path).log == (*job.log[:1], *job.log[2:])
    assert made.path.read_text(encoding="utf-8").count("# mine") == len(job.log) - 1


def test_a_document_must_know_what_its_file_holds(folder: Path) -> None:
    made = document(folder)
    made.write(entries(folder), ())
    with pytest.raises(InputError, match="changes made by somebody else"):
        JobFileWriter(made.path, build_circuit(load_job(made.path).board))


def test_a_job_emptied_and_opened_again_takes_answers(folder: Path) -> None:
    made, log = document(folder), entries(folder)
    made.write(log[:2], ())
    made.write((), ())
    for _ in range(2):
        job = load_job(made.path)
        assert job.log == ()
        again = JobFileWriter(made.path, build_circuit(job.board))
        again.write(log[:1], ())
        assert load_job(made.path).log == tuple(log[:1])
        again.write((), ())
        made.path.write_text("readings = []\n" + made.path.read_text(encoding="utf-8"))


def test_readings_that_a_person_wrote_in_brackets_are_kept(folder: Path) -> None:
    path = folder / "mine.toml"
    path.write_text(
        'board = "dryer.toml"\nreadings = [{function = "dc", value = 4.98}]\n[meter]\n',
        encoding="utf-8",
    )
    job = load_job(path)
    more = (*job.log, entries(folder)[1])
    JobFileWriter(path, build_circuit(job.board), log=job.log).write(more, ())
    assert load_job(path).log == more


def kept_by(
    folder: Path, log: list[Measured | Reading]
) -> tuple[Path, JobFileWriter, JobFileWriter]:
    """A job with some entries, opened twice."""
    made = document(folder)
    made.write(log, ())
    circuit = build_circuit(load_job(made.path).board)
    return (
        made.path,
        JobFileWriter(made.path, circuit, log=None),
        JobFileWriter(made.path, circuit, log=log),
    )


def test_what_two_add_is_kept_of_both(folder: Path) -> None:
    """In the order in which it came; each learns what the other added."""
    log = entries(folder)
    path, first, second = kept_by(folder, log[:2])
    assert first.keep([*log[:2], log[3]], ("sync",)) == ()
    first.keep([*log[:2], log[3]], ())
    assert second.keep([*log[:2], log[4], log[5]], ()) == (log[3],)
    assert second.log == load_job(path).log == (*log[:2], *log[3:6])
    assert first.keep([*log[:2], log[3], log[6]], ()) == tuple(log[4:6])
    assert load_job(path).log == (*log[:2], *log[3:7])


def test_one_takes_back_what_he_knows_of_only(folder: Path) -> None:
    log = entries(folder)
    path, first, second = kept_by(folder, log[:2])
    first.keep(log[:3], ())
    assert second.keep(log[:1], ()) == (log[2],)
    assert load_job(path).log == (log[0], log[2])


def test_notes_and_retests_of_others_stay(folder: Path) -> None:
    log = entries(folder)
    path, first, _ = kept_by(folder, log[:1])
    text = path.read_text(encoding="utf-8")
    path.write_text(f"note = 'hums' # a lot\n{text}", encoding="utf-8")
    assert first.keep(log[:2], ()) == ()
    job = load_job(path)
    assert (job.note, job.log) == ("hums", tuple(log[:2]))
    assert "# a lot" in path.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("version", 'flags = ["fan"]\nversion', "changes made by somebody else"),
        ("version", 'meter.dc_input = "1M"\nversion', "changes made by somebody else"),
        ("4.983 V", "4.9 V", "changes made by somebody else"),
        ("dryer.toml", "other.toml", "changes made by somebody else"),
        ("version", 'closed = 2026-05-06\nfound = "R2 drift"\nversion',
         'found a job that was closed on 2026-05-06 as "R2 drift"; allowed: an open job'),
    ],
    ids=["flags", "meter", "reading", "board", "closed"],
)  # fmt: skip
def test_what_changes_the_meaning_of_readings_is_not_built_upon(
    folder: Path, old: str, new: str, told: str
) -> None:
    log = entries(folder)
    path, first, _ = kept_by(folder, log[:2])
    theirs = path.read_text(encoding="utf-8").replace(old, new, 1)
    path.write_text(theirs, encoding="utf-8")
    with pytest.raises(InputError, match=told):
        first.keep(log[:3], ())
    assert path.read_text(encoding="utf-8") == theirs
    path.write_text(theirs.replace(new, old, 1), encoding="utf-8")
    first.keep([*log[:2], log[4]], ())
    assert load_job(path).log == (*log[:2], log[4])


def test_codes_of_the_appliance_are_kept_with_the_flags(folder: Path) -> None:
    made, log = document(folder), entries(folder)
    made.codes = {"sync": "F3", "fan": "F5"}
    made.write(log[:1], ("sync", "fan"))
    assert load_job(made.path).codes == {"sync": "F3", "fan": "F5"}
    made.write(log[:2], ("sync",))
    assert load_job(made.path).codes == {"sync": "F3"}
