"""A Chromium, and a service that it opens under a name: WebAuthn wants no bare address."""

from __future__ import annotations

import os
import shutil
import socket
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from tests.builders import MeetAtHand, a_meet
from tests.conftest import ENGINES, NewDatabase
from tests.running import Service, a_service

QUIET = ("--disable-background-networking", "--disable-component-update", "--disable-sync")


@pytest.fixture
def chromium() -> Iterator[Browser]:
    """A browser for one test: while the library is at work its loop runs in this thread, and other
    tests could start none.
    """
    path = shutil.which("chromium")
    if path is None:
        raise AssertionError(
            "chromium is not installed, so passkeys cannot be made. Install it "
            "(apt-get install chromium) and run the tests again."
        )
    as_root = ["--no-sandbox"] if os.geteuid() == 0 else []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=[*QUIET, *as_root])
        yield browser
        browser.close()


@pytest.fixture(scope="session", params=ENGINES)
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
def page(chromium: Browser, service: Service) -> Iterator[Page]:
    """A page of the service's own origin."""
    context = chromium.new_context()
    page = context.new_page()
    page.goto(f"{service.app.state.services.settings.public_url}/healthz")
    yield page
    context.close()
