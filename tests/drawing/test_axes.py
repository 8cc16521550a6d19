"""Results drawn into axes say what the text says."""

from __future__ import annotations

from matplotlib.figure import Figure

from tests.jobs.demo_job import FAILS, HOLDS, solved
from zcd.drawing.axes import plot_margins


def test_bars_of_margins_bear_the_verdict_of_the_check() -> None:
    """Red is what fails; a warning is named and stays blue."""
    seen = set()
    for text in (HOLDS, FAILS):
        check = solved(text).check
        ax = Figure().subplots()
        plot_margins(check, ax)
        assert ax.get_title().endswith(f": {check.status}")
        status = {rule.name.split(": ", 1)[1]: rule.status for rule in check.spread.rules}
        bars = zip(ax.get_yticklabels(), ax.patches, strict=True)
        for label, bar in bars:
            name, _, said = label.get_text().partition(": ")
            assert (said or "pass") == status[name]
            assert bool(bar.get_hatch()) == (status[name] == "fail")
            seen.add(status[name])
    assert "fail" in seen
