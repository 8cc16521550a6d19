"""The text of a job file: read, changed where a person would, and proven before it is written."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from zcd.board.toml_files import LARGEST_FILE_BYTES, decoded, parse_toml, refuse
from zcd.diagnosis.job import WANTED, JobFile, job_file_of
from zcd.errors import InputError

if TYPE_CHECKING:
    from tomlkit import TOMLDocument

BOM = b"\xef\xbb\xbf"
LAYOUT = (
    "found a layout that zcd cannot add to without losing something, and wrote nothing; "
    "allowed: one key a line, and tables such as [[readings]]"
)


@dataclass(frozen=True, slots=True)
class JobText:
    """A job file as it is on the disk.

    Parameters
    ----------
    name : str
        Of the file, for messages.
    data : bytes
        All of it.
    text : str
        The same with plain line ends, one also at the end, and without a byte order mark.
    plain : dict
        Its keys and values.
    """

    name: str
    data: bytes
    text: str
    plain: dict[str, Any]

    @classmethod
    def of(cls, data: bytes, name: str) -> JobText:
        """Take a file's bytes apart.

        Raises
        ------
        InputError
            If they are no TOML.
        """
        text = decoded(data, name, WANTED)
        plain = parse_toml(text, name, WANTED)
        if _has_windows_ends(text):
            text = text.replace("\r\n", "\n")
        # without it, what is added would stand in the last line
        return cls(name, data, text if text.endswith("\n") else f"{text}\n", plain)

    def job(self) -> JobFile:
        """The checked job file that it is.

        Raises
        ------
        InputError
            If it is none; one line for each problem.
        """
        file, lines = job_file_of(self.plain)
        if file is None:
            raise refuse(self.name, lines)
        return file

    def changed(self, edit: Callable[[TOMLDocument], str | None], plain: dict[str, Any]) -> JobText:
        """The file with changes, which is read again before anybody writes it.

        Parameters
        ----------
        edit : callable
            Makes the changes in the document, where layout and comments stay; it may return a text
            of its own for it.
        plain : dict
            What the file must say then, worked out without its text.

        Raises
        ------
        InputError
            If it says anything else, or could not be read again.
        """
        import tomlkit
        from tomlkit.exceptions import TOMLKitError

        try:
            document = tomlkit.parse(self.text)
            text = edit(document) or tomlkit.dumps(document)
            right = parse_toml(text, self.name, WANTED) == plain
        except (TOMLKitError, InputError):
            right = False
        if not right:
            raise InputError(f"{self.name}: {LAYOUT}")
        windows = _has_windows_ends(self.data.decode("utf-8"))
        try:
            data = (text.replace("\n", "\r\n") if windows else text).encode("utf-8")
        except UnicodeEncodeError as error:
            result = "a text that is not UTF-8"
            raise InputError(f"{self.name}: found {result}; allowed: {WANTED}") from error
        if self.data.startswith(BOM):
            data = BOM + data
        if len(data) > LARGEST_FILE_BYTES:
            raise InputError(f"{self.name}: found {len(data)} bytes to write; allowed: {WANTED}")
        return JobText(self.name, data, text, plain)


def _has_windows_ends(text: str) -> bool:
    """Whether all lines end as on Windows."""
    return "\r\n" in text and text.count("\n") == text.count("\r\n")


def add_table(document: TOMLDocument, key: str, entry: Mapping[str, Any]) -> None:
    """Add a table to a list of tables, in the way in which a person has written those there.

    Parameters
    ----------
    document : TOMLDocument
    key : str
        Of the list, such as ``readings``.
    entry : mapping
        Keys and values of the table.
    """
    import tomlkit
    from tomlkit.items import AoT, Array

    there = document.get(key)
    if isinstance(there, Array):
        there.append(inline_table(entry))
        return
    if not isinstance(there, AoT):
        document[key] = tomlkit.aot()
    table = tomlkit.table()
    table.trivia.indent = "\n"  # an empty line before it
    table.update(entry)
    document[key].append(table)


def inline_table(entry: Mapping[str, Any]) -> Any:
    """A table in braces, on one line."""
    import tomlkit

    table = tomlkit.inline_table()
    table.update(entry)
    return table
