"""What the forms of the local page send, nearly as its own pages fill them in."""

from __future__ import annotations

import asyncio
import tempfile
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any
from unittest.mock import patch
from urllib.parse import urlencode

from hypothesis import strategies as st

from tests.board.boards import FULL, SMALLEST
from tests.fuzz.captures import capture_files
from tests.fuzz.good import CLOSED, JOB
from tests.fuzz.hostile import PLAUSIBLE, TEXTS
from tests.fuzz.page import PORT, SECRETS, answer, require_plain_page
from zcd.diagnosis.job import load_job
from zcd.errors import InputError
from zcd.jobs.job_file import version_of
from zcd.web import fault_dictionaries, workers
from zcd.web.app import make_app
from zcd.web.board_fields import single_fields
from zcd.web.drafts import Drafts
from zcd.web.guard import Guard
from zcd.web.meter_fields import meter_fields
from zcd.web.repair_request import repair_request_of
from zcd.web.state import REPAIR, PageState

FILES = {"board.toml": SMALLEST, "full.toml": FULL, "job.toml": JOB, "closed.toml": CLOSED}
URLENCODED = "application/x-www-form-urlencoded"
SAID = {
    "begin": ("name",),
    "answer": ("at", "say", "where"),
    "undo": (),
    "flags": ("flags",),
    "meter": tuple(meter_fields()),
    "capture": ("where",),
}
"""Forms of the readings sheet, and the fields of each."""
words = st.one_of(
    st.sampled_from(
        ("ohm R1 120k", "dc pin logic0", "dc pin logic0 4.98 V", "ohm R2 lifted OL", "undo", "skip",
         "unstable", "next", "another", "capture", "sync fan", "sync", "none", "12 V", "R1 open",
         "R1 drift", "healthy", "10M", "average", "0.5 %", "ac R1 3 V\nohm R2 120k", "new-job",
         "../job", "job", "board", "117 kΩ", "190..260", "about 5")
    ),
    st.sampled_from(TEXTS),
    st.text(max_size=12),
)  # fmt: skip
multipart = "multipart/form-data; boundary=x"


PIECES = ("drawer", "again", "hold", "years", "map", "story", "end", "report")
"""Of the repair sheet, which the page asks for with all that stands in it."""


@st.composite
def forms(draw: st.DrawFn) -> tuple[str, str, dict[str, str], bytes | None]:
    """Form, job, fields, and perhaps a file."""
    name = draw(st.sampled_from((*SAID, "keep", "close", *PIECES)))
    job = draw(st.sampled_from(("job",) * 6 + ("closed", "board", "missing", "", "../x", "a\0b")))
    fields = SAID.get(name, REPAIR)
    texts = {key: draw(words) for key in fields if draw(st.integers(0, 3))}
    if draw(st.integers(0, 3)) == 0:
        others = st.one_of(st.sampled_from(sorted(single_fields())), st.text(max_size=5))
        texts[draw(others)] = draw(st.one_of(words, st.sampled_from([str(p) for p in PLAUSIBLE])))
    if draw(st.integers(0, 4)) == 0:
        texts["seen"] = draw(words)
    file = draw(capture_files()) if name == "capture" and draw(st.integers(0, 9)) else None
    sheet = "" if name in SAID else "repair/"
    return f"{sheet}{name}", job, texts, file


@cache
def _bench() -> tuple[Guard, Path]:
    kept = tempfile.TemporaryDirectory(prefix="zcd-fuzz-")
    _KEPT.append(kept)
    folder = Path(kept.name)
    return make_app(PORT, PageState(folder=folder), SECRETS), folder


_KEPT: list[tempfile.TemporaryDirectory[str]] = []


def _fresh(folder: Path) -> None:
    """The folder as it was before the last form."""
    for each in folder.iterdir():
        if each.name not in FILES:
            each.unlink()
    for name, text in FILES.items():
        (folder / name).write_text(text, encoding="utf-8")


def _body(texts: dict[str, str], file: bytes | None) -> tuple[str, bytes]:
    if file is None:
        return URLENCODED, urlencode(texts, errors="surrogatepass").encode()
    head = "--x\r\nContent-Disposition: form-data; name="
    parts = [f'{head}"{key}"\r\n\r\n{text}\r\n' for key, text in texts.items()]
    parts.append(f'{head}"file"; filename="c.csv"\r\n\r\n')
    return multipart, "".join(parts).encode("utf-8", "replace") + file + b"\r\n--x--\r\n"


def post(given: tuple[str, str, dict[str, str], bytes | None]) -> int:
    """Send a form; what takes long is asked for and not waited for.

    Whatever was sent, the job files can still be read, no board is changed, and nothing half
    written is left.
    """
    path, job, texts, file = given
    app, folder = _bench()
    _fresh(folder)
    mark = version_of(JOB.encode())
    state = PageState(folder=folder)
    with suppress(InputError):
        shown = repair_request_of(state, state.unit(job)).shown
        mark_of_board = {"shown": shown} if path.startswith("repair") else {}
        texts = {**mark_of_board, **texts}
    kind, body = _body({"seen": mark, **texts}, file)
    place = f"/job/{job}/{path}"

    def ask(_: object, do: object, *given: object, **__: object) -> workers.Task:
        return workers.Task(do, given, done=True, problem="not now")

    with (
        patch.object(workers.WorkerPool, "ask", ask),
        patch.object(fault_dictionaries.PreparedBoard, "make", lambda known: known.over.set()),
    ):
        status, page = asyncio.run(answer(app, place, b"", kind, body))
    assert status in (200, 303, 400, 404, 413, 414, 422), status
    require_plain_page(page, texts.values())
    _require_whole(folder)
    return status


def _require_whole(folder: Path) -> None:
    for each in folder.iterdir():
        if each.suffix == ".csv":
            continue
        if each.suffix == ".draft":
            assert Drafts(folder).read(each.stem).texts
            continue
        assert each.suffix == ".toml", each
        if each.name in ("board.toml", "full.toml", "closed.toml"):
            assert each.read_text(encoding="utf-8") == FILES[each.name]
        else:
            loaded: Any = load_job(each)
            assert loaded.board is not None
