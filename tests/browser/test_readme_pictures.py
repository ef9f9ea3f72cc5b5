"""The README's pictures can be made at any time from the demo, and stay small."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser

from tests.demo.conftest import ROOT
from tests.demo.pictures import FOLDER, PAGES, make_all
from tests.demo.served import a_served_demo

pytestmark = pytest.mark.browser

LARGEST = 60_000
"""Bytes of a picture, so that a clone stays small and the README opens at once."""
SHOWN = re.compile(r'<img src="(seed_demo/pictures/[^"]+)"[^>]*\balt="([^"]+)"')


def test_the_demos_links_lead_to_the_pages_that_the_readme_shows(
    chromium: Browser, tmp_path: Path
) -> None:
    with a_served_demo(tmp_path) as served:
        made = make_all(served, chromium, tmp_path)
    for path, page in zip(made, PAGES, strict=True):
        assert path.stat().st_size < LARGEST
        with Image.open(path) as now, Image.open(FOLDER / path.name) as kept:
            assert now.size == kept.size == (page.width, page.height)


def test_the_readme_shows_each_picture_and_says_what_is_on_it() -> None:
    shown = dict(SHOWN.findall((ROOT / "README.md").read_text(encoding="utf-8")))
    assert set(shown) == {f"seed_demo/pictures/{page.name}.png" for page in PAGES}
    assert all(len(words) > 40 for words in shown.values())
    assert {path.name for path in FOLDER.iterdir()} == {f"{page.name}.png" for page in PAGES}
    assert all(path.stat().st_size < LARGEST for path in FOLDER.iterdir())
