"""What the public functions refuse: in the sentences of the commands, as one class of exception."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

import zcd
from tests.boards import board as made
from tests.boards import mains as supply
from zcd.errors import InputError


def test_no_mains_voltage_at_all() -> None:
    with pytest.raises(InputError, match=r"found a list; allowed: an AC voltage, or several"):
        zcd.solve(made(), mains=[])


def test_a_flag_that_no_controller_reports() -> None:
    with pytest.raises(InputError, match=r"found .*nope.*; allowed: sync, fan, or none alone"):
        zcd.diagnose(made(), flags=["nope"])


def test_a_flag_may_come_with_its_code() -> None:
    assert zcd.diagnose(made(), flags=["sync=F3"]).job.codes == {"sync": "F3"}


@pytest.mark.parametrize(
    ("ask", "told"),
    [
        (lambda: zcd.check("mixer.toml"), r'board: found "mixer.toml"; allowed: a board, as from'),
        (lambda: zcd.diagnose(made(), ["ohm R2 OL"]), "taken: found a list; allowed: text or a"),
        (lambda: zcd.diagnose(made(), flags="sync"), 'flags: found "sync"; allowed: a list of'),
        (lambda: zcd.substitute(made(), refs=[3]), "refs: found 3; allowed: text"),
        (lambda: zcd.solve(made(), mains=["110 V", None]), "found nothing; allowed: an AC voltage"),
        (lambda: zcd.solve(made(), mains=1 + 2j), "found complex; allowed: an AC voltage"),
        (lambda: zcd.solve(made(), mains=[100, 110], ctr=[1, 2, 3]), "found 2 and 3 values"),
        (lambda: zcd.solve(made(), severity=2), "severity: found 2; allowed: 0 to 1"),
        (lambda: zcd.population(made(), 7), "size: found 7; allowed: 8 or more"),
        (lambda: zcd.population(made(), 8, seed=-1), "seed: found -1; allowed: 0 to"),
        (lambda: zcd.story(made(), "R1 open", seconds=0), "seconds: found 0; allowed: 1 to 600"),
        (lambda: zcd.story(made(), "R1 open", seconds=float("nan")), "found nan; allowed"),
        (lambda: zcd.retest(made()), "no reading since the repair"),
        (lambda: zcd.diagnose(made(), history="no-such-folder"), "no-such-folder: found no folder"),
        # by the name of the argument, where a command has an option of another name
        (lambda: zcd.solve(made(), fault="R8 open"), "^fault R8: no such part"),
        (lambda: zcd.solve(made()).current("R9"), "^part: found .*one of R1, R2, R3, D1, OC1$"),
        (lambda: zcd.solve(made()).voltage("pin", "logic"), '^b: found "logic"; allowed: one of'),
        (lambda: zcd.draw(made(), "R1 opn"), '^fault: found "R1 opn"'),
        (lambda: zcd.substitute(made(), refs=["R11"]), "^refs R11: no such part"),
        (lambda: zcd.story(made(), "R11 open"), "^cause R11: no such part"),
        (lambda: zcd.story(made(), "melted"), '^cause: found "melted"'),
        (lambda: zcd.story(made(), "R1 open", amount=2), "^amount: found 2; allowed: none"),
        (lambda: zcd.check(made(), was=made(mains=supply(120.0))), "^was: "),
        (lambda: zcd.loss_map(made(), "R11"), '^across: found "R11"'),
        (lambda: zcd.compare_spice(made(), readings=["dc pan"]), '^reading "dc pan": '),
        (lambda: zcd.windings("a-b=1", "b-c=2", "a-c=3", accuracy="x"), "^accuracy: found"),
    ],
)  # fmt: skip
def test_an_argument_of_another_kind_is_one_line(ask: Callable[[], object], told: str) -> None:
    with pytest.raises(InputError, match=told) as caught:
        ask()
    assert "\n" not in str(caught.value)


def test_amounts_may_be_texts_or_numbers_of_any_kind() -> None:
    written = zcd.solve(made(), mains=["207 V", "253 V"]).voltage("pin", "logic0")
    numbers = zcd.solve(made(), mains=np.array([207, 253])).voltage("pin", "logic0")
    assert np.array_equal(written, numbers)
