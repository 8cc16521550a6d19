"""Few samples of faults and boards, where a test is about what is said and not how sure one is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from zcd.diagnosis import fault_dictionary
from zcd.diagnosis.fault_dictionary import make_fault_dictionary
from zcd.margin import loss_share, population
from zcd.margin.population import draw_population
from zcd.web import workers

if TYPE_CHECKING:
    import pytest

SAMPLES = 4
"""Of each fault, a quarter of the usual: predictions are most of a diagnosis' time."""
PER_RUN = 16
"""Boards of a population, an eighth of the usual: half of the time of a check."""
AROUND = 16
"""Boards around a map's boundary, a quarter of the usual."""
share_of = loss_share.loss_share
ROOMS = (
    "test_", "cli/", "jobs/", "report/", "fuzz/", "practice/", "board/", "web/", "drawing/",
    "simulation/test_flags", "diagnosis/test_traced", "diagnosis/test_false_certainty",
    "diagnosis/test_retest", "diagnosis/test_repeated_readings", "diagnosis/test_next_reading",
    "margin/test_culprit", "margin/test_wiring", "margin/test_advice",
    "margin/test_series_capacitor", "substitutes/",
)  # fmt: skip
"""Below the folder of the tests: what of it is about words, files and ways."""
PRELOADED = (*workers.PRELOADED, "tests.few_samples_here")
"""The page's workers do as the page."""


def set_for(patch: pytest.MonkeyPatch) -> None:
    """Until the patch is undone; what is worked out once is kept apart from what others share."""
    from tests import once

    patch.setattr(make_fault_dictionary, "__defaults__", (SAMPLES,))
    patch.setitem(draw_population.__kwdefaults__, "per_run", PER_RUN)
    patch.setattr(share_of, "__defaults__", (AROUND,))
    patch.setattr(workers, "PRELOADED", PRELOADED)
    patch.setattr(once, "apart", "few samples")


def unset_for(patch: pytest.MonkeyPatch) -> None:
    """As the program has it, for a test that needs all."""
    from tests import once

    patch.setattr(make_fault_dictionary, "__defaults__", (fault_dictionary.SAMPLES,))
    patch.setitem(draw_population.__kwdefaults__, "per_run", population.PER_RUN)
    patch.setattr(share_of, "__defaults__", (loss_share.BOARDS,))
    patch.setattr(once, "apart", "")
