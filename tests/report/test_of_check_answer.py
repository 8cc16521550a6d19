"""What the check's answer says of a repair."""

from __future__ import annotations

from zcd import api
from zcd.board.files import parse_board
from zcd.report.of_check_answer import headline_text, repair_text
from zcd.report.of_check_document import check_answer
from zcd.report.terminal import document_text


def test_another_chain_is_not_as_built_where_its_current_is_not() -> None:
    """62 k for 47 k: the LED current is as the resistance, 24 % lower."""
    text = """mains = "230 V 50 Hz"
    rectifier = "1N4007"
    optocoupler = "817B"
    chain = {resistors = ["47k", "47k"], style = "1 W"}
    output = {pull_up = "22k", supply = "5 V"}"""
    was, now = parse_board(text), parse_board(text.replace("47k", "62k"))
    repair = api.check(now, was=was).repair
    assert repair is not None
    told = repair_text(repair, now)
    assert told.startswith("Not as built, but as good: LED current 24 % lower; the optocoupler")
    same = api.check(parse_board(text.replace('"47k"', '"51k"', 1)), was=was).repair
    assert same is not None
    assert repair_text(same, now).startswith("On paper as good as the original.")


def test_a_check_with_many_warnings_is_one_screen() -> None:
    """A plate with ranges, and a part whose grade nobody read: five warnings."""
    board = parse_board("""mains = "220-240 V 50/60 Hz"
    optocoupler = "LTV-814"
    chain = {resistors = ["39k", "39k", "39k"], style = "1/2 W", topology = "two-led"}
    output = {pull_up = "10k", supply = "5 V"}""")
    check = api.check(board)
    assert "with 5 warnings" in headline_text(check)
    told = document_text(check_answer(check), 80)
    assert len(told.splitlines()) < 25
    assert "No grade was read on OC1" in told
    assert " more" in told


def test_the_part_nearest_to_its_limit_is_told_with_that_limit() -> None:
    """Of 2 x 56 k at 264 V the larger takes 264 V x 58.8 k / 112 k = 138.6 V of 250 V, 55 %; the
    power is 264^2 / 4 / 53.2 k = 327 mW of 500 mW, 65 %. LED drops take 1.1 V of 373 V."""
    board = parse_board("""mains = "240 V 50 Hz"
    optocoupler = "SFH620A-2"
    chain = {resistors = ["56k", "56k"], style = "1/2 W", topology = "two-led"}
    output = {pull_up = "8.2k", supply = "5 V"}""")
    told = " ".join(document_text(check_answer(api.check(board)), 80).split())
    assert "most loaded R1 56 kΩ: up to 325 mW of 500 mW (65 %)" in told
    assert "250 V" not in told.partition("most loaded")[2].partition("tolerances")[0]


def test_no_value_out_of_reach_is_named_for_a_burnt_part() -> None:
    """10 k would pass beside 68 k, and nobody built that."""
    board = parse_board("""mains = "230 V 50 Hz"
    rectifier = "1N4004"
    optocoupler = "SFH617A-2"
    chain = {resistors = ["?", "68k"], style = "1/2 W"}
    output = {pull_up = "4.7k", supply = "5 V"}""")
    check = api.check(board)
    assert headline_text(check).startswith("FAILS with a weak OC1")
    told = document_text(check_answer(check), 80)
    assert "no likely value of it makes the board pass" in told
    assert "typically low " in told  # the weakest gives none
