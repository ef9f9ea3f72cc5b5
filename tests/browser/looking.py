"""A browser's page that notices by itself what no page of the program may do."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Request, Response

from app.access.cookies import cookie_name
from tests.builders import Person
from tests.running import Service

SIZES = {"phone": (360, 640), "tablet": (1024, 768), "desktop": (1440, 900)}
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa", "best-practice"]
"""axe-core leaves the sizes of targets out unless the tags of WCAG 2.2 are named."""


class Watched:
    """A page, and what went wrong on it: errors, broken policies, requests to other hosts."""

    def __init__(self, page: Page, home: str) -> None:
        self.page, self.home = page, home
        self.wrong: list[str] = []
        self.expects: set[int] = set()
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.wrong.append(f"error: {error}"))
        page.on("request", self._request)
        page.on("response", self._response)

    def _console(self, message: ConsoleMessage) -> None:
        # The browser tells every answer of 400 or more; which of them are expected, a test says.
        about_answer = "Failed to load resource" in message.text
        if message.type in {"error", "warning"} and not about_answer:
            self.wrong.append(f"console: {message.text}")

    def _request(self, request: Request) -> None:
        if not request.url.startswith((self.home, "blob:", "data:")):
            self.wrong.append(f"asks another host: {request.url}")

    def _response(self, response: Response) -> None:
        if response.status >= 400 and response.status not in self.expects:
            self.wrong.append(f"{response.status}: {response.request.method} {response.url}")

    def open(self, path: str) -> Page:
        """Go to an address of the service."""
        self.page.goto(self.home + path)
        return self.page


def home_of(service: Service) -> str:
    """The service's address as browsers are told it."""
    return str(service.app.state.services.settings.public_url)


@contextmanager
def a_window(
    chromium: Browser, service: Service, who: Person | None = None, **options: Any
) -> Iterator[Watched]:
    """A browser's window, joined as somebody; it fails at its end where something went wrong."""
    context: BrowserContext = chromium.new_context(**{"locale": "en-GB", **options})
    home = home_of(service)
    if who is not None:
        name = cookie_name(who.meet, secure=home.startswith("https"))
        cookie: Any = {"name": name, "value": who.token, "url": home, "httpOnly": True}
        context.add_cookies([cookie])
    watched = Watched(context.new_page(), home)
    yield watched
    context.close()
    assert watched.wrong == []


def faults(page: Page) -> list[str]:
    """What axe-core finds against WCAG 2.2 AA and good practice, a line each."""
    if page.evaluate("typeof axe") == "undefined":
        page.evaluate(AXE_SCRIPT)
    # Told of all that passes too, it takes several times as long.
    asked = json.dumps({"runOnly": WCAG, "resultTypes": ["violations"]})
    found = page.evaluate(f"axe.run({asked}).then(({{ violations }}) => violations)")
    return [
        f"{one['id']}: {node['html'][:160]} ({node.get('failureSummary', '')[:200]})"
        for one in found
        for node in one["nodes"]
    ]


def sideways(page: Page) -> int:
    """How many pixels a page is wider than its window: 0 where nobody has to scroll sideways."""
    wide: int = page.evaluate(
        "Math.max(0, document.documentElement.scrollWidth - document.documentElement.clientWidth)"
    )
    return wide
