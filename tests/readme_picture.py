"""The README's picture: the demo's board, what was measured on it, and the part that failed.

`python -m tests.readme_picture` writes it anew.
"""

from __future__ import annotations

from pathlib import Path

from zcd.circuit.build import build_circuit
from zcd.diagnosis.job import load_job
from zcd.drawing.schematic import schematic
from zcd.drawing.sketch import sketch_svg
from zcd.report.of_diagnosis import node_texts, part_texts

ROOT = Path(__file__).resolve().parents[1]
PICTURE = ROOT / "zcd" / "docs" / "incubator.svg"
JOB = ROOT / "zcd" / "jobs" / "templates" / "demo" / "job.toml"
ON_WHITE = '<svg style="color: #000; background: #fff" '
"""Black on white also where the page around it is not white."""


def picture() -> str:
    """The picture as SVG."""
    job = load_job(JOB)
    circuit = build_circuit(job.board)
    sketch = schematic(
        job.board,
        circuit,
        at_nodes=node_texts(job.measured, circuit),
        at_parts=part_texts(job.measured, circuit),
        failed={"OC1.led2": "open"},
    )
    return sketch_svg(sketch).replace("<svg ", ON_WHITE, 1) + "\n"


if __name__ == "__main__":
    PICTURE.write_text(picture(), encoding="utf-8")
