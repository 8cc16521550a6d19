"""The command: ``python -m tests.diagnosis.proof 1000 --diagram FILE.svg``."""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

from tests.diagnosis.proof.cases import CASES_A_DESIGN, cases_of
from tests.diagnosis.proof.diagram import draw_diagram
from tests.diagnosis.proof.figures import figures

PROCESSES = 2
LONG = 15
"""Readings from which a case is printed although it was named."""


def main() -> None:
    """Run, print what is wrong as it comes, then the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("cases", type=int)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--diagram", type=Path)
    options = parser.parse_args()
    designs = range(options.cases // CASES_A_DESIGN)
    results = []
    with ProcessPoolExecutor(PROCESSES) as pool:
        for found in pool.map(partial(cases_of, options.seed), designs):
            results += found
            for result in found:
                if not result.named or result.taken > LONG:
                    print(result, flush=True)
    print(figures(results))
    if options.diagram:
        draw_diagram(results, options.diagram)


main()
