"""What a person did where a text is no TOML, and the line as it should stand."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator, Sequence

from zcd.board.units import LONGEST_TEXT

_MARKS = "\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u201b\u00ab\u00bb\u2033"
_CURLY: dict[int, str] = dict.fromkeys(map(ord, _MARKS), '"')
_STRING = r'"[^"\n]*"|\'[^\'\n]*\''
_TOKENS = re.compile(rf"(?P<string>{_STRING})|(?P<value>[^\s,\[\]{{}}=#\"'][^,\[\]{{}}=#\"']*)")
_SCALAR = re.compile(
    r"true|false|[+-]?(?:0|[1-9]\d*)(?:\.\d+)?(?:[eE][+-]?\d+)?|\d{4}-\d\d-\d\d", re.ASCII
)
_STATEMENT = re.compile(r"\s*[\w.-]+\s*=")
_PAIRS = {"]": "[", "}": "{"}
_LONGEST = 80


def advice(text: str, line_number: int) -> tuple[str, str] | None:
    """What was found in a line that is no TOML, and what to write instead.

    Parameters
    ----------
    text : str
        Of the whole file.
    line_number : int
        Where reading stopped, counted from 1.

    Returns
    -------
    found, allowed : str
        None where nothing is known of such a line.

    Examples
    --------
    >>> advice("mains = 230 V", 1)
    ('a value without quotes', 'mains = "230 V" (each value in straight quotes)')
    """
    lines = text.splitlines() or [""]
    line = lines[min(line_number, len(lines)) - 1].expandtabs()
    if len(line) > LONGEST_TEXT or not line.isprintable():
        return None
    for look in _LOOKS:
        if (said := look(line)) is not None:
            return said
    return _no_comma_above(lines[:line_number]) or _brackets(lines[:line_number])


def _no_comma_above(lines: Sequence[str]) -> tuple[str, str] | None:
    """A value that begins a line below one that ends without a comma."""
    above, line = ([""] + [text.strip() for text in lines])[-2:]
    if line[:1] not in {'"', "'"} or re.search(rf"(?:{_STRING})$", above) is None:
        return None
    shown = len(above) < _LONGEST and above.isprintable()
    mended = f"{above}," if shown else "a comma behind the first"
    return f"no comma at the end of line {len(lines) - 1}", mended


def _brackets(lines: Sequence[str]) -> tuple[str, str] | None:
    """A list or a table in braces that has no end, or another one than it should."""
    still_open: list[tuple[str, int]] = []
    for number, line in enumerate(lines, 1):
        if len(line) > LONGEST_TEXT or '"""' in line or "'''" in line:
            return None
        if still_open and still_open[-1][0] == "[" and _STATEMENT.match(line):
            return _no_end(still_open[-1][1])
        for sign in re.sub(rf"{_STRING}|#.*", "", line):
            if sign in "[{":
                still_open.append((sign, number))
            elif sign in "]}":
                if not still_open:
                    return f"{sign} without {_PAIRS[sign]} before it", "both, or neither"
                begun = still_open.pop()[0]
                if begun != _PAIRS[sign]:
                    return f"{begun} and {sign} as a pair", "[...] for a list, {...} for a table"
        if still_open and still_open[-1][0] == "{":
            return "{ without } in the same line", "the whole table in one line, } at its end"
    return _no_end(still_open[-1][1]) if still_open else None


def _no_end(line: int) -> tuple[str, str]:
    return f"a list that is not closed (begun in line {line})", "] behind its last value"


def _curly(line: str) -> tuple[str, str] | None:
    """Quotes as word processors and telephones set them."""
    mended = line.translate(_CURLY)
    return None if mended == line else ("curly quotes", _shown(mended, "straight quotes"))


def _colon(line: str) -> tuple[str, str] | None:
    match = re.fullmatch(r"\s*([\w-]+)\s*:\s*(\S.*)", line)
    if match is None:
        return None
    mended = f"{match[1]} = {match[2]}"
    return "a colon behind a key", _shown("".join(_quoted(mended)), "= in its place")


def _no_equals(line: str) -> tuple[str, str] | None:
    match = re.fullmatch(r"\s*([\w-]+)\s+([\"'\[{\d].*)", line)
    if match is None:
        return None
    mended = f"{match[1]} = {match[2]}"
    return "no = behind a key", _shown("".join(_quoted(mended)), "= between key and value")


def _spaced_key(line: str) -> tuple[str, str] | None:
    match = re.search(r"(?:^|[{,])\s*([A-Za-z]+(?:[ \t]+[A-Za-z]+)+)[ \t]*=", line)
    if match is None:
        return None
    key = re.sub(r"[ \t]+", "_", match[1]).lower()
    return f'a space in the key "{match[1]}"', key


def _open_header(line: str) -> tuple[str, str] | None:
    match = re.fullmatch(r"\s*\[\s*([\w.-]+)\s*(?:#.*)?", line)
    return None if match is None else ("no ] behind a table's name", f"[{match[1]}]")


def _odd_quotes(line: str) -> tuple[str, str] | None:
    if line.count('"') % 2 == 0 or '"""' in line:
        return None
    return "a quote that is not closed", _closed(line) or 'both quotes, such as supply = "5 V"'


def _closed(line: str) -> str:
    """The line with the quote that it lacks behind a value; empty where it has no place."""
    for place in (match.start() for match in re.finditer(r"[,\]}]|\s*$", line)):
        mended = f'{line[:place]}"{line[place:]}'.strip()
        try:
            read = tomllib.loads(mended)
        except tomllib.TOMLDecodeError:
            continue
        if not any(sign in text for text in _strings(read) for sign in ',="[]{}'):
            return mended if len(mended) <= _LONGEST else ""
    return ""


def _strings(value: object) -> Iterator[str]:
    """All texts in what was read."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict | list):
        for each in value.values() if isinstance(value, dict) else value:
            yield from _strings(each)


def _bare_list(line: str) -> tuple[str, str] | None:
    match = re.search(
        rf"(?:^|[{{,])\s*([\w.-]+)\s*=\s*((?:{_STRING})(?:\s*,\s*(?:{_STRING}))+)\s*(?:[,}}]|$)",
        line,
    )
    if match is None:
        return None
    return "several values without brackets", f"{match[1]} = [{match[2]}]"


def _no_braces(line: str) -> tuple[str, str] | None:
    match = re.fullmatch(r"\s*([\w-]+)\s*=\s*([\w-]+\s*=\s*.*\S)\s*", line)
    if match is None:
        return None
    return "two = in a row", _shown(f"{match[1]} = {{{match[2]}}}", "a table in braces")


def _doubled_quotes(line: str) -> tuple[str, str] | None:
    match = re.fullmatch(r'(\s*[\w.-]+\s*=\s*)""([^"]+)""\s*', line)
    if match is None:
        return None
    return "two quotes at each end", _shown(f'{match[1]}"{match[2]}"', "one at each end")


def _nothing(line: str) -> tuple[str, str] | None:
    match = re.fullmatch(r"\s*([\w.-]+)\s*=\s*(?:#.*)?", line)
    if match is None:
        return None
    return f"nothing behind {match[1]} =", "a value in quotes, or # before a line that is not used"


def _behind_value(line: str) -> tuple[str, str] | None:
    """A remark, or another sign, behind a value that is whole."""
    match = re.fullmatch(rf"(\s*[\w.-]+\s*=\s*(?:{_STRING}))\s*(;|//|--|\()\s*(.*)", line)
    if match is None:
        return None
    remark = re.sub(r"\)$", "", match[3].strip())
    mended = f"{match[1].strip()}  # {remark}" if remark else match[1].strip()
    return f'"{match[2]}" behind a value', f"{mended} (# begins a remark)" if remark else mended


def _backslash(line: str) -> tuple[str, str] | None:
    if re.search(r'"[^"\n]*\\[^"\n]*"', line) is None:
        return None
    return "a backslash between double quotes", "/ in its place, or '...' around the text"


def _end_comma(line: str) -> tuple[str, str] | None:
    match = re.fullmatch(rf"(\s*[\w.-]+\s*=\s*(?:{_STRING}|[\d.]+))\s*,\s*", line)
    if match is None:
        return None
    return "a comma at the end of a line", _shown(match[1], "without it")


def _no_comma(line: str) -> tuple[str, str] | None:
    mended = re.sub(rf"({_STRING})\s+(?=[\"']|[\w-]+\s*=)", r"\1, ", line)
    if mended == line:
        return None
    return "two values without a comma", _shown(mended, "a comma between them")


def _unquoted(line: str) -> tuple[str, str] | None:
    """Values such as ``230 V``, ``1N4007`` or ``0805`` that need quotes."""
    mended = "".join(_quoted(line))
    if mended == line:
        return None
    return "a value without quotes", _shown(mended, "each value in straight quotes")


def _quoted(line: str) -> Iterator[str]:
    """The line with every bare value in quotes; keys and a comment stay."""
    at = 0
    for match in _TOKENS.finditer(line):
        if "#" in line[at : match.start()]:
            break
        yield line[at : match.start()]
        word, at = match[0], match.end()
        bare = word.strip()
        is_key = line[match.end() :].lstrip().startswith("=")
        if match["string"] or is_key or _SCALAR.fullmatch(bare) or not bare:
            yield word
        else:
            yield f'"{bare}"{word[len(word.rstrip()) :]}' if word.rstrip() == bare else word
    yield line[at:]


def _shown(mended: str, words: str) -> str:
    """The line put right, where it then is TOML and short enough to be shown."""
    line = re.sub(r"\s*#[^\"']*$", "", mended).strip()
    try:
        tomllib.loads(line)
    except ValueError:
        return words
    return f"{line} ({words})" if len(line) <= _LONGEST and line.isprintable() else words


_LOOKS: tuple[Callable[[str], tuple[str, str] | None], ...] = (
    _curly,
    _spaced_key,
    _colon,
    _no_equals,
    _open_header,
    _nothing,
    _doubled_quotes,
    _odd_quotes,
    _bare_list,
    _no_braces,
    _behind_value,
    _end_comma,
    _unquoted,
    _no_comma,
    _backslash,
)
