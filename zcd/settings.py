"""What a bench sets once: the file where its settings stand, and what holds.

An option goes before a board or job file, that before the settings, those before the defaults.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from zcd.diagnosis.meters import Meter

VARIABLE = "ZCD_CONFIG"
"""Names another file; empty: there are no settings."""
FILE = "settings.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What is set; where nothing is, the defaults hold.

    Parameters
    ----------
    file : Path or None
        Where it was read; None: nowhere.
    mains : dict
        Keys of ``[mains]`` for new board files, as written.
    meter : Meter or None
        Where a job says none.
    meter_texts : dict
        The same, keys of ``[meter]`` as written.
    paper : str
        Of reports.
    drawer : Path or None
        Drawer file for substitutes.
    """

    file: Path | None = None
    mains: Mapping[str, Any] = field(default_factory=dict)
    meter: Meter | None = None
    meter_texts: Mapping[str, Any] = field(default_factory=dict)
    paper: str = "a4"
    drawer: Path | None = None


def settings_path() -> Path | None:
    """Where the settings are looked for; None: nowhere."""
    named = os.environ.get(VARIABLE)
    if named is not None:
        return Path(named).expanduser() if named else None
    import platformdirs

    return platformdirs.user_config_path("zcd", appauthor=False) / FILE


def load_settings() -> Settings:
    """Read the settings.

    Returns
    -------
    Settings
        Those of nobody where there is no file.

    Raises
    ------
    InputError
        If the file cannot be used, or one that `VARIABLE` names is not there; one line for each
        problem.
    """
    path = settings_path()
    if path is None or not (os.path.lexists(path) or VARIABLE in os.environ):
        return Settings()
    from zcd.diagnosis.settings_file import read_settings

    return read_settings(path)
