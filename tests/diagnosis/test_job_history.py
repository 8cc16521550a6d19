"""The record of jobs: what is listed and found, and what closed jobs do to the priors."""

from __future__ import annotations

from collections import Counter
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import dirichlet

from tests.boards import VARIANTS
from tests.jobs.demo_job import HOLDS
from zcd.circuit.build import build_circuit
from zcd.diagnosis.faults import faults_of
from zcd.diagnosis.job_history import (
    HANDBOOK_JOBS,
    PART_JOBS,
    FaultStatistics,
    fault_statistics,
    kind_of,
    read_job_history,
    search,
    shifted_shares,
)
from zcd.diagnosis.priors import prior_shares
from zcd.errors import InputError

FAULTS = faults_of(build_circuit(VARIANTS["contact closed"]))
SHARES = prior_shares(FAULTS)
NOTHING = FaultStatistics(kinds=Counter(), parts=Counter())
CLOSED = 'found = "R2 drift"\nkind = "resistor drift"\nrepair = "R1 and R2 renewed"\nclosed = {}\n'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "board.toml").write_text(HOLDS)
    (tmp_path / "other.toml").write_text(HOLDS.replace("Ostrel D3", "Brunna 7"))
    job = 'board = "{}.toml"\nflags = ["sync"]\nnote = "{}"\n'
    (tmp_path / "a.toml").write_text(job.format("board", "first") + CLOSED.format("2026-01-02"))
    (tmp_path / "b.toml").write_text(job.format("board", "damp"))
    (tmp_path / "c.toml").write_text(job.format("other", "third") + CLOSED.format("2026-03-04"))
    (tmp_path / "d.toml").write_text(job.format("nowhere", "lost board"))
    (tmp_path / "e.toml").write_text('board = "board.toml"\nflags = ["dark"]\n')
    return tmp_path


def test_open_jobs_first_then_the_last_closed(folder: Path) -> None:
    """Board files are no jobs; a job that cannot be read is there with its problem."""
    entries = read_job_history(folder)
    assert [e.file.name for e in entries] == ["b.toml", "d.toml", "e.toml", "c.toml", "a.toml"]
    assert entries[2].problem.startswith("e.toml: flags")
    assert entries[1].board_name == "nowhere"
    assert entries[3].board_name == "Brunna 7 mushroom dryer, invented"
    assert entries[4].closed == date(2026, 1, 2)


@pytest.mark.parametrize(
    ("words", "names"),
    [
        ("", "bdeca"),
        ("DRIFT brunna", "c"),
        ("damp", "b"),
        ("renewed first", "a"),
        ("sync lost", "d"),
    ],
)
def test_search_wants_every_word_somewhere(folder: Path, words: str, names: str) -> None:
    assert "".join(e.file.stem for e in search(read_job_history(folder), words)) == names


def test_a_folder_that_is_none_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="found no folder"):
        read_job_history(tmp_path / "missing")


def test_only_closed_jobs_count_and_never_the_one_at_hand(folder: Path) -> None:
    entries = read_job_history(folder)
    statistics = fault_statistics(entries, "Ostrel D3 mushroom dryer, invented")
    assert statistics.kinds == {"resistor drift": 2}
    assert statistics.parts == {"R2 drift": 1}
    assert fault_statistics(entries, "", without=folder / "a.toml").jobs == 1


def test_without_jobs_nothing_moves() -> None:
    assert_allclose(shifted_shares(FAULTS, SHARES, NOTHING), SHARES, rtol=1e-12)


def test_against_the_mean_of_a_dirichlet_distribution() -> None:
    """Kinds by kinds, then parts within each kind: scipy's Dirichlet after counting."""
    names = [kind_of(fault) for fault in FAULTS]
    kinds = sorted(set(names))
    seen = Counter({"resistor drift": 7, "contact open": 2, "no such kind": 50})
    parts = Counter({"R2 drift": 4, "R1 drift": 1})
    got = shifted_shares(FAULTS, SHARES, FaultStatistics(kinds=seen, parts=parts))
    total = SHARES.sum()
    by_kind = np.array([SHARES[[n == k for n in names]].sum() for k in kinds]) / total
    counted = np.array([seen[k] for k in kinds])
    expected = dirichlet(HANDBOOK_JOBS * by_kind + counted).mean()
    for kind, share in zip(kinds, expected, strict=True):
        of_kind = np.array([n == kind for n in names])
        assert got[of_kind].sum() / total == pytest.approx(share, rel=1e-9)
        if of_kind.sum() > 1:
            within = SHARES[of_kind] / SHARES[of_kind].sum()
            result = np.array([parts[f.key] for f in np.array(FAULTS)[of_kind]])
            mean = dirichlet(PART_JOBS * within + result).mean()
            assert_allclose(got[of_kind] / got[of_kind].sum(), mean, rtol=1e-9)
    assert got.sum() == pytest.approx(total, rel=1e-12)


def test_many_jobs_outweigh_the_handbooks() -> None:
    """In the limit the share of a kind is its share of the jobs."""
    seen = Counter({"resistor drift": 30_000, "contact open": 10_000})
    got = shifted_shares(FAULTS, SHARES, FaultStatistics(kinds=seen, parts=Counter()))
    drift = sum(s for s, f in zip(got, FAULTS, strict=True) if kind_of(f) == "resistor drift")
    assert drift / got.sum() == pytest.approx(0.75, abs=1e-3)
