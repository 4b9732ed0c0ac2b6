"""A real browser without a window; where there is none the tests fail with what to install, they do not vanish."""

from __future__ import annotations

import base64
import datetime
import io
import json
import os
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from sim.studies.report.report import write_report
from tests.studies.report.report_cases import den

os.environ["SE_AVOID_STATS"] = "true"
os.environ["SE_OFFLINE"] = "true"

MISSING = (
    "{what} was not found: install the packages chromium and chromium-driver (Debian names) and the Python package "
    "selenium, or leave these tests out by name with: pytest -m 'not browser'"
)
ALWAYS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--use-gl=angle",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--window-size=1280,900",
    "--force-prefers-reduced-motion",
    "--disable-dev-shm-usage",
)


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "browser: needs Chromium and its driver")


class Tab:
    """One browser with what the tests do in it."""

    def __init__(self, folder: Path, *more: str) -> None:
        try:
            from selenium import webdriver
            from selenium.webdriver.chrome.options import Options
            from selenium.webdriver.chrome.service import Service
        except ImportError:
            pytest.fail(MISSING.format(what="selenium"), pytrace=False)
        places = [shutil.which(name) for name in ("chromium", "chromium-browser", "google-chrome")]
        program, driver = next((place for place in places if place), None), shutil.which("chromedriver")
        if program is None or driver is None:
            pytest.fail(MISSING.format(what="Chromium" if program is None else "chromedriver"), pytrace=False)
        options = Options()
        options.binary_location = program
        for argument in (*ALWAYS, *more, f"--user-data-dir={folder}"):
            options.add_argument(argument)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
        self.driver = webdriver.Chrome(options=options, service=Service(driver))

    def size(self, width: int, height: int, *, phone: bool = False) -> None:
        self.tell(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=2 if phone else 1,
            mobile=phone,
        )

    def tell(self, command: str, **arguments: object) -> dict:
        return self.driver.execute_cdp_cmd(command, arguments)

    def run(self, script: str, *arguments: object) -> object:
        return self.driver.execute_script(script, *arguments)

    def visit(self, path: Path, *, scripts: bool = True) -> None:
        self.driver.get_log("browser")
        self.driver.get_log("performance")
        self.driver.get(path.as_uri())
        if scripts:
            self.wait("return document.documentElement.dataset.ready")

    def wait(self, script: str, seconds: float = 20.0) -> object:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            value = self.run(script)
            if value:
                return value
            time.sleep(0.05)
        raise AssertionError(f"never true: {script}")

    def settle(self) -> None:
        """Wait until whatever was asked for is drawn."""
        self.driver.execute_async_script(
            "const done = arguments[0]; requestAnimationFrame(() => requestAnimationFrame(done))"
        )

    def canvas(self) -> np.ndarray:
        """Pixels (height, width, 3) of the picture that turns."""
        from PIL import Image

        self.settle()
        text = str(self.run("return document.getElementById('canvas').toDataURL('image/png')"))
        return np.asarray(Image.open(io.BytesIO(base64.b64decode(text.partition(",")[2]))).convert("RGB"))

    def error_messages(self) -> list[str]:
        """What the console was told, less what a test itself causes by reading pixels."""
        return [
            entry["message"]
            for entry in self.driver.get_log("browser")
            if "GPU stall due to ReadPixels" not in entry["message"]
        ]

    def requests(self) -> list[str]:
        """Addresses that the page asked for since it was visited."""
        messages = [json.loads(entry["message"])["message"] for entry in self.driver.get_log("performance")]
        return [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]


@pytest.fixture(scope="session")
def tab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Tab]:
    opened = Tab(tmp_path_factory.mktemp("browser"))
    yield opened
    opened.driver.quit()


@pytest.fixture(scope="session")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "report.html"
    write_report([den(panels=True)], path, date=datetime.date(2026, 11, 25))
    return path


@pytest.fixture(scope="session")
def compared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("compared") / "report.html"
    write_report([den(), den(panels=True)], path, date=datetime.date(2026, 11, 25), titles=["bare", "with panels"])
    return path
