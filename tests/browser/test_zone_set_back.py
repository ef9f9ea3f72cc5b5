"""A server that was set back to an older copy gets again what it had received: from the phone,
once, and nothing that it still has.
"""

from __future__ import annotations

import socket
import sqlite3
from contextlib import ExitStack, closing
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.browser.looking import a_window, faults
from tests.browser.zone_phone import (
    PHONE,
    RECEIVED,
    Thumb,
    open_zone,
    own_calls,
    own_reports,
    until,
)
from tests.builders import MeetAtHand, a_meet
from tests.conftest import NewDatabase
from tests.running import Service, a_service

pytestmark = pytest.mark.browser


@pytest.fixture
def own_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def copied(database: str, to: Path) -> str:
    """A copy of a SQLite database that is at work."""
    source, target = sqlite3.connect(database.removeprefix("sqlite:///")), sqlite3.connect(to)
    with closing(source), closing(target):
        source.backup(target)
    return f"sqlite:///{to}"


def lanes(meet: MeetAtHand) -> list[tuple[int | None, str]]:
    return [(one["lane"], one["state"]) for one in own_reports(meet)]


def what_is_said(reports: list[dict[str, Any]]) -> list[tuple[Any, ...]]:
    told = [(one["id"], one["lane"], one["state"], str(one["observation"])) for one in reports]
    return sorted(told, key=lambda one: one[0])


def ids(rows: list[dict[str, Any]]) -> list[str]:
    return [one["id"] for one in rows]


def account_of_the_flag(page: Page, lane: int) -> None:
    page.locator(f"[data-do=lane][data-with='{lane}']").tap()
    page.locator("[data-do=seen][data-with=pass_completed_beyond_zone]").tap()
    page.locator("#drawing").press("ArrowRight")
    page.locator("#sign").tap()


def all_received(page: Page) -> None:
    expect(page.locator(f".entry {RECEIVED}").first).to_be_visible(timeout=20_000)
    expect(page.locator("#waiting .unsent")).to_have_count(0, timeout=20_000)


def test_a_server_that_was_set_back_gets_flags_accounts_and_withdrawals_again(
    chromium: Browser, new_database: NewDatabase, own_port: int, tmp_path: Path
) -> None:
    database, home = new_database("sqlite"), f"http://localhost:{own_port}"
    with ExitStack() as running:
        service = running.enter_context(a_service(database, public_url=home, port=own_port))
        meet = a_meet(service)
        meet.start()
        with a_window(chromium, service, meet.umpire, **PHONE) as window:
            page = open_zone(window, meet)
            Thumb(page).write_report(3)
            until(page, lambda: lanes(meet) == [(3, "written")])
            page.locator("#yellow").tap()
            until(page, lambda: len(own_calls(meet)) == 2)
            older = copied(database, tmp_path / "older.db")
            account_of_the_flag(page, 4)
            Thumb(page).write_report(5)
            until(page, lambda: (5, "written") in lanes(meet))
            page.locator(".entry [data-do=withdraw]").first.tap()
            page.locator("[data-do=withdraw-because]").first.tap()
            until(page, lambda: (5, "withdrawn") in lanes(meet))
            all_received(page)
            before, calls = own_reports(meet), own_calls(meet)
            running.close()
            set_back = running.enter_context(a_service(older, public_url=home, port=own_port))
            meet.umpire.http = set_back.http
            until(page, lambda: what_is_said(own_reports(meet)) == what_is_said(before), seconds=30)
            expect(page.locator("#lost")).to_contain_text("4 items")
            all_received(page)
            assert faults(page) == []
            assert ids(own_calls(meet)) == ids(calls)


def test_an_answer_from_before_a_report_was_received_sends_nothing_again(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    held: list[Route] = []
    sent: list[str] = []

    def hold_the_first(route: Route) -> None:
        if not held:
            held.append(route)
        else:
            route.continue_()

    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet, keeps=False)
        page.on("request", lambda one: sent.append(one.url) if one.method == "PUT" else None)
        early = meet.umpire.get("watch").json()
        page.route("**/watch", hold_the_first)
        page.evaluate("dispatchEvent(new Event('offline'))")
        until(page, lambda: bool(held))
        Thumb(page).write_report()
        all_received(page)
        held[0].fulfill(json=early)
        expect(page.locator(".entry")).to_contain_text("written")
        page.wait_for_timeout(1500)
        expect(page.locator("#lost")).to_have_count(0)
    assert len(sent) == len(set(sent)) == 2
