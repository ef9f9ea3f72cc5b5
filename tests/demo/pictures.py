"""The README's pictures: four pages of a served demo, as Chromium shows them.

    python -m tests.demo.pictures

makes them anew in `seed_demo/pictures`. A test makes them too, so that the demo's links lead to
what the README shows. The invented names want fonts of their scripts (Debian: fonts-lohit-deva).
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from seed_demo.joining import PIN
from tests.demo.conftest import ROOT
from tests.demo.served import Served, a_served_demo

FOLDER = ROOT / "seed_demo" / "pictures"
COLOURS = 64
"""The pages have few colours; a palette of them makes a picture a third as large."""


@dataclass(frozen=True, slots=True)
class Pictured:
    """A page of the README: whose it is (nobody's where it is public), and its window in pixels."""

    name: str
    role: str | None
    width: int
    height: int


PAGES = (
    Pictured("phone", "umpire", 360, 640),
    Pictured("head-official", "referee", 1024, 768),
    Pictured("results-desk", "results", 1024, 768),
    Pictured("notice-board", None, 1024, 768),
)


def make_all(served: Served, chromium: Browser, folder: Path) -> list[Path]:
    """Join as each role, and write the page that it leads to; returns the files in their order."""
    return [_make(served, chromium, pictured, folder) for pictured in PAGES]


def _make(served: Served, chromium: Browser, pictured: Pictured, folder: Path) -> Path:
    size = {"width": pictured.width, "height": pictured.height}
    page = chromium.new_page(viewport=size, locale="en-GB")  # type: ignore[arg-type]
    if pictured.role is None:
        page.goto(served.board)
    else:
        _join(page, served.link(pictured.role))
    page.get_by_text("in touch with the server").wait_for()
    path = folder / f"{pictured.name}.png"
    path.write_bytes(_small(page.screenshot()))
    page.close()
    return path


def _join(page: Page, link: str) -> None:
    page.goto(link)
    page.get_by_label("PIN").fill(PIN)
    page.get_by_role("button", name="Yes, that is me: join").click()
    page.wait_for_url("**/meets/**")


def _small(png: bytes) -> bytes:
    small = BytesIO()
    with Image.open(BytesIO(png)) as picture:
        picture.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(
            small, "PNG", optimize=True
        )
    return small.getvalue()


@contextmanager
def _a_browser() -> Iterator[Browser]:
    path = shutil.which("chromium")
    if path is None:
        sys.exit("chromium is not installed, so no page can be pictured. Install it first.")
    as_root = ["--no-sandbox"] if os.geteuid() == 0 else []
    with sync_playwright() as playwright:
        yield playwright.chromium.launch(executable_path=path, args=as_root)


def main() -> None:
    """Make the pictures anew, and say how large each is."""
    FOLDER.mkdir(exist_ok=True)
    with (
        tempfile.TemporaryDirectory() as folder,
        a_served_demo(Path(folder)) as served,
        _a_browser() as chromium,
    ):
        for path in make_all(served, chromium, FOLDER):
            print(f"{path.relative_to(ROOT)}: {path.stat().st_size:,} bytes")


if __name__ == "__main__":
    main()
