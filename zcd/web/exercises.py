"""The exercise under way: a file beside the jobs with what was hidden where, and what was done.

Level and seed choose the fault and what the meter errs. So what was said, said again, makes the
same exercise: a reload, or a server started anew, shows what was there.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from secrets import token_urlsafe
from typing import Any

from zcd.board.files import board_from_dict
from zcd.diagnosis.meters import Meter
from zcd.errors import InputError, invalid_value
from zcd.files import replace_whole
from zcd.practice.exercise import Exercise, make_exercise
from zcd.practice.record import add_to_record, record_of, require_record
from zcd.practice.review import Expert, Review
from zcd.practice.session import Session
from zcd.web.fault_dictionaries import FaultDictionaries, PreparedBoard
from zcd.web.job_store import ChangedMeanwhileError

FILE = "practice.exercise"
MOST_SAID = 300
CHANGED = "this exercise is over, or another one has begun; reload this page"
_ASIDE = ("", "?", "help", "so far", "points")
"""What changes nothing, and shows what the page shows anyway."""


@dataclass(slots=True)
class OpenExercise:
    """The exercise of the folder.

    Parameters
    ----------
    session : Session
    said : tuple of str
        What was done, in order.
    answers : tuple of str
        To what was said last.
    record : str
        Name of the record that it is to be added to; empty: none.
    recorded : bool
    mark : str
        Of this exercise, as a page may show another one.
    data : bytes
        Its file.
    """

    session: Session
    said: tuple[str, ...]
    answers: tuple[str, ...]
    record: str
    recorded: bool
    mark: str
    data: bytes
    review: Review | None = None


class Exercises:
    """The exercise of a folder.

    Parameters
    ----------
    folder : Path
    meter : Meter
        What the apprentice measures with.
    """

    def __init__(self, folder: Path, meter: Meter) -> None:
        self.folder = folder
        self.meter = meter
        self._dictionaries = FaultDictionaries()
        self._door = threading.Lock()
        self._open: OpenExercise | None = None

    def current(self) -> OpenExercise | None:
        """The one under way, or that was over last; None: there was none.

        Raises
        ------
        InputError
            If its file is not as it was written here.
        """
        with self._door:
            return self._current()

    def begin(self, keys: Mapping[str, Any], level: int, seed: int, record: str) -> None:
        """Hide a fault in a board, in place of the exercise that was.

        Parameters
        ----------
        keys : mapping
            Of its board file.
        level, seed : int
        record : str
            Name of a file of the folder; empty: none.

        Raises
        ------
        InputError
            If there is no such board, level, seed or record.
        """
        if record:
            require_record(self._record(record))
        with self._door:
            now = self._current()
            if now is not None and not now.session.over:
                raise InputError("found an exercise under way; allowed: give that up first")
            said = {
                "board": dict(keys), "level": level, "seed": seed, "said": [],
                "record": record, "recorded": False, "mark": token_urlsafe(6),
            }  # fmt: skip
            data = json.dumps(said, indent=1).encode("ascii")
            opened = self._opened(data)
            replace_whole(self.folder / FILE, None if now is None else now.data, data)
            self._open = opened
        # what a hint and the look back ask for, while the apprentice reads the complaint
        self._dictionaries.begin(opened.session.exercise.board, self.meter)

    def say(self, line: str, mark: str) -> OpenExercise:
        """Do what a line says, where the page shows the exercise of this mark.

        Raises
        ------
        ChangedMeanwhileError
            If it shows another one.
        InputError
            If the line cannot be used; nothing has changed then.
        """
        with self._door:
            opened = self._current()
            if opened is None or opened.mark != mark or opened.session.over:
                raise ChangedMeanwhileError(CHANGED)
            if len(opened.said) >= MOST_SAID:
                raise InputError(f"found more than {MOST_SAID} steps; allowed: give up")
            opened.answers = tuple(opened.session.say(line))
            if line.lower().removesuffix(".") in _ASIDE:
                return opened
            opened.said = (*opened.said, line)
            self._write(opened)
            return opened

    def look_back(self) -> Review:
        """Look back on the exercise that is over, and add it to its record once."""
        with self._door:
            opened = self._current()
            if opened is None or not opened.session.over:
                raise ChangedMeanwhileError(CHANGED)
            if opened.review is None:
                opened.review = opened.session.review()
            if opened.record and not opened.recorded:
                record = record_of(opened.review, date.today())
                add_to_record(self._record(opened.record), record)
                opened.recorded = True
                self._write(opened)
            return opened.review

    def prepared(self) -> PreparedBoard | None:
        """What an expert knows of the board: there, or under way."""
        opened = self.current()
        return None if opened is None else self._prepared(opened.session.exercise)

    def _prepared(self, exercise: Exercise) -> PreparedBoard:
        return self._dictionaries.of(exercise.board, exercise.meter)

    def _expert(self, exercise: Exercise) -> Expert:
        prepared = self._prepared(exercise)
        prepared.over.wait()
        if prepared.dictionary is None:
            raise InputError(prepared.problem)
        return Expert(exercise, prepared.dictionary)

    def _record(self, name: str) -> Path:
        if Path(name).name != name or not name.isprintable() or not name.endswith(".jsonl"):
            raise invalid_value(name, 'a file of this folder, such as "class.jsonl"', "record")
        return self.folder / name

    def _current(self) -> OpenExercise | None:
        try:
            data = (self.folder / FILE).read_bytes()
        except FileNotFoundError:
            self._open = None
            return None
        except OSError as error:
            raise InputError(f"{FILE}: cannot be read ({error.strerror})") from error
        if self._open is None or self._open.data != data:
            try:
                self._open = self._opened(data)
            except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
                raise InputError(
                    f"{FILE}: found no exercise of zcd; remove the file, or restore it"
                ) from error
        return self._open

    def _write(self, opened: OpenExercise) -> None:
        """Keep what has changed; where that fails, the next look begins with the file."""
        said = json.loads(opened.data) | {"said": opened.said, "recorded": opened.recorded}
        data = json.dumps(said, indent=1).encode("ascii")
        try:
            replace_whole(self.folder / FILE, opened.data, data)
        except InputError:
            self._open = None
            raise
        opened.data = data

    def _opened(self, data: bytes) -> OpenExercise:
        """What a file says, done once more."""
        said = json.loads(data)
        board = board_from_dict(said["board"], FILE)
        exercise = make_exercise(board, self.meter, said["level"], said["seed"])
        session = Session(exercise, lambda: self._expert(exercise))
        answers: list[str] = []
        for line in said["said"]:
            answers = session.say(line)
        return OpenExercise(
            session=session,
            said=tuple(said["said"]),
            answers=tuple(answers),
            record=str(said["record"]),
            recorded=bool(said["recorded"]),
            mark=str(said["mark"]),
            data=data,
        )
