"""What a repair changed, part by part: a part of another rating is another type."""

from __future__ import annotations

import pytest

from tests.diagnosis.boards import TEXTS
from zcd.board.files import parse_board
from zcd.report.of_changes import changes

CHAIN = '["110k", "130k"]'


def after(chain: str) -> tuple[str, ...]:
    """What was changed on a board of 1206 resistors, whose size alone is written."""
    text = TEXTS["half-wave"]
    assert text.count(CHAIN) == 1
    assert 'style = "1206"' in text
    return changes(parse_board(text), parse_board(text.replace(CHAIN, chain)))


@pytest.mark.parametrize(
    ("chain", "said"),
    [
        # 1206: 0.125 W is the lowest of the makers read (reference/resistor_styles.csv)
        (
            '["110k", "130k 1206 1/4 W"]',
            ("R2: 130 kΩ 5 % 1206 (taken as 125 mW) replaced by 130 kΩ 5 % 1206 (250 mW)",),
        ),
        (
            '["110k 1206 1/4 W", "130k 1206 1/2 W"]',
            (
                "R1: 110 kΩ 5 % 1206 (taken as 125 mW) replaced by 110 kΩ 5 % 1206 (250 mW)",
                "R2: 130 kΩ 5 % 1206 (taken as 125 mW) replaced by 130 kΩ 5 % 1206 (500 mW)",
            ),
        ),
        ('["110k", "130k 1206"]', ()),
        ('["110k", "130k 5 %"]', ()),
    ],
)
def test_another_power_is_another_type(chain: str, said: tuple[str, ...]) -> None:
    assert after(chain) == said


def test_another_style_is_told_by_its_name_alone() -> None:
    assert after('["110k", "130k 1/2 W"]') == ("R2: 130 kΩ 5 % 1206 replaced by 130 kΩ 5 % 1/2 W",)
