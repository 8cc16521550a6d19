"""What the check's answer says of a repair."""

from __future__ import annotations

from zcd import api
from zcd.board.files import parse_board
from zcd.report.of_check_answer import repair_text


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
    assert repair_text(same, now).startswith("As good as when it was new.")
