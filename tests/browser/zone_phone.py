"""A zone official's phone in tests: its size, its page, and what a thumb does on it."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from playwright.sync_api import Page, Position, expect

from tests.browser.looking import SIZES, Watched
from tests.builders import MeetAtHand

PHONE: dict[str, Any] = {
    "viewport": {"width": SIZES["phone"][0], "height": SIZES["phone"][1]},
    "has_touch": True,
}
RECEIVED = "[data-way=received]"
IS_KEPT = """async () => {
    const known = await navigator.serviceWorker.getRegistration();
    if (known?.active?.state !== "activated" || !navigator.serviceWorker.controller) return false;
    for (const name of await caches.keys())
        if (await (await caches.open(name)).match(location.pathname)) return true;
    return false;
}"""


def open_zone(window: Watched, meet: MeetAtHand, *, keeps: bool = True) -> Page:
    """The page, in touch with the server, and its worker at work: what is sent while that takes the
    page over can slip past a route that a test has laid, and past a network that it took away.
    A test that lays a route and never opens the page again does better without the worker.
    """
    if not keeps:
        window.page.add_init_script("delete Navigator.prototype.serviceWorker;")
    page = window.open(f"/meets/{meet.id}/zone")
    expect(page.locator("#line")).to_have_attribute("data-state", "in touch")
    if keeps:
        kept_for_later(page)
    return page


def kept_for_later(page: Page) -> None:
    """Wait until the page's worker is at work and has it."""
    until(page, lambda: bool(page.evaluate(IS_KEPT)))


def place_baton(page: Page, share: float = 0.6) -> None:
    """Tap where the baton was, as a share of the drawing's width."""
    box = page.locator("#drawing").bounding_box()
    assert box is not None
    # By the drawing itself: it is waited for until it stands still.
    place: Position = {"x": box["width"] * share, "y": box["height"] / 2}
    page.locator("#drawing").tap(position=place)


class Thumb:
    """Taps, and counts them."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps = page, 0

    def tap(self, selector: str) -> None:
        self.page.locator(selector).first.tap()
        self.taps += 1

    def write_report(self, lane: int = 3) -> None:
        """From the yellow flag to the signed account."""
        self.tap("#yellow")
        self.tap(f"[data-do=lane][data-with='{lane}']")
        self.tap("[data-do=seen][data-with=pass_completed_beyond_zone]")
        place_baton(self.page)
        self.taps += 1
        self.tap("#sign")


def own_reports(meet: MeetAtHand) -> list[dict[str, Any]]:
    """What the server has of the umpire's, newest first."""
    return list(meet.umpire.get("reports").json())


def own_calls(meet: MeetAtHand) -> list[dict[str, Any]]:
    """The umpire's flags."""
    return list(meet.umpire.get("watch").json()["calls"])


def until(page: Page, known: Callable[[], bool], seconds: float = 15) -> None:
    """Wait, while the page goes on, until something is so on the server."""
    ends = time.monotonic() + seconds
    while not known():
        assert time.monotonic() < ends, "it never came to be"
        page.wait_for_timeout(50)
