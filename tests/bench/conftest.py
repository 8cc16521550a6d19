"""A server and a real browser, both of this machine, for the tests of the page."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from selenium.webdriver import Chrome, ChromeOptions
from selenium.webdriver.chrome.service import Service

BROWSER, DRIVER = "/usr/bin/chromium", "/usr/bin/chromedriver"
SERVE = "from zcd.cli import main; raise SystemExit(main())"


@dataclass
class Server:
    """The command, running."""

    board_file: Path | None = None
    port: int = 0
    address: str = ""
    process: subprocess.Popen[str] | None = field(default=None, repr=False)

    def start(self) -> None:
        """Run it, and wait until it says where it is; the second time on the same port."""
        arguments = ["bench", "--no-browser", "--json", "--port", str(self.port)]
        if self.board_file is not None:
            arguments.insert(1, str(self.board_file))
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-c", SERVE, *arguments], stdout=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        told = "".join(iter(self.process.stdout.readline, "}\n")) + "}"
        self.address = json.loads(told)["address"]
        self.port = int(self.address.rstrip("/").rpartition(":")[2])

    def kill(self) -> None:
        """Without a word of warning."""
        if self.process is not None:
            self.process.kill()
            self.process.communicate()


@pytest.fixture(scope="package")
def server() -> Iterator[Server]:
    """A server without a board file."""
    running = Server()
    running.start()
    yield running
    running.kill()


@pytest.fixture(scope="package")
def browser() -> Iterator[Chrome]:
    """Headless Chromium from the system's packages, keeping a log of what it loads."""
    if not Path(DRIVER).exists():
        pytest.skip("no chromium and chromium-driver from the system's packages")
    options = ChromeOptions()
    options.binary_location = BROWSER
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"performance": "ALL", "browser": "ALL"})
    driver = Chrome(options=options, service=Service(DRIVER))
    driver.set_window_size(1280, 1000)
    yield driver
    driver.quit()
