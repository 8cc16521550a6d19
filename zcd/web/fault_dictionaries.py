"""Fault dictionaries made beside the page, for which it waits."""

from __future__ import annotations

import asyncio
import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field

from starlette.requests import Request

from zcd.board.model import Board
from zcd.diagnosis.expected_readings import list_expected_readings
from zcd.diagnosis.fault_dictionary import FaultDictionary, make_fault_dictionary
from zcd.diagnosis.meters import Meter
from zcd.diagnosis.node_readings import expected_at_nodes
from zcd.diagnosis.readings import Measured, Reading
from zcd.errors import ZcdError
from zcd.report.of_readings_card import good_text

MAX_KEPT = 6
PATIENCE_S = 0.25
"""How long a page waits before it says that it waits."""
POLL_S = 0.05


@dataclass(slots=True)
class PreparedBoard:
    """What is worked out once for a board and a meter.

    Parameters
    ----------
    board : Board
    meter : Meter
    dictionary : FaultDictionary or None
        None until all is there.
    good : dict
        Reading -> what it shows on a good board.
    named : dict
        Reading -> as one would write it, what is read, and where the probes go.
    at_nodes : tuple of Measured
        What a good board reads at its nodes.
    problem : str
        Why it came to nothing; empty: it did not.
    """

    board: Board
    meter: Meter
    dictionary: FaultDictionary | None = None
    good: dict[Reading, str] = field(default_factory=dict)
    named: dict[Reading, tuple[str, str, str]] = field(default_factory=dict)
    at_nodes: tuple[Measured, ...] = ()
    problem: str = ""
    over: threading.Event = field(default_factory=threading.Event)

    def make(self) -> None:
        """Work it out."""
        try:
            self._make()
        except ZcdError as error:
            self.problem = str(error)
        finally:
            self.over.set()

    async def made(self, request: Request) -> bool:
        """Wait until it is worked out; False where who asked for it has left."""
        while not self.over.is_set():
            if await request.is_disconnected():
                return False
            await asyncio.sleep(POLL_S)
        return True

    def _make(self) -> None:
        dictionary = make_fault_dictionary(self.board, self.meter, stored=True)
        lines = list_expected_readings(dictionary)
        dictionary.keep()
        self.good = {line.reading: good_text(line.reading.function, line.healthy) for line in lines}
        for reading in dictionary.readings:
            dictionary.spectrum(reading)
        self.at_nodes = expected_at_nodes(self.board, dictionary.circuit, self.meter)
        self.dictionary = dictionary


class FaultDictionaries:
    """The last few fault dictionaries that were asked for."""

    def __init__(self) -> None:
        self._known: OrderedDict[tuple[Board, Meter], PreparedBoard] = OrderedDict()
        self._door = threading.Lock()

    def of(self, board: Board, meter: Meter) -> PreparedBoard:
        """That of a board and a meter: there after a moment's wait, or under way."""
        prepared = self.begin(board, meter)
        prepared.over.wait(PATIENCE_S)
        return prepared

    def good(self, board: Board, meter: Meter) -> Mapping[Reading, str]:
        """What each reading shows on a good board, where that was worked out; else empty."""
        with self._door:
            prepared = self._known.get((board, meter))
        return {} if prepared is None or prepared.dictionary is None else prepared.good

    def begin(self, board: Board, meter: Meter) -> PreparedBoard:
        """The same without a wait."""
        with self._door:
            prepared = self._known.get((board, meter))
            if prepared is None or prepared.problem:
                prepared = self._known[board, meter] = PreparedBoard(board, meter)
                threading.Thread(target=prepared.make, daemon=True).start()
            self._known.move_to_end((board, meter))
            while len(self._known) > MAX_KEPT:
                self._known.popitem(last=False)
        return prepared
