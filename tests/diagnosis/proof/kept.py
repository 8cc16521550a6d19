"""What ngspice and the engine said, kept between runs by all that it depends on."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from functools import cache, lru_cache
from pathlib import Path

import platformdirs

from tests.diagnosis.proof.designs import Design
from zcd.diagnosis.cache import Store
from zcd.diagnosis.fault_dictionary import FaultDictionary, make_fault_dictionary
from zcd.diagnosis.meter_model import MeterModel
from zcd.refdata import contents

ROOT = Path(__file__).parents[3] / "zcd"
CIRCUIT = (
    "board/*",
    "circuit/*",
    "physics/*",
    "sync/*",
    "diagnosis/meter_model",
    "diagnosis/meters",
)
SIMULATED = (*CIRCUIT, "spice/*", "engine/solution", "engine/grid", "engine/network")
PREDICTED = (
    *CIRCUIT, "engine/*", "margin/tolerances", "diagnosis/fault_dictionary",
    "diagnosis/circuit_edits",
    "diagnosis/faults", "diagnosis/fault_pairs", "diagnosis/priors", "diagnosis/samples",
)  # fmt: skip


class Kept:
    """Readings of the cases of one design.

    Parameters
    ----------
    design : Design
    """

    def __init__(self, design: Design) -> None:
        self.path = _folder() / f"{design.seed}-{design.number}.json"
        self.values: dict[str, float] = {}
        if self.path.is_file():
            self.values = json.loads(self.path.read_text(encoding="ascii"))

    def of(self, meter_model: MeterModel, what: str, make: Callable[[], float]) -> float:
        """A value from an earlier run, or a new one."""
        key = (
            f"{digest_of(SIMULATED)} {what} {meter_model.meter!r} {meter_model.circuit!r} "
            f"{meter_model.solve!r} {meter_model.full_scale_v!r}"
        )
        name = hashlib.sha256(key.encode()).hexdigest()[:24]
        if name not in self.values:
            self.values[name] = make()
        return self.values[name]

    def write(self) -> None:
        """Keep them for the next run."""
        self.path.parent.mkdir(parents=True, exist_ok=True)
        self.path.write_text(json.dumps(self.values), encoding="ascii")


@lru_cache(maxsize=1)
def atlas_of(design: Design) -> FaultDictionary:
    """The fault dictionary of a design; it forgets less than the user's, which knows no
    likelihoods."""
    dictionary = make_fault_dictionary(design.board, design.meter)
    folder = _folder() / f"{design.seed}-{design.number}"
    dictionary._store = Store(folder / f"{digest_of(PREDICTED)[:24]}.npz")
    dictionary._stored = dictionary._store.read(dictionary.predicted_shape)
    return dictionary


@cache
def digest_of(modules: tuple[str, ...]) -> str:
    """Of some modules and all tables."""
    digest = hashlib.sha256()
    for module in modules:
        for file in sorted(ROOT.glob(f"{module}.py")):
            digest.update(file.read_bytes())
    for data in contents():
        digest.update(data)
    return digest.hexdigest()


def _folder() -> Path:
    return platformdirs.user_cache_path("zcd-proof", appauthor=False)
