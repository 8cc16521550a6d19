"""What is proposed does as well as the original: by the check, on every topology."""

from __future__ import annotations

import pytest

from tests.diagnosis.boards import SUPPRESSED_TEXT, TEXTS, board, controlled, edited
from zcd.board.drawer import parse_drawer, series_drawer
from zcd.board.files import parse_board
from zcd.board.model import Board, Resistor
from zcd.margin.check import nominal_check
from zcd.margin.corners import find_corners
from zcd.margin.population import draw_population
from zcd.margin.rules import RARE_RATIO
from zcd.margin.spread import with_spread
from zcd.margin.tolerances import tolerances_of
from zcd.report.of_substitutes import answer_lines, heading
from zcd.substitutes.compare import near_corners
from zcd.substitutes.proposals import SHOWN, Closeness
from zcd.substitutes.search import (
    CONTACT,
    DRIVE,
    Substitutes,
    replaceable_refs,
    substitutes,
    to_buy,
    usual_drawer,
)

QUICK = "clamped"
"""A chain with a diode across the LED."""


def found_on(of: Board, *refs: str, others: bool = False) -> Substitutes:
    return substitutes(of, series_drawer("E12", "1206"), refs, others=others)


def checks(of: Board) -> bool:
    """What `zcd check` says."""
    return with_spread(nominal_check(of)).passes


def assert_as_good(found: Substitutes) -> None:
    assert checks(found.board) is not bool(found.original.failed)
    for answer in found.answers:
        for proposal in (*answer.proposals, *answer.others):
            assert checks(proposal.board) is proposal.verdict.passes
            assert not proposal.verdict.newly_failed(found.original)
            assert proposal.verdict.passes or found.original.failed
            assert proposal.verdict.passes or proposal.closeness is not Closeness.OTHER


def test_as_many_are_proposed_as_are_shown() -> None:
    """That they pass the check is seen on two boards in `test_one_verdict.py`."""
    found = found_on(board(), "R2", "D1")
    assert not found.original.failed
    assert all(len(answer.proposals) == SHOWN for answer in found.answers)


@pytest.mark.slow
@pytest.mark.parametrize("name", TEXTS)
def test_what_is_proposed_passes_the_check_on_every_topology(name: str) -> None:
    assert_as_good(found_on(board(name), others=True))


def test_a_verdict_says_what_check_says() -> None:
    proposal = found_on(board(), "R2").answers[0].proposals[1]
    checked = nominal_check(proposal.board)
    for ours, theirs in zip(proposal.verdict.rules, checked.rules, strict=True):
        assert ours.name == theirs.name
        assert ours.value == pytest.approx(theirs.value, rel=2e-4, nan_ok=True)
        assert ours.limit == pytest.approx(theirs.limit, nan_ok=True)
    corners = find_corners(proposal.board, tolerances_of(proposal.board))
    ours_at_corners = [rule.passes for rule in proposal.verdict.corner_rules]
    assert ours_at_corners == [bool(margin >= 0.0) for margin in corners.margins]


def test_a_weakness_of_the_original_is_not_blamed_on_the_part() -> None:
    """A limit that no board keeps: the printed value and its like are proposed all the same."""
    weak = controlled('max_offset = "1 us"')
    found = found_on(weak, "R1")
    assert found.original.failed
    (answer,) = found.answers
    assert answer.proposals
    assert all(proposal.verdict.failed for proposal in answer.proposals)
    assert not any(p.verdict.newly_failed(found.original) for p in answer.proposals)


@pytest.mark.parametrize(
    "name",
    [name if name == QUICK else pytest.param(name, marks=pytest.mark.slow) for name in TEXTS],
)
def test_never_fewer_in_series_and_never_beyond_a_rating(name: str) -> None:
    chain = [ref for ref in replaceable_refs(board(name)) if ref.startswith("R")]
    found = found_on(board(name), *chain, others=True)
    for answer in found.answers:
        if answer.kind != "chain":
            continue
        for proposal in (*answer.proposals, *answer.others):
            assert len(proposal.parts) >= len(answer.replaced)
            refs = {part.ref for part in proposal.parts}
            loads = [s for s in proposal.verdict.resistors if s.resistor.ref in refs]
            assert len(loads) == len(refs)
            assert all(load.used_ratio() <= 1.0 for load in loads)


def test_where_the_drawer_has_nothing_it_says_what_to_buy() -> None:
    found = substitutes(board(), parse_drawer('resistors = ["10", "10M"]'))
    for answer in found.answers:
        if answer.kind in {"chain", "pull-up"}:
            assert answer.proposals == ()
            assert to_buy(found.original, answer) == answer.replaced
    assert not found.all_found


@pytest.mark.transcribed("YAGEO-RC", where="1206: 200 V", why="limiting element voltage", rtol=0.0)
def test_an_overloaded_resistor_is_bought_larger() -> None:
    """240 k across 230 V alone: more than the 200 V that a 1206 bears."""
    found = substitutes(edited('["110k", "130k"]', '["240k"]'), parse_drawer('diodes = ["M7"]'))
    (part,) = to_buy(found.original, found.answers[0])
    assert isinstance(part, Resistor)
    assert part.resistance_ohm == 240e3
    assert part.working_v >= 253.0


def test_every_part_in_turn() -> None:
    switched = parse_board(SUPPRESSED_TEXT)
    refs = replaceable_refs(switched)
    assert refs == ("R1", "R2", "OC1", "pull-up", "D1", CONTACT, DRIVE)
    kinds = [answer.kind for answer in found_on(switched).answers]
    assert kinds == ["chain", "optocoupler", "pull-up", "rectifier", "contact"]
    parallel = found_on(board("parallel"), "R1", "R3")
    assert [[p.ref for p in a.replaced] for a in parallel.answers] == [["R1"], ["R3"]]


def test_a_printed_value_whose_size_nobody_wrote_comes_first_in_one_that_bears_its_load() -> None:
    """82 k at 144 V of 150 V is over its limit at the worst corner, if it is a 1/4 W."""
    unsized = 'resistors = ["68k", "82k"]'
    text = TEXTS["half-wave"].replace('style = "1206"\n', "")
    of_unknown_size = parse_board(text.replace('resistors = ["110k", "130k"]', unsized))
    found = substitutes(of_unknown_size, usual_drawer(of_unknown_size), ["R2"]).answers[0]
    (part,) = found.proposals[0].parts
    assert isinstance(part, Resistor)
    assert found.proposals[0].closeness is Closeness.SAME
    assert (part.resistance_ohm, part.style) == (82e3, "1/2 W")


@pytest.mark.usefixtures("all_samples")
def test_boards_near_a_corner_stand_for_the_whole_population() -> None:
    """A corner that few boards reach weighs the same as where all of them are judged."""
    board = parse_board(
        'mains = "230 V 50 Hz"\nrectifier = "1N4007"\noptocoupler = "CNY17-3"\n'
        'chain = {resistors = ["75k", "75k"], style = "1/2 W"}\nled = {resistor = "4k7"}\n'
        'output = {pull_up = "4k7", supply = "5 V"}\n'
    )
    tolerances = tolerances_of(board)
    corners = find_corners(board, tolerances)
    whole = draw_population(board, tolerances)
    missed = ["pin never low", "low time"]
    (near,) = near_corners([(board, corners)], [missed])
    for name in missed:
        share = whole.rule_margins.broken_ratio[name]
        assert 0.0 < share < 0.01
        assert RARE_RATIO < near.rule_margins.broken_ratio[name] <= share
        sure = (each.sure_margins.broken_ratio[name] >= RARE_RATIO for each in (near, whole))
        assert len(set(sure)) == 1


def test_a_size_that_was_not_read_is_taken_for_the_larger_one() -> None:
    """The old part may have been a 1/2 W, which nothing of 1/4 W may stand in for."""
    saw = parse_board(
        'name = "Dunmow T3 tile saw"\nmains = "230 V 50 Hz"\nrectifier = "1N4007"\n'
        'optocoupler = "817C"\nchain = {resistors = ["R8 47k", "R9 47k", "R10 47k"]}\n'
        'output = {pull_up = "10k", supply = "5 V"}\n'
    )
    found = substitutes(saw, usual_drawer(saw), ["R9"])
    (answer,) = found.answers
    assert heading(found, answer) == "In place of R9 47 kΩ (size not read)"
    first, second = answer_lines(found, answer, 2)
    assert first.startswith("47 kΩ 1/2 W: as printed, if the old one was no larger, voltage ")
    assert second.startswith("47 kΩ 1/4 W: as printed, if the old one was no larger, voltage ")
