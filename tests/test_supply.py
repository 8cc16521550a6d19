"""What comes from others: which, whence, under which licence, and unchanged."""

from __future__ import annotations

import hashlib
import re
import tomllib
from functools import cache
from importlib.metadata import PackageNotFoundError, metadata
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[1]
STATIC = ROOT / "zcd" / "web" / "static"
SAID = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
WORKFLOW = (ROOT / ".github" / "workflows" / "ci.yml").read_text(encoding="utf-8")
ADDRESS = "//"
WORDS = {
    "BSD-3-Clause": "BSD",
    "MIT": "MIT",
    "Apache-2.0": "Apache",
    "MPL-2.0": "MPL-2.0",
    "PSF (matplotlib's own text)": "Python Software Foundation",
    "GPL-3.0-or-later": "GPL",
}
"""What a package's metadata say somewhere of each licence."""


BY_HAND = {"atheris", "ipywidgets"}
"""Of extras that no test needs: they are not installed."""


@cache
def project() -> dict[str, Any]:
    table: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    return table["project"]


@cache
def packages() -> tuple[str, ...]:
    """All that is depended on, with and without extras."""
    extras = project()["optional-dependencies"].values()
    every = [*project()["dependencies"], *(each for extra in extras for each in extra)]
    return tuple(re.split(r"[><=;\[ ]", each)[0] for each in every)


@cache
def licences() -> dict[str, str]:
    """The rows of the table, a package each."""
    table = SAID[SAID.index("| package | licence |") :].partition("\n\n")[0]
    rows = [row.strip("| ").split(" | ") for row in table.splitlines()[2:]]
    return {name: licence for names, licence, _ in rows for name in names.split(", ")}


def test_every_dependency_has_its_rows() -> None:
    reasons = SAID[SAID.index("| package | why |") :].partition("\n\n")[0]
    for name in packages():
        assert name in licences(), name
        assert re.search(rf"\b{re.escape(name)}\b", reasons), name
    assert set(licences()) == {*packages(), "htmx"}


@pytest.mark.parametrize("name", sorted({*packages()} - BY_HAND))
def test_licences_are_those_that_the_packages_state(name: str) -> None:
    """Source: each installed package's own metadata (those of `BY_HAND` read from their wheels)."""
    try:
        told = metadata(name)
    except PackageNotFoundError:
        pytest.fail(f"{name} is not installed")
    keys = ("License-Expression", "License", "Classifier")
    stated = " ".join(value for key in keys for value in told.get_all(key) or ())
    licence = licences()[name]
    assert WORDS.get(licence, licence) in stated, stated[:300]


def test_pyspice_may_be_used_under_a_later_version() -> None:
    """Its metadata say GPLv3 only; its files, which count, say "or any later version"."""
    import importlib.util

    found = importlib.util.find_spec("PySpice")
    assert found is not None
    assert found.origin is not None
    head = " ".join(Path(found.origin).read_text(encoding="utf-8")[:1500].replace("#", " ").split())
    assert "either version 3 of the License, or (at your option) any later version" in head


def test_htmx_is_what_was_published() -> None:
    """SHA-256 of the file that the project published as 4.0.1 (its package `htmx.org`)."""
    data = (STATIC / "htmx.min.js").read_bytes()
    assert hashlib.sha256(data).hexdigest() in SAID
    version = re.search(rb'version="([\d.]+)"', data)
    assert version is not None
    assert f"htmx {version[1].decode()}: `dist/htmx.min.js` of github.com/bigskysoftware" in SAID


def test_licences_of_others_go_with_the_package() -> None:
    assert project()["license"] == "GPL-3.0-or-later"
    assert project()["license-files"] == ["LICENSE", "zcd/web/static/htmx-LICENSE"]
    for name in project()["license-files"]:
        assert (ROOT / name).is_file()
    assert "Zero-Clause BSD" in (STATIC / "htmx-LICENSE").read_text(encoding="utf-8")


def test_public_checks_run_on_three_systems_with_the_commands_of_the_readme() -> None:
    for system in ("ubuntu-latest", "macos-latest", "windows-latest"):
        assert system in WORKFLOW
    for number in (1, 2):
        assert f".ci/readme-command {number}" in WORKFLOW
    assert ADDRESS not in WORKFLOW
