"""A headless browser of a given size, for tests and pictures; skips where there is none."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

FLAGS = (
    "--headless=new --no-sandbox --disable-gpu --disable-quic --no-first-run "
    "--disable-background-networking --disable-component-update --disable-sync "
    "--disable-dev-shm-usage --hide-scrollbars"
).split()


def resize(driver: Any, width: int, height: int, *, scale: float = 1.0) -> None:
    """Make the window ``width`` x ``height`` CSS pixels; a narrow one is a phone's."""
    driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": scale, "mobile": width < 700},
    )


@contextmanager
def browser(width: int, height: int, *, scale: float = 1.0, night: bool = True) -> Iterator[Any]:
    """A driver whose window is ``width`` x ``height`` CSS pixels, in night or day colours."""
    program, driver_program = shutil.which("chromium"), shutil.which("chromedriver")
    if program is None or driver_program is None:
        pytest.skip("no browser: apt-get install chromium chromium-driver")
    webdriver = pytest.importorskip("selenium.webdriver", reason="pip install selenium")
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = program
    profile = tempfile.mkdtemp(prefix="lantern-browser-")
    for flag in (*FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    driver = webdriver.Chrome(options=options, service=Service(driver_program))
    try:
        resize(driver, width, height, scale=scale)
        driver.execute_cdp_cmd(
            "Emulation.setEmulatedMedia",
            {"features": [{"name": "prefers-color-scheme", "value": "dark" if night else "light"}]},
        )
        yield driver
    finally:
        driver.quit()
        shutil.rmtree(profile, ignore_errors=True)


def forget(driver: Any, url: str) -> None:
    """Empty what pages of an address have kept; an earlier one may have had the same port."""
    driver.execute_cdp_cmd(
        "Storage.clearDataForOrigin",
        {"origin": url.rstrip("/"), "storageTypes": "local_storage"},
    )


def screenshot(driver: Any, path: Path) -> None:
    """Write what the window shows as a PNG."""
    path.write_bytes(driver.get_screenshot_as_png())
