"""A Chromium, and a service that it opens under a name: WebAuthn wants no bare address."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, Playwright, sync_playwright

from tests.browser.launching import a_browser
from tests.builders import MeetAtHand, a_meet
from tests.conftest import ENGINES, NewDatabase
from tests.running import Service, a_service


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """A page is the same wherever its data lie: both engines are for what the mark is on."""
    if "running_service" in metafunc.fixturenames:
        both = metafunc.definition.get_closest_marker("both_engines")
        engines = ENGINES if both else ENGINES[:1]
        metafunc.parametrize("running_service", engines, indirect=True, scope="session")


@pytest.fixture(scope="module")
def playwright() -> Iterator[Playwright]:
    """The library, for one file: while it is at work its loop runs in this thread, and the tests of
    other files could start none.
    """
    with sync_playwright() as playwright:
        yield playwright


@pytest.fixture(scope="module")
def _launched(playwright: Playwright) -> Iterator[Browser]:
    browser = a_browser(playwright)
    yield browser
    browser.close()


@pytest.fixture
def chromium(_launched: Browser) -> Iterator[Browser]:
    """A browser in which no window is open, neither at the test's begin nor after it."""
    yield _launched
    for context in _launched.contexts:
        context.close()


@pytest.fixture(scope="session")
def running_service(request: pytest.FixtureRequest, new_database: NewDatabase) -> Iterator[Service]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"http://localhost:{port}"
    with a_service(new_database(request.param), public_url=address, port=port) as service:
        yield service


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    hand = a_meet(service)
    hand.start()
    return hand


@pytest.fixture
def page(chromium: Browser, service: Service) -> Page:
    """A page of the service's own origin."""
    context = chromium.new_context()
    page = context.new_page()
    page.goto(f"{service.app.state.services.settings.public_url}/healthz")
    return page
