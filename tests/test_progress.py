"""The progress bar is for people at a terminal only."""

from __future__ import annotations

import io
import sys

import pytest

from zcd.progress import progress_bar


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("stream", "shown"), [(Terminal, True), (io.StringIO, False)])
def test_shown_on_a_terminal_only(
    stream: type[io.StringIO], shown: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    errors = stream()
    monkeypatch.setattr(sys, "stderr", errors)
    with progress_bar(2) as begin:
        begin("solving")
        begin("drawing")
    assert ("drawing" in errors.getvalue()) is shown
