"""Read the settings of a bench: TOML, checked by what checks board and job files."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from zcd.arguments import PAPERS
from zcd.board.files import STAND_IN, board_from_dict
from zcd.board.schema import MainsTable, Table, mains_table, one_of
from zcd.board.toml_files import parse_toml, read_text, refuse, validate
from zcd.diagnosis.job import MeterTable, meter_of
from zcd.errors import InputError, invalid_value, plain
from zcd.settings import Settings

WANTED = "a settings file, TOML in UTF-8, up to 1 MB"
_DRAWER = 'the name of a drawer file such as "drawer.toml"'


def _file_name(value: object) -> str:
    if isinstance(value, str) and value.strip() and value.isprintable():
        return value.strip()
    raise invalid_value(value, _DRAWER)


class SettingsFile(Table):
    """The whole file."""

    mains: Annotated[MainsTable, BeforeValidator(mains_table)] | None = Field(
        default=None, description='a table, or a short form such as mains = "230 V 50 Hz"'
    )
    meter: MeterTable | None = Field(default=None, description="a table")
    paper: Annotated[str, BeforeValidator(one_of(*PAPERS))] = Field(
        default="a4", description=f"one of {', '.join(PAPERS)}"
    )
    drawer: Annotated[str, BeforeValidator(_file_name)] | None = Field(
        default=None, description=_DRAWER
    )


def read_settings(path: Path) -> Settings:
    """Read a settings file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Settings

    Raises
    ------
    InputError
        If it cannot be used; one line for each problem, which names the file with its folder.
    """
    name = plain(str(path))
    try:
        text = read_text(path, WANTED)
    except InputError as error:
        raise InputError(f"{name}: {str(error).partition(': ')[2]}") from error
    result = parse_toml(text, name, WANTED) if text.strip() else {}
    file, lines = validate(SettingsFile, result)
    if file is None:
        raise refuse(name, lines)
    mains: Any = {}
    if file.mains is not None:
        board_from_dict({**STAND_IN, "rectifier": "1N4007", "mains": result["mains"]}, name)
        mains = mains_table(result["mains"])
    drawer = None
    if file.drawer is not None:
        drawer = path.parent / Path(file.drawer).expanduser()
    return Settings(
        file=path,
        mains=mains,
        meter=None if file.meter is None else meter_of(file.meter),
        meter_texts=result.get("meter", {}),
        paper=file.paper,
        drawer=drawer,
    )
