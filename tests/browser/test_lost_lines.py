"""Pages whose line is lost, in every way that lines are: each says so, and heals by itself.

What happened meanwhile appears once. Time is the browser's own, and is moved on where a page waits.
"""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterator
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Locator, Playwright, Route, expect

from app.ids import new_id
from tests.browser.launching import a_browser
from tests.browser.looking import Watched, a_window, home_of
from tests.browser.silent_line import Line, a_line
from tests.browser.zone_phone import PHONE, kept_for_later, until
from tests.builders import MeetAtHand, Person, a_meet
from tests.conftest import NewDatabase
from tests.running import Service, a_service

pytestmark = pytest.mark.browser

LOOK, PATIENCE, LONGEST_WAIT = 21, 9, 9
"""In seconds, a little more than pages wait: for a look, for an answer, to try again."""


@dataclass(frozen=True)
class Place:
    """A page, where it says how the line is, and where what happens appears, one by one."""

    path: str
    who: str
    line: str
    things: str
    happen: Callable[[MeetAtHand, int], object]


def a_yellow_flag(meet: MeetAtHand, number: int) -> None:
    answer = meet.call("yellow", lane=3 + number, report=new_id())
    assert answer.status_code == 201, answer.text


def an_own_report(meet: MeetAtHand, number: int) -> None:
    meet.report(lane=3 + number)


def an_announcement(meet: MeetAtHand, number: int) -> None:
    assert meet.load_result(number).status_code == 201
    said = meet.announce(number, despite="The posts were relieved.")
    assert said.status_code == 201, said.text


HEAD = Place("/head", "referee", "#line", "#docket .docket-case", a_yellow_flag)
PHONE_PAGE = Place("/zone", "umpire", "#line", "#day .entry", an_own_report)
BOARD = Place("", "", "#touch", "#announcements .posted", an_announcement)
EACH = pytest.mark.parametrize("place", [HEAD, PHONE_PAGE, BOARD], ids=["head", "phone", "board"])
EACH_WITH_FEED = pytest.mark.parametrize("place", [HEAD, PHONE_PAGE], ids=["head", "phone"])


@pytest.fixture
def line(service: Service) -> Iterator[Line]:
    port = urlsplit(home_of(service)).port
    assert port
    with a_line(port) as line:
        yield line


@pytest.fixture
def chromium(playwright: Playwright, line: Line) -> Iterator[Browser]:
    """A browser that comes to the service over the line."""
    browser = a_browser(playwright, f"--host-resolver-rules=MAP localhost 127.0.0.1:{line.port}")
    yield browser
    browser.close()


class Opened:
    """A page at its place, in touch with the service."""

    def __init__(self, window: Watched, place: Place, meet: MeetAtHand) -> None:
        self.window, self.place, self.meet = window, place, meet
        self.happened = 0
        self.asked: list[str] = []
        page = window.page
        page.on("request", lambda one: self.asked.append(urlsplit(one.url).path))
        page.clock.install()
        self.page = window.open(f"/meets/{meet.id}{place.path}")
        self.is_in_touch()
        if place is PHONE_PAGE:
            kept_for_later(self.page)

    @property
    def line(self) -> Locator:
        return self.page.locator(self.place.line)

    @property
    def address(self) -> str:
        """What it reads again and again."""
        if self.place is PHONE_PAGE:
            return f"/api/meets/{self.meet.id}/watch"
        return f"/meets/{self.meet.id}{self.place.path}"

    def happens(self) -> None:
        """Something that belongs on this page, done elsewhere."""
        self.place.happen(self.meet, self.happened)
        self.happened += 1

    def passes(self, seconds: float) -> None:
        self.page.clock.fast_forward(int(seconds * 1000))

    def is_in_touch(self) -> None:
        expect(self.line).to_have_attribute("data-state", "in touch")

    def is_out_of_touch(self) -> None:
        expect(self.line).to_have_attribute("data-state", "out of touch")
        expect(self.line).to_contain_text("no connection")

    def shows_all(self) -> None:
        """What happened, each once."""
        expect(self.page.locator(self.place.things)).to_have_count(self.happened)

    def heals(self, within: int = 16) -> None:
        """By itself, after some tries, each a wait and a read: a browser keeps up to six lines to
        a server, and the dead ones are found one by one.
        """
        for _ in range(within):
            self.passes(LONGEST_WAIT)
            # An answer takes its own time, which does not pass faster here.
            with suppress(AssertionError):
                expect(self.line).to_have_attribute("data-state", "in touch", timeout=1000)
                return
        self.is_in_touch()

    def goes_on(self) -> None:
        """What happens now is there within moments, or on the board when it is read next."""
        if self.place is PHONE_PAGE:  # whom the feed tells nothing of reports
            with self.page.expect_response(f"**{self.address}"):
                self.meet.start(1)
            return
        self.happens()
        if self.place is BOARD:
            self.passes(11)
        self.shows_all()


def who_opens(place: Place, meet: MeetAtHand) -> Person | None:
    return meet[place.who] if place.who else None


@pytest.fixture
def opened(chromium: Browser, service: Service, place: Place) -> Iterator[Opened]:
    meet = a_meet(service)
    meet.start()
    options = PHONE if place is PHONE_PAGE else {}
    with a_window(chromium, service, who_opens(place, meet), **options) as window:
        yield Opened(window, place, meet)


@EACH
def test_a_line_that_dies_without_a_word_is_told_and_what_happened_appears_once(
    opened: Opened, line: Line
) -> None:
    line.die()
    opened.happens()
    opened.passes(LOOK)
    opened.passes(PATIENCE)
    opened.is_out_of_touch()
    line.heal()
    opened.heals()
    opened.shows_all()
    opened.goes_on()


@EACH_WITH_FEED
def test_a_feed_that_dies_alone_is_found_by_a_look_and_opened_anew(
    opened: Opened, line: Line
) -> None:
    line.die_where(b"/feed ")
    opened.happens()
    opened.passes(LOOK)
    opened.shows_all()
    opened.is_in_touch()
    opened.goes_on()


@EACH
def test_a_read_that_hangs_ends_within_its_limit_and_is_made_again(opened: Opened) -> None:
    held: list[Route] = []

    def hold(one: Route) -> None:
        held.append(one)

    opened.page.route(f"**{opened.address}", hold)
    opened.happens()
    opened.passes(LOOK)
    until(opened.page, lambda: bool(held))
    opened.happens()
    opened.passes(PATIENCE)
    opened.is_out_of_touch()
    opened.page.unroute_all()
    opened.heals()
    opened.shows_all()


@EACH
def test_a_read_that_failed_is_made_again_without_a_further_event(opened: Opened) -> None:
    opened.window.expects = {500}
    refused = opened.page.expect_response(lambda answer: answer.status == 500)
    opened.page.route(f"**{opened.address}", lambda one: one.fulfill(status=500), times=1)
    with refused:
        opened.happens()
        if opened.place is BOARD:
            opened.passes(11)
    opened.shows_all()
    opened.is_in_touch()


@EACH
def test_a_server_that_goes_on_failing_is_told_and_asked_no_sooner_than_it_says(
    opened: Opened,
) -> None:
    opened.window.expects = {503}
    wait = {"Retry-After": "30"}
    opened.page.route(f"**{opened.address}", lambda one: one.fulfill(status=503, headers=wait))
    opened.passes(LOOK)
    opened.is_out_of_touch()
    opened.asked.clear()
    opened.happens()
    opened.passes(25)
    opened.page.unroute_all()
    assert opened.address not in opened.asked
    opened.passes(LONGEST_WAIT)
    opened.is_in_touch()
    opened.shows_all()


class PageOfTheNetwork:
    """What a network says to whoever has not signed in to it, and whether anybody asked."""

    def __init__(self, status: int) -> None:
        self.status, self.was_met = status, False

    def __call__(self, one: Route) -> None:
        self.was_met = True
        body = "<h1>Sign in to this network</h1>"
        one.fulfill(status=self.status, content_type="text/html", body=body)


@EACH
def test_a_network_s_own_page_takes_nothing_away(opened: Opened) -> None:
    opened.happens()
    opened.passes(LOOK)
    opened.shows_all()
    opened.window.expects = {403}
    for status in (200, 403):
        network = PageOfTheNetwork(status)
        opened.page.route(f"**{opened.address}", network)
        # A read that was under way ends as it began: the next one meets the network's page.
        for _ in range(100):
            if network.was_met:
                break
            opened.passes(LOOK)
            opened.page.wait_for_timeout(50)
        opened.is_out_of_touch()
        opened.page.unroute_all()
        opened.heals()
        opened.shows_all()


@EACH_WITH_FEED
def test_looks_that_find_nothing_leave_the_feed_open(opened: Opened) -> None:
    opened.asked.clear()
    for _ in range(3):
        with opened.page.expect_response(f"**{opened.address}"):
            opened.passes(LOOK)
    assert [one for one in opened.asked if one.endswith("/feed")] == []


@pytest.fixture
def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@EACH
def test_a_page_heals_when_the_server_comes_back(
    place: Place, new_database: NewDatabase, free_port: int, playwright: Playwright
) -> None:
    url, home = new_database("sqlite"), f"http://localhost:{free_port}"
    with ExitStack() as stack:
        chromium = a_browser(playwright)
        stack.callback(chromium.close)
        running = stack.enter_context(ExitStack())
        service = running.enter_context(a_service(url, public_url=home, port=free_port))
        meet = a_meet(service)
        meet.start()
        options = PHONE if place is PHONE_PAGE else {}
        window = stack.enter_context(a_window(chromium, service, who_opens(place, meet), **options))
        opened = Opened(window, place, meet)
        service.app.state.services.feed.stop()  # as on SIGTERM
        running.close()
        opened.passes(LOOK)
        opened.is_out_of_touch()
        service = stack.enter_context(a_service(url, public_url=home, port=free_port))
        meet.service = service
        for person in meet.people.values():
            person.http = service.http
        opened.happens()
        opened.heals()
        opened.shows_all()
        opened.goes_on()
