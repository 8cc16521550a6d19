"""What is said of each proposal is what `zcd check` says of the board with it.

Sixty boards: every topology, with sizes written and not, circuits as traced, and boards drawn at
random, many of which fail. Of a few boards a sample of the proposals is judged; of all, under the
mark `slow`, every one.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import pytest

from tests.diagnosis.boards import CHAIN, TEXTS
from tests.spice.battery import case, traced_case
from tests.substitutes.test_diodes import CIRCUITS, traced
from zcd import api
from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.margin.check import nominal_check
from zcd.margin.rules import worst_status
from zcd.margin.spread import spread_of
from zcd.report.of_substitutes_document import brief_document
from zcd.report.terminal import document_text
from zcd.substitutes.compare import Verdict, verdicts, with_corners

NO_SIZE = CHAIN.replace('style = "1206"\n', "")
UNSIZED = {
    "unsized": NO_SIZE,
    "unsized, overloaded": NO_SIZE.replace('["110k", "130k"]', '["100k"]'),
    "unsized chip, overloaded": NO_SIZE.replace('["110k", "130k"]', '["66C"]'),
    "unsized chips, hot": NO_SIZE.replace('["110k", "130k"]', '["66C", "66C"]'),
    "unsized, beyond any size": NO_SIZE.replace('["110k", "130k"]', '["16k"]'),
    "two sizes": NO_SIZE.replace('["110k", "130k"]', '["66C", {value = "47k", style = "1/2 W"}]'),
}


def _text(name: str, chain: str = CHAIN) -> Board:
    return parse_board(TEXTS[name].replace(CHAIN, chain))


BOARDS: dict[str, Callable[[], Board]] = {
    **{name: partial(_text, name) for name in TEXTS},
    **{name: partial(_text, "half-wave", chain) for name, chain in UNSIZED.items()},
    **{f"bridge, {name}": partial(_text, "bridge", chain) for name, chain in UNSIZED.items()},
    **{name: partial(traced, name) for name in CIRCUITS},
    **{f"drawn {n}": lambda n=n: case(n).board for n in range(16)},
    **{f"drawn, traced {n}": lambda n=n: traced_case(n).board for n in range(16)},
}
ALWAYS = ("clamped", "unsized, overloaded")
SAMPLE = 4
"""How many proposals of a board are judged by the check, where not all are."""


def passes(board: Board) -> bool:
    """What the check says; which part would mend a failing board is not asked."""
    corners = worst_status(spread_of(board).rules)
    return nominal_check(board).keeps_nominal_rules and corners != "fail"


def sample(verdicts: dict[Board, Verdict], most: int) -> list[Board]:
    """As many of those that pass as of those that do not, spread evenly; of both the last."""
    result: list[Board] = []
    for passing in (True, False):
        kind = [board for board, verdict in verdicts.items() if verdict.passes is passing]
        result += kind[:: -max(1, 2 * len(kind) // most)][: most // 2]
    return result


@pytest.mark.parametrize(
    ("name", "most"),
    [
        *((name, SAMPLE) for name in ALWAYS),
        *(pytest.param(name, None, marks=pytest.mark.slow) for name in BOARDS),
    ],
)
def test_each_proposal_is_judged_as_the_check_judges_it(name: str, most: int | None) -> None:
    board = BOARDS[name]()
    result = api.substitute(board, others=True)
    original = passes(board)
    assert bool(result.found.original.failed) is not original
    told = re.sub(r"\s+", " ", document_text(brief_document(result)))
    verdicts = {
        proposal.board: proposal.verdict
        for answer in result.found.answers
        for proposal in (*answer.proposals, *answer.others)
    }
    judged = list(verdicts) if most is None else sample(verdicts, most)
    passing = {board: passes(board) for board in judged}
    assert {board: verdicts[board].passes for board in judged} == passing
    assert not any(v.newly_failed(result.found.original) for v in verdicts.values())
    assert all(passing.values()) or not original
    says = re.search(
        r"(Each|It) passes the check\.|has warnings for the original board; (with|fewer with) ",
        told,
    )
    warned = {rule.status for rule in (*nominal_check(board).rules, *spread_of(board).rules)}
    assert "has warnings" not in told or "warning" in warned
    assert (says is not None) is (original and bool(verdicts))
    assert "FAILS" not in told
    assert "as it was, overloaded" not in told
    cured = not original and any(passing.values())
    assert ('with one marked "passes"' in told) is cured
    assert cured or "; passes" not in told


@pytest.mark.usefixtures("all_samples")
def test_a_size_that_was_written_is_not_judged_by_one_that_was_not() -> None:
    """The same circuit, judged together: 150 V working voltage, written or only assumed."""
    unsized = BOARDS["unsized"]()
    chain = tuple(replace(part, style="1/4 W", size_assumed=False) for part in unsized.chains[0])
    sized = replace(unsized, chains=(chain,))
    together = with_corners(verdicts([unsized, sized]))
    assert [each.passes for each in together] == [passes(unsized), passes(sized)] == [True, False]


@pytest.mark.slow
def test_one_try_for_each_part_where_a_try_takes_long() -> None:
    """A capacitor on the mains side: what is not tried is said; one part alone gets more tries."""
    board = BOARDS["series capacitor"]()
    every = api.substitute(board, others=True)
    told = re.sub(r"\s+", " ", document_text(brief_document(every)))
    assert "Only the nearest were tried; --for R1 tries more." in told
    assert all(len(answer.proposals) <= 1 and not answer.others for answer in every.found.answers)
    alone = api.substitute(board, refs=["R1"], others=True)
    assert len(alone.found.answers[0].proposals) > 1
