"""Starts the system's Chromium for page tests and screenshots."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal

from playwright.sync_api import Browser, sync_playwright

QUIET = (
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--disable-default-apps",
    "--disable-dev-shm-usage",
)

WIDTHS = {"phone": 390, "desk": 1280}
SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")


def chromium_path() -> Path | None:
    """Where Chromium is, if it is installed."""
    named = os.environ.get("HILUM_CHROMIUM") or shutil.which("chromium")
    return Path(named) if named else None


@contextmanager
def chromium(path: Path) -> Iterator[Browser]:
    """Run Chromium without a window; it stops at the end."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(QUIET))
        try:
            yield browser
        finally:
            browser.close()
