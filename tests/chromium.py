"""Selects and starts the Chromium of the browser tests and the bench."""

import shutil
from typing import Final

from playwright.sync_api import Browser, Playwright

NAMES: Final = ("chromium", "chromium-browser", "google-chrome")
SHELLS: Final = ("chromium-headless-shell", *NAMES)  # the first has no window and none of its work
FLAGS: Final = [
    "--no-sandbox",  # a container's root may not have one, and every page opened here is ours
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def executable() -> str | None:
    """The system's Chromium; None stands for Playwright's own download."""
    return next(filter(None, map(shutil.which, NAMES)), None)


def shell() -> str | None:
    """Chromium's headless shell if the system has it, else as `executable`: for tests, which measure no speed."""
    return next(filter(None, map(shutil.which, SHELLS)), None)


def launch(playwright: Playwright) -> Browser:
    """A Chromium without a window."""
    return playwright.chromium.launch(executable_path=executable(), args=FLAGS)
