"""To be imported: from then on, this process and its workers do with few samples."""

from __future__ import annotations

from tests.few_samples import AROUND, PER_RUN, PRELOADED, SAMPLES, share_of
from zcd.diagnosis.fault_dictionary import make_fault_dictionary
from zcd.margin.population import draw_population
from zcd.web import workers

make_fault_dictionary.__defaults__ = (SAMPLES,)
draw_population.__kwdefaults__["per_run"] = PER_RUN
share_of.__defaults__ = (AROUND,)
workers.PRELOADED = PRELOADED
