"""Model, diagnose and check the mains sync circuit of an appliance's control board.

>>> import zcd
>>> board = zcd.loads('''
... mains = "230 V 50 Hz"
... rectifier = "1N4007"
... optocoupler = "817B"
... chain = {resistors = ["47k", "47k"], style = "1/2 W"}
... output = {pull_up = "15k", supply = "5 V"}
... ''')
>>> zcd.check(board).passes
True
>>> solved = zcd.solve(board, mains="207 V")
>>> [edge.name for edge in solved.edges]
['falling', 'rising']
>>> case = zcd.diagnose(board, "ohm R2 OL", flags=["sync", "fan"])
>>> case.ranked[0].key
'R2 open'

Quantities are text as a person writes it (``"207 V"``) or numbers in SI units. Everything here is
loaded when it is first used.
"""

from __future__ import annotations

TYPE_CHECKING = False  # that of typing, which takes milliseconds in which nobody heeds Ctrl-C
if TYPE_CHECKING:
    from typing import Any

    from zcd.api import (
        capture,
        causes,
        check,
        compare_spice,
        diagnose,
        draw,
        load,
        loads,
        loads_drawer,
        loss_map,
        population,
        readings,
        retest,
        sensitivity,
        solve,
        story,
        substitute,
        windings,
    )
    from zcd.board.model import Board
    from zcd.diagnosis.job import Job
    from zcd.diagnosis.meters import Meter
    from zcd.errors import InputError, ZcdError

__all__ = [
    "Board",
    "InputError",
    "Job",
    "Meter",
    "ZcdError",
    "capture",
    "causes",
    "check",
    "compare_spice",
    "diagnose",
    "draw",
    "load",
    "loads",
    "loads_drawer",
    "loss_map",
    "population",
    "readings",
    "retest",
    "sensitivity",
    "solve",
    "story",
    "substitute",
    "windings",
]
_ELSEWHERE = {
    "Board": "zcd.board.model",
    "InputError": "zcd.errors",
    "Job": "zcd.diagnosis.job",
    "Meter": "zcd.diagnosis.meters",
    "ZcdError": "zcd.errors",
}


if not TYPE_CHECKING:  # else any name would do

    def __getattr__(name: str) -> Any:
        if name not in __all__:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        from importlib import import_module

        return getattr(import_module(_ELSEWHERE.get(name, "zcd.api")), name)


def __dir__() -> list[str]:
    return sorted(__all__)
