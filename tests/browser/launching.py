"""Starting a Chromium: the one that is installed, and nothing that it asks the world for."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Playwright

QUIET = ("--disable-background-networking", "--disable-component-update", "--disable-sync")


def a_browser(playwright: Playwright, *arguments: str) -> Browser:
    """A browser whose windows leave nothing behind."""
    return playwright.chromium.launch(executable_path=_installed(), args=_arguments(*arguments))


@contextmanager
def a_lasting_browser(
    playwright: Playwright, folder: Path, *arguments: str, **options: Any
) -> Iterator[BrowserContext]:
    """A browser of its own, whose profile lies in a folder and is there after it."""
    context = playwright.chromium.launch_persistent_context(
        folder, executable_path=_installed(), args=_arguments(*arguments), **options
    )
    yield context
    context.close()


def _arguments(*more: str) -> list[str]:
    as_root = ["--no-sandbox"] if os.geteuid() == 0 else []
    return [*QUIET, *as_root, *more]


def _installed() -> str:
    path = shutil.which("chromium")
    if path is None:
        raise AssertionError(
            "chromium is not installed, so no page can be opened. Install it "
            "(apt-get install chromium) and run the tests again."
        )
    return path
