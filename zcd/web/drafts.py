"""What was typed and stands in no board or job file yet: a file beside them, written with each key.

A window of the browser may write over what it shows, and over what it wrote itself. What another
window or program wrote since stays, and the person is told.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from secrets import token_urlsafe

from zcd.errors import InputError
from zcd.files import replace_whole
from zcd.jobs.job_file import version_of
from zcd.web.job_store import ChangedMeanwhileError

ENDING = ".draft"
CHANGED = "this was changed in another window or by another program since; reload this page"
TOO_LONG = "that is too long"
LONGEST_DRAFT = 8_000
"""Letters of all that was typed."""


@dataclass(frozen=True, slots=True)
class Draft:
    """One of them.

    Parameters
    ----------
    texts : dict
        Name of a field -> what stands in it.
    window : str
        That wrote it.
    turn : int
        Which of its keys; a browser may send a later one first.
    data : bytes or None
        The file; None: there is none.
    """

    texts: dict[str, str] = field(default_factory=dict)
    window: str = ""
    turn: int = 0
    data: bytes | None = None

    @property
    def version(self) -> str:
        """Mark of its file."""
        return "" if self.data is None else version_of(self.data)


class Drafts:
    """The drafts of a folder.

    Parameters
    ----------
    folder : Path
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._door = threading.Lock()

    def names(self) -> tuple[str, ...]:
        """All of them."""
        with suppress(OSError):
            return tuple(sorted(path.stem for path in self.folder.glob(f"*{ENDING}")))
        return ()

    def path(self, name: str) -> Path:
        """Where one is."""
        return self.folder / f"{name}{ENDING}"

    def read(self, name: str) -> Draft:
        """One of them, or an empty one.

        Raises
        ------
        InputError
            If its file is not as it was written here.
        """
        path = self.path(name)
        try:
            data = path.read_bytes()
            said = json.loads(data)
            texts = {str(key): str(text) for key, text in said["texts"].items()}
            return Draft(texts, str(said["window"]), int(said["turn"]), data)
        except FileNotFoundError:
            return Draft()
        except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
            raise InputError(
                f"{path.name}: found no draft of zcd; remove the file, or restore it"
            ) from error

    def window(self, name: str) -> str:
        """What a page shows of itself with each key: its window, the draft it shows, a count."""
        with suppress(InputError):
            return f"{token_urlsafe(6)}.{self.read(name).version}.0"
        return ""

    def change(
        self, name: str, window: str, change: Callable[[dict[str, str]], dict[str, str]]
    ) -> None:
        """Write what a window typed; a draft that says nothing is no file.

        Raises
        ------
        ChangedMeanwhileError
            If another window, or program, has written since.
        InputError
            If it is too long, or cannot be written.
        """
        token, _, rest = window.partition(".")
        shown, _, count = rest.partition(".")
        turn = int(count) if count.isascii() and count.isdigit() and len(count) < 10 else 0
        with self._door:
            before = self.read(name)
            own = token and before.window == token
            if own and turn < before.turn:
                return
            if before.data is not None and not own and shown != before.version:
                raise ChangedMeanwhileError(CHANGED)
            texts = change(before.texts)
            if texts == before.texts:
                return
            if sum(map(len, (*texts, *texts.values()))) > LONGEST_DRAFT:
                raise InputError(TOO_LONG)
            if not texts:
                self._remove(name)
                return
            said = {"window": token, "turn": turn, "texts": texts}
            data = json.dumps(said, ensure_ascii=False, indent=1).encode("utf-8", "replace")
            replace_whole(self.path(name), before.data, data)

    def remove(self, name: str, draft: Draft) -> None:
        """Remove one that has become a file of another kind; not what was written since."""
        with self._door, suppress(InputError):
            if self.read(name).data == draft.data:
                self._remove(name)

    def _remove(self, name: str) -> None:
        with suppress(OSError):
            self.path(name).unlink(missing_ok=True)
