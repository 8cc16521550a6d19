"""What `zcd substitute` says: one screen, in the words of the trade, and what it claims is so."""

from __future__ import annotations

from functools import cache

import pytest

from tests.diagnosis.boards import SUPPRESSED_TEXT, TEXTS, board, edited
from zcd import api
from zcd.board.drawer import parse_drawer, series_drawer
from zcd.board.files import parse_board
from zcd.board.model import Board, Optocoupler, Resistor
from zcd.report.document import BulletList
from zcd.report.of_check_answer import culprit_lines
from zcd.report.of_substitutes import (
    answer_lines,
    buy_line,
    heading,
    load_line,
    low_times_s,
    original_line,
    others_over_line,
    pads_line,
    passed_over_line,
    proposal_line,
    used_ratio,
)
from zcd.report.of_substitutes_document import brief_document, replacements_document
from zcd.report.terminal import document_text
from zcd.simulation.drive_parts import Replacements
from zcd.substitutes.proposals import Closeness

E12 = series_drawer("E12", "1206")


@cache
def on(name: str) -> Replacements:
    return api.substitute(board(name), E12)


def asked(of: Board, ref: str, text: str, *, others: bool = False) -> Replacements:
    return api.substitute(of, parse_drawer(text), refs=[ref], others=others)


@pytest.mark.parametrize(
    "name", ["half-wave", *(pytest.param(n, marks=pytest.mark.slow) for n in TEXTS)]
)
def test_the_answer_is_one_screen(name: str) -> None:
    """25 lines of 80 columns, each proposal in one; a line on the original may take two."""
    document = brief_document(on(name))
    told = document_text(document)
    assert len(told.splitlines()) <= 24
    (section,) = document.sections
    listed = [line for b in section.blocks if isinstance(b, BulletList) for line in b.lines]
    assert len(listed) > 3
    # behind a mark of three columns
    assert max(map(len, listed)) <= 77
    assert "CAUTION" in told


def test_a_switched_board_whose_original_fails_is_one_screen_too() -> None:
    text = SUPPRESSED_TEXT.replace('["110k", "130k"]', '["240k"]')
    result = api.substitute(parse_board(text), E12)
    told = document_text(brief_document(result))
    assert len(told.splitlines()) <= 25
    assert "R1 is too small for this chain (1206 taken as 250 mW, 200 V)" in told
    assert "If you fit a different part: zcd new --like BOARD repaired.toml" in told
    assert "Load relay" in told


def test_the_line_of_a_chain_says_what_changes() -> None:
    """68 + 62 = 130; load of 2 x 82 in place of 130 beside 110: total (110 + 164) / 240."""
    result = asked(
        board(), "R2", 'resistors = [{values = ["130k", "68k", "62k", "82k"], style = "1206"}]',
        others=True,
    )  # fmt: skip
    (answer,) = result.found.answers
    lines = [proposal_line(result.found, answer, each) for each in answer.proposals]
    assert heading(result.found, answer) == "In place of R2 130 kΩ 1206"
    assert lines[0].startswith("130 kΩ 1206: as printed, same rating, voltage ")
    assert lines[0].endswith("(as before)")
    assert lines[1].startswith("68 kΩ + 62 kΩ, each 1206: chain unchanged, voltage ")
    others = [proposal_line(result.found, answer, each) for each in answer.others]
    assert any(line.startswith("2 x 82 kΩ, each 1206: chain +14.2 %, voltage ") for line in others)


def test_only_the_loads_that_are_listed_are_explained() -> None:
    """In a chain of four small values power is nearest to its limit, voltage in none of them."""
    text = TEXTS["half-wave"].replace('["110k", "130k"]', '["27k", "27k", "27k", "27k"]')
    result = api.substitute(parse_board(text), E12, refs=["R2"])
    told = " ".join(document_text(brief_document(result)).split())
    assert ", power " in told
    assert "power: worst case of the new parts. Rated: " in told
    assert "voltage" not in told


@pytest.mark.parametrize(
    "name", ["half-wave", *(pytest.param(n, marks=pytest.mark.slow) for n in ("bridge", "two-led"))]
)
def test_what_the_lines_claim_is_so_in_the_simulation(name: str) -> None:
    """No part harder where none is claimed; pulses within the original's where that is claimed."""
    found = on(name).found
    for answer in found.answers:
        for proposal in answer.proposals:
            if answer.kind == "chain" and proposal.closeness is Closeness.LIKE:
                now = used_ratio(proposal.verdict, proposal.parts)
                before = used_ratio(found.original, answer.replaced)
                # tolerances of the new parts may be wider: E12 is 10 %
                assert now <= 1.06 * before
            if answer.kind == "optocoupler" and proposal.closeness is Closeness.LIKE:
                (low_s, high_s), (was_low_s, was_high_s) = (
                    low_times_s(verdict) for verdict in (proposal.verdict, found.original)
                )
                assert low_s >= was_low_s - 0.15e-3
                assert high_s <= was_high_s + 0.15e-3


def test_pins_and_isolation_of_another_family_are_told() -> None:
    """TLP291: SO4 and 3750 V; 817: DIP-4 and 5000 V (their data sheets)."""
    patient = TEXTS["half-wave"].replace("817C", "817AC") + '[controller]\nmax_offset = "5 ms"\n'
    drawer = 'optocouplers = ["TLP291GB", "TLP785BLL", "814A"]'
    result = asked(parse_board(patient), "OC1", drawer, others=True)
    (answer,) = result.found.answers
    by_family = {
        part.family: proposal_line(result.found, answer, each)
        for each in (*answer.proposals, *answer.others)
        for part in each.parts
        if isinstance(part, Optocoupler)
    }
    assert by_family["785"] == (
        "TLP785BLL: pulse within the original's range; DIP-4, compare pin-outs"
    )
    assert "isolation 3.75 kV (original's 5 kV); SO4, not DIP-4: other pins" in by_family["291"]
    assert passed_over_line(result.found, answer) == ("Not 814A: two LEDs, this board's has one.")


def test_nothing_in_the_drawer_says_what_to_buy() -> None:
    """1206: 0.125 W and 200 V, the lowest of the makers read."""
    result = asked(board(), "R2", 'resistors = ["10"]')
    (answer,) = result.found.answers
    assert answer_lines(result.found, answer, 3) == (
        "No part like it in stock. Buy 130 kΩ: 1206, 125 mW, 200 V, 5 %.",
    )
    assert not result.all_found
    # of what nobody listed nothing is in stock
    (coupler,) = asked(board(), "OC1", 'resistors = ["10"]').found.answers
    assert heading(result.found, coupler).endswith("(to buy: none in drawer)")
    assert load_line(result.found, 3) == ""
    diode = asked(board(), "D1", 'diodes = ["1N4148"]')
    assert buy_line(diode.found, diode.found.answers[0]) == "Buy 1N4007."


def test_the_original_that_fails_is_said_once() -> None:
    result = asked(edited('["110k", "130k"]', '["240k"]'), "R1",
                   'resistors = [{value = "240k", style = "1206"}]')  # fmt: skip
    assert (
        original_line(result.found)
        == "R1 is too small for this chain (1206 taken as 250 mW, 200 V)."
    )
    (answer,) = result.found.answers
    (line,) = answer_lines(result.found, answer, 3)
    assert line.startswith("240 kΩ 1206: as it was, overloaded, voltage ")
    assert "passes" not in line
    strong = asked(edited('["110k", "130k"]', '["240k"]'), "R1",
                   'resistors = [{value = "240k", style = "VR37"}]')  # fmt: skip
    (line,) = answer_lines(strong.found, strong.found.answers[0], 3)
    assert line.startswith("240 kΩ VR37: as printed, higher rating")
    assert line.endswith("; passes")


def test_the_load_is_that_of_the_part_proposed() -> None:
    """A 1206 bears 200 V: the one of 270 k is over it, the one of 47 k far from it."""
    result = asked(edited('["110k", "130k"]', '["47k", "270k"]'), "R1",
                   'resistors = [{value = "47k", style = "1206"}]')  # fmt: skip
    (line,) = answer_lines(result.found, result.found.answers[0], 3)
    assert line.endswith("(as before); R2 still over")
    assert "overloaded" not in line
    assert original_line(result.found) == (
        "R2 is too small for this chain (1206 taken as 250 mW, 200 V). Read its size again, or "
        "replace it too: zcd substitute BOARD --for R2"
    )
    assert others_over_line(result.found) == ""
    of_it = asked(edited('["110k", "130k"]', '["47k", "270k"]'), "R2",
                  'resistors = [{value = "270k", style = "1206"}]')  # fmt: skip
    assert others_over_line(of_it.found) == ""


KILN = """
name = "Torvald K3 kiln vent (invented)"
mains = "220-240V~ 50Hz"
rectifier = "MB6S"
optocoupler = "EL817S C"
output = {pull_up = "15k", supply = "5V"}

[chain]
topology = "bridge"
resistors = ["33k", "33k"]
return_resistors = ["33k", "33k"]
style = "1206"
"""
"""Four 1206 over what some makers rate them for."""


def test_nobody_adds_a_part_to_the_right_one() -> None:
    """The printed value is in the drawer, and so is what would go beside it."""
    drawer = 'resistors = [{values = ["110k", "10k"], style = "1206"}]'
    (answer,) = asked(board("half-wave"), "R1", drawer).found.answers
    ohms = [sorted(part.resistance_ohm for part in each.parts) for each in answer.proposals]
    assert [110e3] in ohms
    assert [10e3, 110e3] not in ohms


def test_chips_that_are_all_too_small_are_one_cause() -> None:
    """The command names all of them; what leaves others over its limit is not marked."""
    drawer = """resistors = [
        {values = ["22k", "33k"], style = "0805", tolerance = "1 %"},
        {values = ["30k", "36k"], style = "2010"}]"""
    small = KILN.replace("1206", "0805")
    result = asked(parse_board(small), "R2", drawer)
    told = original_line(result.found)
    assert told.startswith(
        "R1, R2, R3 and R4 are all too small for this chain (0805 taken as 125 mW"
    )
    assert told.endswith("zcd substitute BOARD --for R1 --for R2 --for R3 --for R4")
    assert "pin" not in told
    failed = {rule.subject for rule in result.found.original.failed}
    check = api.check(parse_board(small))
    assert failed == {rule.subject for rule in check.every_rule if rule.status == "fail"}
    (answer,) = result.found.answers
    lines = answer_lines(result.found, answer, 3)
    assert lines[0].startswith("36 kΩ 2010: chain +2.3 %, loaded to 38 % (was 143 %); ")
    assert lines[1].startswith("2 x 22 kΩ, each 0805: chain +8.3 %, power ")
    assert lines[-1].startswith("33 kΩ 0805: as it was, overloaded, power ")
    assert len(lines) == len(answer.proposals)
    for line in lines:
        assert line.endswith("; passes") is not line.endswith("; R1, R3 and R4 still over")
    for line, proposal in ((lines[0], answer.proposals[0]), (lines[-1], answer.proposals[-1])):
        assert line.endswith("; passes") is api.check(proposal.board).passes
    assert pads_line(result.found, 3) == (
        "A 2010 does not fit the pads of a 0805. "
        "Two chips do not fit the pads of one: the printed part is better, or leaded ones, "
        "sleeved."
    )
    (advice,) = culprit_lines(check)
    assert advice.startswith("Most likely cause: R1, R2, R3 and R4 are all too small for this")
    assert advice.endswith(told[told.index(" zcd substitute") :])
    whole = api.substitute(parse_board(small), refs=["R1", "R2", "R3", "R4"])
    assert "zcd substitute" not in original_line(whole.found)
    assert 'with one marked "passes" the board passes' in original_line(whole.found)


def test_each_part_of_a_fan_drive_says_where_it_comes_from() -> None:
    result = api.substitute(parse_board(KILN), E12, refs=["drive"])
    (table,) = (t for t in replacements_document(result).tables() if "drive" in t.title)
    assert all(row["source"] and row["part"] for row in table.to_dicts())
    assert table.to_dicts()[0]["allowed_a"] > 0.0
    assert "(from" not in table.remark


@pytest.mark.slow
def test_the_fan_drive_is_proposed_where_it_is_written() -> None:
    assert api.substitute(parse_board(KILN), E12).drive is None
    assert api.substitute(parse_board(KILN), E12, refs=["drive"]).drive is not None
    with_fan = parse_board(KILN + '[fan]\npower = "30 W"\n')
    assert api.substitute(with_fan, E12).drive is not None
    stocked = parse_drawer('resistors = ["33k"]\ndrive_parts = ["S201DH1"]')
    assert api.substitute(parse_board(KILN), stocked).drive is not None


def test_everything_is_in_the_full_document() -> None:
    result = asked(board(), "R2", 'resistors = [{values = ["130k", "68k"], style = "1206"}]')
    told = document_text(replacements_document(result))
    for words in (
        "power",
        "voltage",
        "low time",
        "Where limits and values come from",
        "prove dead",
    ):
        assert words.lower() in told.lower()


def test_a_proposal_is_a_whole_board() -> None:
    for answer in on("half-wave").found.answers:
        for proposal in answer.proposals:
            for part in proposal.parts:
                if isinstance(part, Resistor):
                    assert part.ref
