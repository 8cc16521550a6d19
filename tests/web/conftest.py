"""A server and a real browser, both of this machine, for the tests of the page."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO
from urllib.parse import urlsplit
from urllib.request import urlopen

import pytest
from selenium.common.exceptions import WebDriverException
from selenium.webdriver import Chrome, ChromeOptions
from selenium.webdriver.chrome.service import Service

BROWSER = (
    shutil.which("chromium-headless-shell")  # without windows: three fifths of the time of the next
    or shutil.which("chromium")
    or shutil.which("google-chrome")
)
DRIVER = shutil.which("chromedriver")
BROWSERS: list[Chrome] = []
COOKIES: dict[int, str] = {}
"""Of each port, as the server gave it to who opened it with its secret."""
SERVE = "import tests.few_samples_here; from zcd.cli import main; raise SystemExit(main())"


@dataclass
class Server:
    """The command, running."""

    folder: Path
    board_file: Path | None = None
    port: int = 0
    said: IO[str] | None = None
    code: str = SERVE
    address: str = ""
    cookie: str = ""
    process: subprocess.Popen[str] | None = field(default=None, repr=False)

    def start(self) -> None:
        """Run it, and wait until it says where it is; the second time on the same port."""
        arguments = ["bench", "--no-browser", "--json", "--port", str(self.port)]
        arguments += ["--jobs", str(self.folder)]
        if self.board_file is not None:
            arguments.insert(1, str(self.board_file))
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-c", self.code, *arguments],
            stdout=subprocess.PIPE,
            stderr=self.said,
            text=True,
        )
        assert self.process.stdout is not None
        told = ""
        while not told.endswith("}\n"):
            line = self.process.stdout.readline()
            assert line, "the server ended before it told its address"
            told += line
        opening = urlsplit(json.loads(told)["address"])
        assert opening.port is not None
        self.port = opening.port
        self.address = f"http://{opening.netloc}/"
        with urlopen(opening.geturl()) as answer:
            self.cookie = answer.headers["Set-Cookie"].partition(";")[0]
        COOKIES[self.port] = self.cookie
        for driver in BROWSERS:
            _show_cookies(driver)

    def step(self, name: str, step: str, **typed: str) -> str:
        """Address of a step of a job or board, of which this was typed."""
        draft = self.folder / f"{name}.draft"
        draft.unlink(missing_ok=True)
        if typed:
            texts = {key.replace("__", "."): text for key, text in typed.items()}
            said = {"window": "", "turn": 0, "texts": texts}
            draft.write_text(json.dumps(said), encoding="utf-8")
        return f"{self.address}job/{name}/{step}"

    @property
    def new(self) -> str:
        """Address of a board of which nothing was typed."""
        return f"{self.address}new"

    def kill(self) -> None:
        """Without a word of warning."""
        if self.process is not None:
            self.process.kill()
            self.process.communicate()


@contextmanager
def serving(folder: Path, **files: str) -> Iterator[Server]:
    """A server over a folder with these files, without their ending; the first is its board."""
    for name, words in files.items():
        (folder / f"{name}.toml").write_text(words, encoding="utf-8")
    board = next(iter(files), None)
    running = Server(folder, board_file=None if board is None else folder / f"{board}.toml")
    running.start()
    try:
        yield running
    finally:
        running.kill()


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server without a board file."""
    with serving(tmp_path_factory.mktemp("jobs")) as running:
        yield running


def _show_cookies(driver: Chrome) -> None:
    """Have a browser know all servers, as if it had opened each with its secret."""
    for port, cookie in COOKIES.items():
        name, _, value = cookie.partition("=")
        given = {"name": name, "value": value, "url": f"http://127.0.0.1:{port}/"}
        driver.execute_cdp_cmd(
            "Network.setCookie", {**given, "httpOnly": True, "sameSite": "Strict"}
        )


def new_browser() -> Chrome:
    """Headless Chromium from the system's packages, keeping a log of what it loads."""
    options = ChromeOptions()
    options.binary_location = str(BROWSER)
    for argument in (
        "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
        "--disable-extensions", "--disable-component-update", "--disable-background-networking",
    ):  # fmt: skip
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"performance": "ALL", "browser": "ALL"})
    driver = Chrome(options=options, service=Service(DRIVER))
    driver.set_window_size(1280, 1000)
    BROWSERS.append(driver)
    _show_cookies(driver)
    return driver


def end_browser(driver: Chrome) -> None:
    """Close a browser itself: its driver ends what was started, on Debian a shell script, and the
    browser would go on."""
    BROWSERS.remove(driver)
    with suppress(WebDriverException):  # it is gone before it answers
        driver.execute_cdp_cmd("Browser.close", {})
    driver.quit()


@pytest.fixture(scope="session")
def browser() -> Iterator[Chrome]:
    """A browser for all tests of the page."""
    if BROWSER is None or DRIVER is None:
        pytest.skip("not in the path: chromium-headless-shell or chromium, or chromedriver")
    driver = new_browser()
    yield driver
    end_browser(driver)
