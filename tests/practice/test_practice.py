"""Practice: what is hidden, what the bench shows, which steps are dangerous, what is said after."""

from __future__ import annotations

import io
import json
import re
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from zcd.board.model import Board, Topology
from zcd.circuit.build import build_circuit
from zcd.cli import main
from zcd.diagnosis.fault_dictionary import make_fault_dictionary
from zcd.diagnosis.faults import REPLACED, Fault
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import OVERLOAD, usual_meter
from zcd.diagnosis.rank import Ranked
from zcd.diagnosis.reading_syntax import parse_place
from zcd.diagnosis.readings import AccessLevel, Power, Reading
from zcd.diagnosis.samples import bench_tolerances
from zcd.errors import InputError
from zcd.margin.tolerances import draw
from zcd.practice.bench import READING_S, TAP_S, Bench, Danger, shown_value
from zcd.practice.exercise import LEVELS, MOST_SEED, Exercise, example_board, make_exercise
from zcd.practice.record import add_to_record, summaries
from zcd.practice.review import Expert, Review, is_meant, review
from zcd.practice.session import Session, reading_text
from zcd.report.of_practice import review_document

BOARDS = range(0, MOST_SEED, len(Topology))
"""Seeds with which the command takes the half-wave example."""
R1 = Reading(function=Function.OHM, red="feed", black="chain.1")
R2 = Reading(function=Function.OHM, red="chain.1", black="chain.2")
SOCKET = Reading(function=Function.AC, red="line", black="neutral")


@cache
def board(topology: Topology = Topology.HALF_WAVE) -> Board:
    return example_board(list(Topology).index(topology))


@cache
def drawn(level: int, seed: int) -> Exercise:
    return make_exercise(board(), usual_meter(), level, seed)


@cache
def exercise() -> Exercise:
    """The first one that hides an open transistor."""
    return next(e for e in (drawn(1, s) for s in BOARDS) if e.fault.key == "OC1 transistor open")


@cache
def expert() -> Expert:
    dictionary = make_fault_dictionary(board(), usual_meter(), stored=True)
    return Expert(exercise(), dictionary)


@cache
def _expert_of_all_samples() -> Expert:
    return Expert(exercise(), make_fault_dictionary(board(), usual_meter(), stored=True))


@cache
def reviewed() -> Review:
    """What is said to somebody who has looked at nothing."""
    return review(Bench(exercise()), expert(), found=False, named=(), wrong=0, hints=0)


def nobody() -> Expert:
    raise AssertionError("the expert is not asked")


@pytest.mark.parametrize("topology", Topology)
@pytest.mark.parametrize("level", LEVELS)
def test_each_level_hides_what_it_says(topology: Topology, level: int) -> None:
    made = make_exercise(board(topology), usual_meter(), level, seed=level)
    fault = made.fault
    assert made.flags != ("none",)
    assert all(circuit.size == 1 for circuit in made.states)
    if level <= 2:
        assert fault.mode in REPLACED[fault.kind]
    if level == 1:
        assert fault.mode in ("open", "short")
    if level == 4:
        assert fault.amount is not None
    single = not (fault.states or fault.members)
    assert single or level == 5


def test_the_same_seed_makes_the_same_exercise() -> None:
    bench, again = (Bench(make_exercise(board(), usual_meter(), 3, 8)) for _ in range(2))
    for each in (bench, again):
        each.prove_dead()
        each.take(R1)
    assert bench.exercise.fault.key == again.exercise.fault.key
    assert bench.measured == again.measured


@pytest.mark.parametrize(("level", "seed"), [(0, 1), (6, 1), (1, -1), (1, MOST_SEED + 1)])
def test_no_such_exercise(level: int, seed: int) -> None:
    with pytest.raises(InputError, match=r"^(level|seed): found"):
        make_exercise(board(), usual_meter(), level, seed)


@pytest.mark.parametrize("option", ["--level", "--seed"])
@pytest.mark.parametrize("value", ["x", "1.5", "-1", "1000000", "", "1e3"])
def test_what_is_no_level_or_seed_is_told_in_a_line(
    option: str, value: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["practice", option, value]) == 2
    told = capsys.readouterr().err
    assert told.startswith(f"zcd: {option}: found ")
    assert told.count("\n") == 1


def test_a_part_of_many_pieces_is_asked_which() -> None:
    with pytest.raises(InputError, match=r"K1\.coil, K1\.driver, K1\.contact"):
        Session(exercise(), nobody).say("ohm K1")


def test_the_meter_shows_what_the_engine_says() -> None:
    """Within three of its errors, for every reading of the board that is there."""
    bench = Bench(exercise())
    exact = MeterModel(board(), exercise().states[0], usual_meter()).read([R1])[0, 0]
    bench.prove_dead()
    (shown,) = {m.value for m in [bench.take(R1)] if m is not None}
    assert shown == pytest.approx(exact, rel=0.05)


def test_a_display_has_steps() -> None:
    """6,000 counts: 226.7 V stands on the range of 600.0 V, and 9.9 Mohm beyond 6 Mohm is OL."""
    meter = replace(usual_meter(), counts=6000.0, ohm_range_ohm=6e6)
    for off in (-1.0, 0.0, 0.3, 1.0):
        volts = shown_value(226.66, Function.AC, meter, off=off)
        assert round(volts * 10) == pytest.approx(volts * 10, abs=1e-6)
        assert volts == pytest.approx(226.66 * (1.0 + off * meter.ac_accuracy_ratio), abs=0.05)
    assert shown_value(9.9e6, Function.OHM, meter) == OVERLOAD
    assert shown_value(OVERLOAD, Function.OHM, meter) == OVERLOAD
    assert shown_value(0.0, Function.DUTY, meter, off=1.0, counts=1) == 0.0


def test_a_reading_taken_again_differs_by_its_last_digit_alone() -> None:
    """What a meter is off, it is off each time: only a joint that opens makes it jump."""
    bench = Bench(exercise())
    bench.plug_in()
    pin = Reading(function=Function.DC, red="pin", black="logic0")
    shown = [m.value for m in (bench.take(pin) for _ in range(20)) if m is not None]
    step = min(s for s in usual_meter().volt_ranges_v if s >= max(shown)) / usual_meter().counts
    assert 0.0 < max(shown) - min(shown) < 2.5 * step


def test_a_good_board_reads_as_the_review_says_of_one() -> None:
    """49 readings of 50, on boards drawn over all that is unknown."""
    unknown = bench_tolerances(board())
    shares = np.random.default_rng(5).random((20, len(unknown)))
    model = MeterModel(board(), draw(board(), unknown, shares).circuit, usual_meter())
    inside: list[bool] = []
    for reading in expert().dictionary.readings:
        good = expert().good(reading)
        inside += [good.low <= value <= good.high for value in model.read([reading])[:, 0]]
    assert np.mean(inside) > 0.98


@pytest.mark.usefixtures("all_samples")
@pytest.mark.parametrize("seed", BOARDS[:6])
def test_a_good_part_reads_in_an_exercise_as_the_review_says_of_one(seed: int) -> None:
    """Every unplugged reading of the board on the bench, the fault not in it."""
    made, expert = drawn(3, seed), _expert_of_all_samples()
    bench = Bench(replace(made, states=(made.drawn,)))
    bench.prove_dead()
    for reading in expert.dictionary.readings:
        if reading.power is Power.DEAD:
            shown, good = bench.take(reading), expert.good(reading)
            assert shown is not None
            assert good.low <= shown.value <= good.high, reading.words


def test_dangerous_steps_are_kept() -> None:
    bench = Bench(exercise())
    assert bench.take(SOCKET) is None
    assert bench.dangers == []
    assert bench.take(R1) is not None
    assert bench.dangers == [Danger.NOT_PROVED]
    bench.plug_in()
    assert not bench.prove_dead()
    assert bench.take(R1) is None
    assert bench.take(replace(R1, lifted="R1")) is None
    assert (
        bench.take(Reading(function=Function.DC, red="pin", black="logic0", power=Power.BENCH))
        is None
    )
    assert bench.dangers[1:] == [Danger.OHMS_LIVE, Danger.LIFTED_LIVE, Danger.PLUGGED_TWICE]
    assert bench.take(SOCKET) is not None
    bench.unplug()
    assert bench.prove_dead()
    assert bench.take(R1) is not None
    assert len(bench.dangers) == 4
    assert len(bench.measured) == 3


def test_plugging_in_takes_the_proof_away() -> None:
    bench = Bench(exercise())
    assert bench.prove_dead()
    bench.plug_in()
    bench.unplug()
    assert not bench.proved


def test_work_takes_time_and_a_hint_more() -> None:
    session = Session(exercise(), expert)
    session.say("prove dead")
    after_proof = session.bench.seconds
    session.say("ohm R1")
    assert session.bench.seconds == after_proof + 20.0
    (hint,) = session.say("hint")
    assert hint.startswith("Hint: unplugged and proved dead, measure ")
    assert (session.hints, session.bench.seconds) == (1, after_proof + 320.0)
    assert session.say("hint") == [hint]
    assert (session.hints, session.bench.seconds) == (1, after_proof + 320.0)


@pytest.mark.parametrize("name", ["OC1", "oc1", "OC1 transistor", "OC1 transistor open"])
def test_the_part_is_enough(name: str) -> None:
    session = Session(exercise(), nobody)
    (no,) = session.say("found R1 open")
    assert no.startswith("No, not R1 open: ten minutes")
    assert not session.over
    assert session.bench.seconds == 600.0
    session.say(f"found {name}")
    assert session.found
    assert session.over


def test_both_of_two_faults_are_asked_for() -> None:
    made = next(e for e in (drawn(5, s) for s in range(99)) if e.fault.members)
    first, second = made.fault.members
    session = Session(made, nobody)
    (told,) = session.say(f"found {first}")
    assert told.startswith(f"Yes, {first}: mended. That is not all")
    assert not session.over
    session.say(f"found {second}")
    assert session.found


def test_the_first_of_two_faults_that_is_found_is_mended() -> None:
    keys = ("R1 open", "R2 open")
    both = [fault for fault in expert().dictionary.faults if fault.key in keys]
    made = exercise().left_with(both)
    session = Session(replace(made, fault=replace(made.fault, members=keys)), expert)
    session.say("prove dead")
    (before,) = session.say("ohm R1")
    session.say("found R1")
    assert not session.bench.proved
    session.say("prove dead")
    (after,) = session.say("ohm R1")
    (other,) = session.say("ohm R2")
    assert (before, after.endswith("kΩ"), other) == ("ohm R1: OL", True, "ohm R2: OL")
    assert [m.reading for m in session.bench.measured] == [R1, R2]
    steps = expert().steps(session.bench.taken)
    assert "R2" in steps[-1].left
    assert "Half found: it was" in str(review_document(session.review(), full=False))


def test_a_loose_joint_shows_now_the_one_now_the_other() -> None:
    made = next(e for e in (drawn(5, s) for s in range(99)) if len(e.states) > 1)
    sound, loose = made.states
    bench = Bench(made)
    bench.plug_in()
    pin = Reading(function=Function.LOW_TIME, red="pin", black="logic0")
    exact = [MeterModel(board(), c, usual_meter()).read([pin])[0, 0] for c in (sound, loose)]
    shown = [m.value for m in (bench.take(pin) for _ in range(20)) if m is not None]
    nearest = {int(abs(value - exact[1]) < abs(value - exact[0])) for value in shown}
    assert nearest == {0, 1}


def test_a_tapped_board_shows_a_loose_joint_at_once() -> None:
    """Whichever state it is in; a sound board does not jump, and the time is counted."""
    loose = next(e for e in (drawn(5, s) for s in range(99)) if len(e.states) > 1)
    for made, jumps in ((loose, True), (exercise(), False)):
        session = Session(made, nobody)
        session.say("plug in")
        before = session.bench.seconds
        (answer,) = session.say("tap dc pin")
        assert answer.endswith("unstable") is jumps
        assert session.bench.taken[-1].measured.unstable is jumps
        assert session.bench.seconds - before == READING_S[AccessLevel.ISOLATED] + TAP_S
        assert session.say("dc pin tapped")[0].endswith("unstable") is jumps


@pytest.mark.parametrize("count", [3, pytest.param(6, marks=pytest.mark.slow)])
@pytest.mark.usefixtures("all_samples")
def test_the_expert_taps_before_a_loose_joint_is_taken_for_steady(count: int) -> None:
    """All but one; a joint of the mains side that is open may read as another fault."""
    found: list[bool] = []
    at_the_bench = expert.__wrapped__()  # of all samples, which the others have not
    for seed in range(60):
        made = drawn.__wrapped__(5, seed)
        if len(made.states) > 1 and not made.fault.reports and len(found) < count:
            way, _ = replace(at_the_bench, exercise=made).way()
            found.append(any(each.measured.unstable for each in way.taken))
            assert sum(each.tapped for each in way.taken) >= 1
    assert len(found) == count
    assert sum(found) >= count - 1


@pytest.mark.parametrize("line", ["ohm R99", "volts", "found", "found R99", "ohm pin line"])
def test_what_cannot_be_is_told_and_changes_nothing(line: str) -> None:
    session = Session(exercise(), nobody)
    with pytest.raises(InputError):
        session.say(line)
    assert (session.bench.seconds, session.named, session.bench.dangers) == (0.0, [], [])


def test_the_expert_finds_most_without_danger() -> None:
    """Four of the first five: a fault may look like another on a board at the end of its spread."""
    right = 0
    for seed in list(BOARDS)[:5]:
        looked = review(
            Bench(drawn(1, seed)), replace(expert(), exercise=drawn(1, seed)),
            found=False, named=(), wrong=0, hints=0,
        )  # fmt: skip
        assert not any(step.taken.dangers for step in looked.expert)
        right += looked.expert_right
    assert right >= 4


@pytest.mark.parametrize(
    ("keys", "right", "words"),
    [
        (("OC1 transistor open",), True, "So: OC1 transistor open."),
        (("OC1 aged",), True, "So it is OC1, whichever way it failed."),
        (("OC1 transistor short", "pin stuck low"), True, "No reading here tells these apart."),
        (("R1 open",), False, "The readings point to R1 open. That is wrong here"),
        ((), False, "No single fault explains these readings: look for two."),
    ],
)
def test_how_the_expert_ends(keys: tuple[str, ...], right: bool, words: str) -> None:
    faults = {fault.key: fault for fault in expert().dictionary.faults}
    ended = replace(reviewed(), expert_found=tuple(faults[key] for key in keys), expert_right=right)
    document = review_document(ended, full=False)
    assert words in str(document.sections[2].blocks)


@pytest.mark.parametrize("topology", Topology)
def test_a_reading_as_it_is_printed_may_be_typed(topology: Topology) -> None:
    """All that the diagnosis may suggest, as a hint prints it."""
    circuit = build_circuit(board(topology))
    dictionary = make_fault_dictionary(board(topology), usual_meter(), stored=True)
    for reading in dictionary.readings:
        assert parse_place(reading_text(reading, circuit), circuit) == reading


def test_the_reading_that_tells_two_apart_is_named() -> None:
    """A leak at the pin or in the transistor: which, shows the transistor with an end lifted."""
    faults = {fault.key: fault for fault in expert().dictionary.faults}
    leaks = [faults[key] for key in ("pin leaky", "OC1 transistor leaky")]
    hidden = replace(drawn(3, 0).left_with([leaks[0]]), fault=leaks[0], severity=0.5)
    known = replace(expert(), exercise=hidden)
    bench = Bench(hidden)
    bench.prove_dead()
    for place in ("ohm OC1", "ohm pull-up"):
        bench.take(parse_place(place, known.dictionary.circuit))
    diagnosis = known.diagnosis(bench.measured)
    named = replace(diagnosis, indistinguishable=tuple(map(ranked_of, leaks)))
    apart = known.apart(named)
    assert apart is not None
    assert reading_text(apart, known.dictionary.circuit) == "ohm OC1 lifted"
    ended = replace(reviewed(), expert_found=tuple(leaks), expert_right=True, apart=apart)
    assert "To tell these apart: ohm OC1 lifted." in str(review_document(ended, full=False))


def test_a_name_that_was_wrong_costs_once() -> None:
    session = Session(exercise(), nobody)
    session.say("found R1")
    assert session.say("found R1") == ["You have named R1 before."]
    assert (session.wrong, session.bench.seconds) == (1, 600.0)


def test_one_part_may_be_both_of_two_faults() -> None:
    made = replace(
        exercise(), fault=replace(exercise().fault, members=("OC1 aged", "OC1 LED open"))
    )
    session = Session(made, nobody)
    session.say("found OC1")
    assert session.found


def test_what_lies_behind_a_good_circuit_counts_as_one() -> None:
    """Of drive and fan no reading of this bench is taken."""
    faults = {fault.key: fault for fault in expert().dictionary.faults}
    assert is_meant([faults["drive not firing"]], faults["fan not turning"])
    assert not is_meant([faults["controller input dead"]], faults["fan not turning"])


def test_a_reading_of_a_good_part_rules_it_out() -> None:
    bench = Bench(exercise())
    bench.prove_dead()
    bench.take(R1)
    bench.plug_in()
    bench.take(SOCKET)
    looked = review(bench, expert(), found=False, named=(), wrong=0, hints=0)
    good, live = looked.steps
    assert "R1" in good.ruled_out
    assert live.ruled_out == ()  # a controller that reports an error has its mains
    assert live.instead is not None
    assert live.instead.power is Power.DEAD
    assert looked.dangers == (Danger.NEEDLESS,)


@pytest.mark.parametrize("flags", [("fan",), ("sync", "fan")])
def test_the_mains_is_measured_first_where_the_fan_alone_is_reported(flags: tuple[str]) -> None:
    """With a sync error it is not: the controller that reports one has its mains."""
    made = drawn(4, 0)
    hidden = replace(made, story=replace(made.story, flags=dict.fromkeys(flags, 1.0)))
    bench = Bench(hidden)
    bench.plug_in()
    bench.take(SOCKET)
    (step,) = replace(expert(), exercise=hidden).steps(bench.taken)
    assert (step.instead is None) is (flags == ("fan",))


def test_the_expert_looks_for_what_the_level_hides() -> None:
    """No reversed part among those that are open or shorted, and nothing is tapped there."""
    for level in (1, 5):
        made = replace(exercise(), level=level)
        ranked = replace(expert(), exercise=made).diagnosis(()).ranked
        share = {each.key: each.probability for each in ranked}
        assert (share["OC1 reversed"] > 0.001) is (level == 5)
        assert (share["R1 open"] > 0.001) is (level == 1)
    way, _ = expert().way()
    assert not any(each.tapped for each in way.taken)
    told = Session(exercise(), nobody).say("points")[-1]
    assert "R1" in told
    assert "mains" not in told


def test_the_expert_does_not_tap_on_live_mains_where_an_unplugged_reading_tells() -> None:
    made = next(
        e for e in (drawn(5, s) for s in range(99)) if e.fault.key == "K1 coil intermittent"
    )
    way, diagnosis = replace(expert(), exercise=made).way()
    assert diagnosis.ranked[0].fault == made.fault
    assert not any(t.tapped and t.access is AccessLevel.MAINS for t in way.taken)


def test_a_record_is_kept_and_summed_up(tmp_path: Path) -> None:
    path = tmp_path / "class.jsonl"
    first = {"level": 2, "found": True, "readings": 4, "hints": 0, "seconds": 300, "dangers": {}}
    second = {**first, "found": False, "readings": 9, "hints": 2, "dangers": {"x": 3}}
    add_to_record(path, first)
    path.write_bytes(path.read_bytes().rstrip(b"\n"))  # as many editors leave it
    add_to_record(path, second)
    (summary,) = summaries(path)
    assert (summary.exercises, summary.found, summary.dangers) == (2, 1, 3)
    assert summary.mean_readings == 6.5


@pytest.mark.parametrize(
    "text", ["{", "[]", '{"level": "2"}', "[" * 100_000, '{"level": true}', "\xff"]
)
def test_a_broken_record_is_told_and_left_alone(
    text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "class.jsonl"
    path.write_bytes(text.encode("latin-1"))
    assert main(["practice", "--seed", str(exercise().seed), "--record", str(path)]) == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert "class.jsonl, line 1: found no " in told
    with pytest.raises(InputError):
        add_to_record(path, {})
    assert path.read_bytes() == text.encode("latin-1")


def test_an_exercise_from_the_command_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "class.jsonl"
    typed = "prove dead\nohm R1\nnonsense\npoints\nso far\nfound OC1\n"
    monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
    assert main(["practice", "--seed", str(exercise().seed), "--record", str(path)]) == 0
    out, err = capsys.readouterr()
    assert err.startswith('zcd: found "nonsense"')
    circuit = " ".join(out.split())
    assert re.search(r"R1 [0-9.]+ kΩ \((line|feed) to R1/R2\)", circuit)
    mains, isolated = circuit.partition("Points of the mains side: ")[2].split(
        "Points of the isolated side: "
    )
    assert "neutral" in mains
    assert "pin" not in mains
    assert "pin" in isolated.partition(".")[0]
    answer = out.rpartition("> ")[2].strip().splitlines()
    assert answer[0] == f"Exercise 1-{exercise().seed}"
    assert "Found: it was OC1 transistor open." in answer
    assert len(answer) <= 25
    assert max(map(len, out.splitlines())) <= 80
    (line,) = path.read_text(encoding="utf-8").splitlines()
    record = json.loads(line)
    assert (record["found"], record["fault"]) == (True, "OC1 transistor open")
    assert main(["practice", "--summary", str(path)]) == 0
    assert "1 of 1" in capsys.readouterr().out


@pytest.mark.parametrize("word", ["relay", "Opto", "optocoupler"])
def test_a_part_is_named_by_the_word_of_the_trade(word: str) -> None:
    hidden = exercise()
    session = Session(hidden, lambda: pytest.fail("not asked"))
    session.say(f"found {word}")
    assert session.found is (word != "relay")


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("LED", "diode led+ led-"),
        ("diode the LED", "diode led+ led-"),
        ("ohm coil", "ohm K1.coil"),
        ("the relay coil", "ohm K1.coil"),
        ("ohm contact", "ohm K1.contact"),
        ("measure R1", "ohm R1"),
        ("check the pull up", "ohm pull-up"),
        ("ohm feed to neutral", "ohm feed neutral"),
    ],
)
def test_a_reading_in_words_of_the_trade(typed: str, meant: str) -> None:
    taken = []
    for line in (typed, meant):
        session = Session(exercise(), nobody)
        session.say(line)
        taken.append(session.bench.taken[0].measured.reading)
    assert taken[0] == taken[1]


@pytest.mark.parametrize(
    ("typed", "key"),
    [
        ("found the LED", "OC1 LED open"),
        ("LED open", "OC1 LED open"),
        ("found the relay coil", "K1 coil open"),
        ("contact open", "K1 contact open"),
        ("found R1 broken", "R1 open"),
        ("R1 is open", "R1 open"),
        ("found pull up", "pull-up open"),
        ("found the motor", "fan not turning"),
        ("found triac", "drive not firing"),
    ],
)
def test_a_fault_in_words_of_the_trade(typed: str, key: str) -> None:
    fault = next(f for f in expert().dictionary.faults if f.key == key)
    session = Session(replace(exercise(), fault=fault), nobody)
    session.say(typed)
    assert session.found


def test_a_pair_that_is_named_is_right() -> None:
    """Both at once, as the diagnosis names two faults."""
    pair = next(f for f in expert().dictionary.faults if len(f.members) == 2)
    hidden = replace(exercise(), fault=pair)
    known = expert().dictionary
    diagnosis = replace(
        replace(expert(), exercise=hidden).diagnosis(()), indistinguishable=(ranked_of(pair),)
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Expert, "way", lambda self: (Bench(hidden), diagnosis))
        looked = review(
            Bench(hidden), Expert(hidden, known), found=False, named=(), wrong=0, hints=0
        )
    assert looked.expert_right


def ranked_of(fault: Fault) -> Ranked:
    """A fault as the only answer."""
    return Ranked(fault=fault, probability=1.0, amount=None)


def test_what_was_tapped_is_said() -> None:
    session = Session(exercise(), nobody)
    assert session.say("tap ohm R1")[-1].startswith("ohm R1 tapped: ")
    assert session.say("so far") == session.say("so far")
    assert session.say("so far")[0].startswith("ohm R1 tapped: ")


def test_a_part_that_was_replaced_for_nothing_leaves_the_board_unplugged() -> None:
    session = Session(exercise(), nobody)
    session.say("plug in")
    (answer,) = session.say("found R1")
    assert "unplugged, not proved dead" in answer
    assert (session.bench.plugged, session.bench.proved) == (False, False)


@pytest.mark.parametrize("typed", ["found K1 joints", "found K1.coil", "found K1 loose joint"])
def test_a_name_as_the_program_prints_it(typed: str) -> None:
    fault = next(f for f in expert().dictionary.faults if f.key == "K1 coil intermittent")
    session = Session(replace(exercise(), fault=fault), nobody)
    session.say(typed)
    assert session.found


@pytest.mark.parametrize(("typed", "plugged"), [("power on", True), ("switch off", False)])
def test_an_order_in_other_words(typed: str, plugged: bool) -> None:
    session = Session(exercise(), nobody)
    session.bench.plugged = not plugged
    session.say(typed)
    assert session.bench.plugged is plugged


@pytest.mark.parametrize(
    "typed",
    ["optocoupler", "relay off", "relay", "resistor", "fuse", "capacitor", "5V", "why", "it is R1",
     "replace R1", "continuity R1", "voltage at pin", "tap", "tap the board"],
)  # fmt: skip
def test_a_word_that_says_too_little_gets_what_to_type(typed: str) -> None:
    session = Session(exercise(), nobody)
    with pytest.raises(
        InputError, match=r'allowed: a reading \("ohm R1", "dc pin"\), "found R1"'
    ) as told:
        session.say(typed)
    assert "\n" not in str(told.value)
    assert not session.bench.taken


def test_who_leaves_is_told_what_it_was(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("give up\n"))
    assert main(["practice", "--seed", str(exercise().seed), "--full"]) == 0
    out = capsys.readouterr().out
    assert "Not found: it was OC1 transistor open." in out
    assert "You took none." in out
    assert "How the errors came about" in out


def test_a_summary_as_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "class.jsonl"
    path.write_text("", encoding="utf-8")
    assert main(["practice", "--summary", str(path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["levels"] == []
    assert main(["practice", "--json"]) == 2
    assert "--summary FILE" in capsys.readouterr().err


def test_where_the_fan_is_at_fault_what_is_behind_it_is_named() -> None:
    """Its tacho is silent while it turns: "fan not turning" would be wrong."""
    exercise = make_exercise(example_board(15), usual_meter(), 5, 15)
    assert exercise.fault.key == "fan not turning"
    assert exercise.story.speed_rpm.max() > 0.0
    assert exercise.hidden == "tacho lost"
