"""A server that was set back to an older copy gets again what it had received: from the phone, once,
and nothing that it still has.
"""

from __future__ import annotations

import shutil
import socket
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.looking import a_window
from tests.browser.zone_phone import PHONE, Thumb, open_zone, own_calls, own_reports, until
from tests.builders import MeetAtHand, a_meet
from tests.conftest import NewDatabase
from tests.running import Service, a_service

pytestmark = pytest.mark.browser


@pytest.fixture
def own_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def words(page: Page, text: str) -> None:
    page.locator("#words").evaluate("field => (field.closest('details').open = true)")
    page.locator("#words").fill(text)


def all_received(page: Page) -> None:
    expect(page.locator("#waiting .unsent")).to_have_count(0, timeout=20_000)
