"""What an official has shown and written on the phone comes to the server: once, in order, whatever
happens to the network, the phone, its session or the server.
"""

from __future__ import annotations

import os
import signal
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, Route, expect

from app.access.cookies import cookie_name
from tests.browser.launching import a_lasting_browser
from tests.browser.looking import a_window, faults, home_of
from tests.browser.zone_phone import (
    PHONE,
    RECEIVED,
    Thumb,
    kept_for_later,
    open_zone,
    own_calls,
    own_reports,
    until,
)
from tests.builders import MeetAtHand, Person, a_meet
from tests.conftest import NewDatabase
from tests.running import Service, a_service

pytestmark = pytest.mark.browser


def states(meet: MeetAtHand) -> list[str]:
    return sorted(one["state"] for one in own_reports(meet))


def written(meet: MeetAtHand) -> bool:
    return states(meet) == ["written"]


def a_cookie(who: Person, home: str, token: str = "") -> Any:
    name = cookie_name(who.meet, secure=home.startswith("https"))
    return {"name": name, "value": token or who.token, "url": home, "httpOnly": True}


def is_offline(page: Page) -> None:
    expect(page.locator("#line")).to_have_attribute("data-state", "out of touch")


@pytest.mark.both_engines
def test_a_report_without_a_network_outlives_a_reload_and_goes_once_in_order(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        kept_for_later(page)
        page.context.set_offline(True)
        is_offline(page)
        page.locator("#white").tap()
        Thumb(page).write_report()
        expect(page.locator("#waiting .unsent")).to_contain_text("3 items")
        expect(page.locator(".entry [data-way=here]")).to_be_visible()
        assert faults(page) == []
        page.reload()
        is_offline(page)
        expect(page.locator("#waiting .unsent")).to_contain_text("3 items")
        assert own_calls(meet) == []
        page.context.set_offline(False)
        until(page, lambda: written(meet))
        expect(page.locator(f".entry {RECEIVED}")).to_be_visible()
        expect(page.locator("#waiting .unsent")).to_have_count(0)
    assert [call["flag"] for call in own_calls(meet)] == ["white", "yellow"]


@pytest.mark.both_engines
def test_an_answer_that_was_lost_does_nothing_twice(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    lost: list[str] = []

    def lose_the_first_answer(route: Route) -> None:
        if route.request.method == "PUT" and route.request.url not in lost:
            lost.append(route.request.url)
            route.fetch()
            route.abort()
        else:
            route.continue_()

    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet, keeps=False)
        page.route("**/api/meets/*/calls/*", lose_the_first_answer)
        page.route("**/api/meets/*/reports/*", lose_the_first_answer)
        Thumb(page).write_report()
        expect(page.locator("#send-now")).to_be_visible()
        until(page, lambda: len(lost) == 2)
        expect(page.locator("#waiting .unsent")).to_have_count(0, timeout=15_000)
        assert written(meet)
        assert len(own_calls(meet)) == 1


@pytest.mark.both_engines
def test_two_windows_send_everything_once(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        kept_for_later(page)
        other = page.context.new_page()
        other.goto(page.url)
        expect(other.locator("#line")).to_have_attribute("data-state", "in touch")
        # A window behind another one is drawn once a second, and a tap waits for three of them.
        page.bring_to_front()
        page.context.set_offline(True)
        is_offline(page)
        Thumb(page).write_report()
        expect(other.locator("#waiting .unsent")).to_contain_text("2 items")
        sent: list[str] = []
        page.context.on(
            "request", lambda one: sent.append(one.url) if one.method == "PUT" else None
        )
        page.context.set_offline(False)
        until(page, lambda: written(meet))
        expect(other.locator(f".entry {RECEIVED}")).to_be_visible()
        assert len(sent) == len(set(sent)) == 2


@pytest.mark.both_engines
def test_a_session_that_ended_keeps_everything_and_sends_it_after_joining_again(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        kept_for_later(page)
        window.expects = {401}
        home = home_of(service)
        page.context.add_cookies([a_cookie(meet.umpire, home, "no-session-any-more")])
        Thumb(page).write_report()
        expect(page.locator("#waiting")).to_contain_text("This session has ended")
        expect(page.locator("#waiting .unsent")).to_contain_text("2 items")
        assert faults(page) == []
        page.reload()
        expect(page.locator("#waiting .unsent")).to_contain_text("2 items")
        page.context.add_cookies([a_cookie(meet.umpire, home)])
        page.reload()
        until(page, lambda: written(meet))


@pytest.mark.both_engines
def test_another_official_on_the_same_phone_sends_nothing_in_the_first_ones_name(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        kept_for_later(page)
        page.context.set_offline(True)
        is_offline(page)
        Thumb(page).write_report()
        page.context.add_cookies([a_cookie(meet["second"], home_of(service))])
        page.context.set_offline(False)
        expect(page.locator("#waiting .note")).to_contain_text(
            "2 items of other officials", timeout=15_000
        )
        expect(page.locator(".zone-head .where")).to_contain_text("second")
        assert own_reports(meet) == []
        assert meet["second"].get("watch").json()["calls"] == []
        page.context.add_cookies([a_cookie(meet.umpire, home_of(service))])
        page.reload()
        until(page, lambda: written(meet))


@pytest.mark.both_engines
def test_what_the_server_does_not_take_is_kept_and_can_be_put_right(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    def spoil(route: Route) -> None:
        sent = route.request.post_data_json
        route.continue_(post_data=str({**sent, "lane": 99}).replace("'", '"'))

    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet, keeps=False)
        window.expects = {422}
        page.route("**/api/meets/*/reports/*", spoil)
        Thumb(page).write_report()
        expect(page.locator(".entry .problem")).to_contain_text("Lane: write a number")
        assert faults(page) == []
        page.locator(".entry [data-do=copy]").tap()
        expect(page.locator("#as-text")).to_be_visible()
        assert "beyond the zone" in page.locator("#as-text").input_value()
        page.locator("#back").tap()
        page.unroute("**/api/meets/*/reports/*")
        page.locator(".entry [data-do=mend]").tap()
        page.locator("#sign").tap()
        until(page, lambda: written(meet))
        expect(page.locator(".entry .problem")).to_have_count(0)


def test_a_clock_that_is_wrong_by_hours_is_told_and_noted(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        window.page.add_init_script(
            "{ const now = Date.now; Date.now = () => now() + 3 * 3600e3; }"
        )
        page = open_zone(window, meet)
        expect(page.locator("#clock")).to_have_text("Phone clock 180 min fast.")
        page.context.set_offline(True)
        is_offline(page)
        Thumb(page).write_report()
        page.context.set_offline(False)
        until(page, lambda: written(meet))
    (report,) = own_reports(meet)
    assert abs(report["clock"]["offset_ms"] + 3 * 3_600_000) < 2000
    assert report["clock"]["error_ms"] < 2000
    assert report["run"] == 1


COUNT_READS = """
const read = IDBObjectStore.prototype.getAll;
self.reads = 0;
IDBObjectStore.prototype.getAll = function (...what) {
    if (this.name === "outbox") self.reads += 1;
    return read.apply(this, what);
};
"""
FILL = """async ([meet, official, heats, many]) => {
    const db = await new Promise((resolve) => {
        const asked = indexedDB.open(`zone-${meet}`);
        asked.onsuccess = () => resolve(asked.result);
    });
    const work = db.transaction("outbox", "readwrite");
    for (let at = 0; at < many; at += 1) {
        const id = crypto.randomUUID(), heat = heats[at % heats.length], lane = 1 + (at % 8);
        const observation = { seen: "pass_completed_beyond_zone", clearly: "yes" };
        const clock = { at: new Date().toISOString() };
        const body = { heat, lane, take_over: 1, observation, words: String(at), clock };
        const to = { method: "PUT", address: `/api/meets/${meet}/reports/${id}`, body };
        const item = { kind: "report", id, official, state: "waiting", made_at: Date.now() };
        work.objectStore("outbox").add({ ...item, heat, lane, ...to });
    }
    await new Promise((resolve) => (work.oncomplete = resolve));
    db.close();
}"""


@pytest.mark.both_engines
def test_a_long_outbox_is_not_read_anew_for_every_report(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        window.page.add_init_script(COUNT_READS)
        page = open_zone(window, meet)
        page.context.set_offline(True)
        is_offline(page)
        page.evaluate(FILL, [meet.id, meet.umpire.id, [meet.heat(), meet.heat(1)], 120])
        page.evaluate("self.reads = 0")
        page.context.set_offline(False)
        until(page, lambda: len(meet.umpire.get("watch").json()["reports"]) == 120, seconds=60)
        expect(page.locator("#waiting .unsent")).to_have_count(0)
        assert page.evaluate("self.reads") < 120


@contextmanager
def a_phone(
    playwright: Playwright, folder: Path, who: Person, home: str
) -> Iterator[BrowserContext]:
    """A phone's browser with a profile on its disk."""
    known = "--host-resolver-rules=MAP meet.test 127.0.0.1"
    with a_lasting_browser(playwright, folder, known, **PHONE) as context:
        context.add_cookies([a_cookie(who, home)])
        yield context


def kill_browser_of(folder: Path) -> None:
    """SIGKILL to every process of the browser with this profile."""
    mine = f"--user-data-dir={folder}".encode()
    for place in Path("/proc").iterdir():
        try:
            if place.name.isdigit() and mine in (place / "cmdline").read_bytes():
                os.kill(int(place.name), signal.SIGKILL)
        except (OSError, ProcessLookupError):
            continue


@pytest.fixture
def own_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def test_a_report_outlives_the_end_of_the_browser_and_of_the_server(
    playwright: Playwright, new_database: NewDatabase, own_port: int, tmp_path: Path
) -> None:
    database, home = new_database("sqlite"), f"http://localhost:{own_port}"
    with a_service(database, public_url=home, port=own_port) as service:
        meet = a_meet(service)
        meet.start()
        person = meet.umpire
        address = f"{home}/meets/{meet.id}/zone"
        with a_phone(playwright, tmp_path, person, home) as context:
            page = context.new_page()
            page.goto(address)
            expect(page.locator("#line")).to_have_attribute("data-state", "in touch")
            kept_for_later(page)
            context.set_offline(True)
            is_offline(page)
            Thumb(page).write_report()
            expect(page.locator("#waiting .unsent")).to_contain_text("2 items")
            page.locator("#yellow").tap()
            page.locator("[data-do=lane][data-with='4']").tap()
            expect(page.locator("#step-title")).to_have_text("What was seen?")
            # Until the end is told, leaving the browser would ask it to close: nobody answers that.
            with context.expect_event("close"):
                kill_browser_of(tmp_path)
    with a_phone(playwright, tmp_path, person, home) as context:
        page = context.new_page()
        page.goto(address)
        is_offline(page)
        expect(page.locator("#waiting .unsent")).to_contain_text("3 items")
        expect(page.locator(".draft")).to_contain_text("lane 4")
        with a_service(database, public_url=home, port=own_port) as service:
            person.http = service.http
            # Both flags go first, then the account of one.
            until(page, lambda: states(meet) == ["raised", "written"], seconds=30)
            assert [call["flag"] for call in own_calls(meet)] == ["yellow", "yellow"]


def test_over_plain_http_everything_but_opening_again_works(
    playwright: Playwright, new_database: NewDatabase, own_port: int, tmp_path: Path
) -> None:
    home = f"http://meet.test:{own_port}"
    with a_service(new_database("sqlite"), public_url=home, port=own_port) as service:
        meet = a_meet(service)
        meet.start()
        with a_phone(playwright, tmp_path, meet.umpire, home) as context:
            page = context.new_page()
            page.goto(f"{home}/meets/{meet.id}/zone")
            expect(page.locator("#line")).to_have_attribute("data-state", "in touch")
            assert page.evaluate("isSecureContext") is False
            expect(page.locator("#phone")).to_contain_text("Keep this page open")
            expect(page.locator("#set-key")).to_have_count(0)
            other = context.new_page()
            other.goto(page.url)
            page.bring_to_front()
            context.set_offline(True)
            is_offline(page)
            Thumb(page).write_report()
            expect(page.locator("#waiting .unsent")).to_contain_text("2 items")
            context.set_offline(False)
            until(page, lambda: written(meet))
            assert len(own_calls(meet)) == 1
            (report,) = own_reports(meet)
            assert report["attested"]["strength"] == "server"
