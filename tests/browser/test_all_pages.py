"""Every page, whatever it is about, in both languages, light and dark, narrow and enlarged.

With `SHOTS` naming a folder, the walk leaves a picture of each page in three sizes
there, to be looked at.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from app.pages.languages import languages
from tests.browser.directions import turned
from tests.browser.everything import a_whole_meet, leaves
from tests.browser.looking import SIZES, a_window, faults, sideways
from tests.running import Service

pytestmark = pytest.mark.browser

NARROW = 320
ENLARGED = [width // 2 for width, _height in SIZES.values() if width // 2 > NARROW]
"""A page at 200 % has half as many pixels of CSS; below 320 none has to fit (WCAG 2.2, 1.4.4 and
1.4.10).
"""
FOLDER = os.environ.get("SHOTS")


@pytest.mark.parametrize("language", languages())
def test_every_page_reads_well_in_each_language_theme_and_width(
    chromium: Browser, service: Service, language: str
) -> None:
    whole = a_whole_meet(service)
    shown, wrong = [], []
    for leaf in leaves(whole):
        shown.append(leaf.name)
        with a_window(chromium, service, leaf.who) as window:
            page = window.open(f"{leaf.path}{'&' if '?' in leaf.path else '?'}language={language}")
            wrong += [f"{leaf.name}: {one}" for one in _looked_at(page, language)]
            _pictures(page, f"{leaf.name}-{language}")
    assert not wrong, "\n".join(wrong)
    assert len(shown) == len(set(shown))


@pytest.mark.parametrize(
    ("content", "faults"),
    [
        ("<p>Lane 4, שובר 1, 42.10</p>", 1),
        ("<p>Lane 4, <bdi>שובר 1</bdi>, 42.10</p>", 0),
        ('<p dir="auto">שובר 1, 42.10</p>', 0),
        ("<select><option>4 · רצ 1</option><option>4 · \u2068רצ 1\u2069</option></select>", 1),
        ('<button aria-label="Change רצ 1">Change</button>', 1),
        ('<input name="name" value="رصيف"><input name="name" dir="auto" value="رصيف">', 1),
    ],
)
def test_a_name_that_is_not_set_apart_would_be_found(
    chromium: Browser, content: str, faults: int
) -> None:
    page = chromium.new_page()
    page.set_content(content)
    assert len(turned(page)) == faults
    page.close()


def _looked_at(page: Page, language: str) -> Iterator[str]:
    """What is wrong with a page, all its details opened: the first language in the light, others in
    the dark.
    """
    page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    theme = "light" if language == languages()[0] else "dark"
    page.emulate_media(color_scheme=theme, reduced_motion="reduce")
    if page.locator("html").get_attribute("lang") != language:
        yield "is in another language"
    for width in (NARROW, *ENLARGED, SIZES["desktop"][0]):
        page.set_viewport_size({"width": width, "height": 700})
        if over := sideways(page):
            yield f"{over} px too wide at {width}"
        if width in {NARROW, SIZES["desktop"][0]}:
            yield from faults(page)
    yield from turned(page)
    if page.evaluate("document.getAnimations().length"):
        yield "moves where it should keep still"


def _pictures(page: Page, name: str) -> None:
    if FOLDER is None:
        return
    for size, (width, height) in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        page.screenshot(path=Path(FOLDER) / f"{name}-{size}.png", full_page=True)
