"""The prompt: a person's lines are readings, or are refused and asked for again."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import pytest

from tests.jobs.demo_job import dictionary
from zcd.diagnosis.expected_readings import ExpectedRange
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meters import OVERLOAD
from zcd.diagnosis.next_reading import Suggestion
from zcd.diagnosis.rank import Diagnosis, diagnose
from zcd.diagnosis.reading_syntax import show_measured
from zcd.diagnosis.readings import AccessLevel, Measured, Reading
from zcd.errors import InputError
from zcd.jobs.conversation import (
    HELP,
    LAST_QUESTION,
    QUESTION,
    Answers,
    Conversation,
    parse_flags,
)

PIN = Reading(function=Function.DC, red="pin", black="logic0")
OHMS = Reading(function=Function.OHM, red="chain.1", black="chain.2")


class Bench:
    """Asks for some readings in turn, answered by lines from a script."""

    def __init__(self, lines: Iterable[str], wanted: Sequence[Reading] = (PIN,)) -> None:
        self.lines = iter(lines)
        self.wanted = wanted
        self.shown: list[Diagnosis] = []
        self.told: list[str] = []
        self.explained: list[tuple[str, str]] = []
        self.questions: list[str] = []
        self.talk = Conversation(Answers(dictionary().circuit), self.diagnose)

    def diagnose(
        self, measured: Sequence[Measured], skipped: Sequence[Reading], flags: Sequence[str]
    ) -> Diagnosis:
        self.flags = flags
        step = len(measured) + len(skipped)
        suggestion = None
        if step < len(self.wanted):
            suggestion = Suggestion(
                reading=self.wanted[step],
                access=AccessLevel.DEAD,
                gain_bits=1.0,
                open_bits=2.0,
                outcomes=(),
                good=ExpectedRange(low=0.0, middle=0.0, high=0.0),
            )
        return Diagnosis(
            measured=tuple(measured), ranked=(), suggestion=suggestion, conclusion=f"step {step}"
        )

    def ask(self, question: str) -> str:
        self.questions.append(question)
        try:
            return next(self.lines)
        except StopIteration:
            raise EOFError from None

    def run(self) -> Diagnosis:
        return self.talk.run(self.shown.append, self.ask, self.told.append, self.explain)

    def explain(self, word: str, diagnosis: Diagnosis) -> None:
        self.explained.append((word, diagnosis.conclusion))


def test_a_value_belongs_to_the_reading_asked_for() -> None:
    bench = Bench(["4.98 V\n"])
    last = bench.run()
    assert bench.talk.answers.measured == [Measured(reading=PIN, value=4.98)]
    assert last.conclusion == "step 1"
    assert [shown.conclusion for shown in bench.shown] == ["step 0", "step 1"]
    assert bench.told == []


@pytest.mark.parametrize("line", ["OL", "ol", "0L", "O.L", "overload", "Open", " OL \n"])
def test_overload_is_a_value(line: str) -> None:
    """In every spelling that a job file may use."""
    bench = Bench([line], [OHMS])
    bench.run()
    assert bench.told == []
    assert bench.talk.answers.measured == [Measured(reading=OHMS, value=OVERLOAD)]


@pytest.mark.parametrize(
    ("line", "function", "nodes", "value"),
    [
        ("ohm R2 43k", Function.OHM, ("chain.1", "chain.2"), 43e3),
        ("dc logic+ logic0 5.02 V", Function.DC, ("logic+", "logic0"), 5.02),
        ("Frequency 50 Hz", Function.FREQUENCY, ("pin", "logic0"), 50.0),
        ("diode D1 OL", Function.DIODE, ("chain.2", "led+"), OVERLOAD),
    ],
)
def test_a_whole_reading_may_be_given_instead(
    line: str, function: Function, nodes: tuple[str, str], value: float
) -> None:
    bench = Bench([line])
    bench.run()
    (result,) = bench.talk.answers.measured
    assert (result.reading.function, result.reading.red, result.reading.black) == (function, *nodes)
    assert result.value == pytest.approx(value)


def test_a_skipped_reading_is_not_measured() -> None:
    bench = Bench(["skip\n", "43k"], [PIN, OHMS])
    bench.run()
    assert bench.talk.answers.skipped == [PIN]
    assert bench.talk.answers.measured == [Measured(reading=OHMS, value=43e3)]


@pytest.mark.parametrize("lines", [["end"], ["END \n"], []], ids=["end", "END", "end of input"])
def test_the_end_leaves_the_last_diagnosis(lines: list[str]) -> None:
    bench = Bench(["4.98 V", *lines], [PIN, OHMS])
    last = bench.run()
    assert last.conclusion == "step 1"
    assert last is bench.shown[-1]
    assert bench.talk.answers.measured == [Measured(reading=PIN, value=4.98)]


def test_once_it_is_settled_enter_ends_it() -> None:
    bench = Bench(["", "never asked"], [])
    assert bench.run().conclusion == "step 0"
    assert bench.questions == [LAST_QUESTION]
    assert next(bench.lines) == "never asked"


@pytest.mark.parametrize("line", ["nothing", "OL", "4.98 V", "skip", "about 5 V"])
def test_a_bare_answer_is_refused_where_nothing_is_asked(line: str) -> None:
    bench = Bench([line], [])
    bench.run()
    assert bench.talk.answers.log == []
    assert len(bench.told) == 1
    assert "no reading is asked for now" in bench.told[0]


def test_nothing_on_ohms_is_told_what_the_display_shows() -> None:
    bench = Bench(["nothing"], [OHMS])
    bench.run()
    assert len(bench.told) == 1
    assert "what the display shows" in bench.told[0]


def test_a_settled_diagnosis_can_be_taken_back() -> None:
    """A slip of the finger that settles it is no end."""
    bench = Bench(["498 V", "undo", "4.98 V", ""])
    bench.run()
    assert bench.talk.answers.measured == [Measured(reading=PIN, value=4.98)]
    question = QUESTION.format(name="DC volts")
    assert bench.questions == [question, LAST_QUESTION, question, LAST_QUESTION]


def test_undo_takes_back_answers_and_skips() -> None:
    bench = Bench(["skip", "43k", "undo", "undo", "undo", "4.98 V"], [PIN, OHMS, PIN])
    bench.run()
    assert bench.talk.answers.log == [Measured(reading=PIN, value=4.98)]
    assert bench.told == ["there is no answer to take back"]


def test_each_answer_is_kept_at_once() -> None:
    bench, kept = Bench(["4.98 V", "skip", "flags sync, fan", "undo"], [PIN, OHMS]), []
    bench.talk.save = lambda log, flags: kept.append((len(log), tuple(flags)))
    bench.run()
    assert kept == [(1, ()), (2, ()), (2, ("sync", "fan")), (2, ())]


def test_undo_goes_back_behind_the_beginning_of_a_conversation() -> None:
    """Flags typed last are taken back first, then what an earlier conversation has left."""
    bench = Bench(["flags sync", "undo", "undo", "undo"], [PIN, OHMS])
    bench.talk.answers.log = [Measured(reading=PIN, value=4.98)]
    bench.run()
    assert (bench.talk.answers.log, bench.talk.answers.flags) == ([], ())
    assert bench.told == ["there is no answer to take back"]


def test_an_answer_that_could_not_be_kept_is_not_counted() -> None:
    bench = Bench(["4.98 V", "end"], [PIN, OHMS])

    def save(log: object, flags: object) -> None:
        raise InputError("job.toml: found changes made by somebody else")

    bench.talk.save = save
    bench.run()
    assert bench.talk.answers.log == []
    assert bench.told == ["job.toml: found changes made by somebody else"]
    assert bench.talk.unkept == bench.told[0]


def test_the_last_answer_says_whether_all_is_kept() -> None:
    """One that could not be kept and was given again is; an unusable line says nothing of it."""
    bench, full = Bench(["4.98 V", "much", "4.98 V", "end"], [PIN, OHMS]), [True, False]

    def save(log: object, flags: object) -> None:
        if full.pop(0):
            raise InputError("job.toml: found a place that cannot be written")

    bench.talk.save = save
    bench.run()
    assert bench.talk.unkept == ""
    assert bench.talk.answers.log == [Measured(reading=PIN, value=4.98)]


def test_an_undo_that_could_not_be_kept_takes_nothing_back() -> None:
    """And the next one takes back the same answer, no other one."""
    bench, kept = Bench(["4.98 V", "150k", "undo", "undo", "end"], [PIN, OHMS]), []

    def save(log: Sequence[object], flags: object) -> None:
        if len(kept) == 2:
            kept.append(-1)
            raise InputError("job.toml: found a place that cannot be written")
        kept.append(len(log))

    bench.talk.save = save
    bench.run()
    assert kept == [1, 2, -1, 1]
    assert bench.talk.answers.log == [Measured(reading=PIN, value=4.98)]


def test_what_others_added_is_not_taken_back() -> None:
    """It stands before the answer with which it was noticed, and stays behind those before."""
    bench, saved = Bench(["4.98 V", "150k", "undo", "undo", "end"], [PIN, OHMS]), []
    theirs = Measured(reading=PIN, value=4.5)

    def save(log: Sequence[Measured], flags: object) -> None:
        saved.append([m.value for m in log])
        if len(saved) == 2:
            bench.talk.answers.join([theirs], [log[0], theirs, *log[1:]])

    bench.talk.save = save
    bench.run()
    assert saved == [[4.98], [4.98, 150e3], [4.98, 4.5], [4.5]]
    assert bench.talk.answers.log == [theirs]


@pytest.mark.parametrize("line", ["flags", "flags door", "flags none sync"])
def test_flags_that_there_are_not(line: str) -> None:
    bench = Bench([line])
    bench.run()
    assert "allowed: sync, fan, or none alone" in bench.told[0]


@pytest.mark.parametrize(
    ("line", "shown"),
    [
        ("about 4.9", "about 4.9 V"),
        ("4.5..4.9 V", "4.5 V to 4.9 V"),
        ("4 to 5", "4 V to 5 V"),
        ("< 5 V", "under 5 V"),
        ("over 3", "over 3 V"),
        ("nothing", "nothing"),
        ("unstable", "unstable"),
    ],
)
def test_what_a_person_says(line: str, shown: str) -> None:
    bench = Bench([line])
    bench.run()
    assert [show_measured(m) for m in bench.talk.answers.measured] == [shown]


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        ("much", 'found "much"; allowed: DC volts'),
        ("4.98 A", 'found "4.98 A"; allowed: DC volts'),
        ("1,234 V", "may be thousands: use a point"),
        ("nan", 'found "nan"'),
        ("ohm R9 43k", "R9"),
        ("dc pin line 3", "same side of the optocoupler"),
        ("OL", 'found "OL"; allowed: DC volts'),
    ],
)
def test_a_bad_line_is_told_and_asked_again(line: str, problem: str) -> None:
    """In one line; the diagnosis is not shown again, and nothing of the line is kept."""
    bench = Bench([line, "4.98 V"])
    bench.run()
    (told,) = bench.told
    assert problem in told
    assert "\n" not in told
    assert bench.talk.answers.measured == [Measured(reading=PIN, value=4.98)]
    assert len(bench.shown) == 2


def test_readings_from_before_are_kept() -> None:
    bench = Bench(["43k"], [PIN, OHMS])
    bench.talk.answers.log.append(Measured(reading=PIN, value=4.98))
    last = bench.run()
    assert [m.reading for m in last.measured] == [PIN, OHMS]


@pytest.mark.parametrize("word", ["", "?", "help", "more", "FULL"])
def test_a_word_for_more_is_explained_and_answers_nothing(word: str) -> None:
    bench = Bench([word, "4.98 V"])
    bench.run()
    assert bench.explained == [(word.lower(), "step 0")]
    assert bench.told == []
    assert len(bench.talk.answers.log) == 1


def test_help_names_the_words_that_it_knows() -> None:
    for word in ('"skip"', '"end"', '"OL"'):
        assert word in HELP


def test_suggestions_followed_at_the_prompt_find_the_fault() -> None:
    """R2 open, by what a meter then shows, until nothing is asked any more."""
    key = [fault.key for fault in dictionary().faults].index("R2 open")
    talk = Conversation(
        Answers(dictionary().circuit),
        lambda taken, skipped, flags: diagnose(dictionary(), taken, skipped, None, flags),
    )
    shown: list[Diagnosis] = []

    def ask(question: str) -> str:
        suggestion = shown[-1].suggestion
        if suggestion is None:
            return ""
        value = dictionary().by_fault(dictionary().predictions(suggestion.reading))[key][1]
        percent = suggestion.reading.function is Function.DUTY
        return "OL" if value == OVERLOAD else f"{100 * value} %" if percent else f"{value}"

    last = talk.run(shown.append, ask, pytest.fail, pytest.fail)
    assert last.suggestion is None
    assert last.ranked[0].key == "R2 open"
    assert len(talk.answers.measured) < len(dictionary().readings)


def test_a_flag_is_told_with_the_code_that_the_appliance_shows() -> None:
    assert parse_flags(["sync=F3,", "fan"]) == (("sync", "fan"), {"sync": "F3"})
    assert parse_flags(["f3"], {"sync": "F3"})[0] == ("sync",)
    for words in (
        ["motor=F3"],
        ["sync="],
        ["none=F0"],
        ["sync=F3", "sync=F4"],
        ["sync=" + "F" * 80],
    ):
        with pytest.raises(InputError, match="flags"):
            parse_flags(words)
