"""What the public functions refuse: in the sentences of the commands, as one class of exception."""

from __future__ import annotations

import pytest

import zcd
from tests.boards import board as made
from zcd.errors import InputError


def test_no_mains_voltage_at_all() -> None:
    with pytest.raises(InputError, match=r"found a list; allowed: an AC voltage, or several"):
        zcd.solve(made(), mains=[])


def test_a_flag_that_no_controller_reports() -> None:
    with pytest.raises(InputError, match=r"found .*nope.*; allowed: sync, fan, or none alone"):
        zcd.diagnose(made(), flags=["nope"])


def test_a_flag_may_come_with_its_code() -> None:
    assert zcd.diagnose(made(), flags=["sync=F3"]).job.codes == {"sync": "F3"}
