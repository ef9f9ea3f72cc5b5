"""What a page of somebody else's can do to a browser that is joined here: nothing.

Two hosts of the same machine are another site for a browser (`127.0.0.1` and `localhost`), two
ports of one host another origin of the same site: cookies go with what the latter sends
(RFC 6265bis, 5.2).
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, expect

from app.access.cookies import cookie_name
from tests.browser.launching import a_lasting_browser
from tests.browser.looking import home_of
from tests.browser.test_joining_page import a_link
from tests.browser.tls import over_tls
from tests.browser.zone_phone import PHONE, Thumb, kept_for_later, own_reports, until
from tests.builders import PIN, MeetAtHand, Person, a_meet
from tests.conftest import NewDatabase
from tests.running import Service, a_service

pytestmark = pytest.mark.browser

REFUSED = {
    "another site": "Open your personal link",  # no cookie goes with it, so nobody is known
    "another origin of the same site": "This was sent from another site",
}
HOSTS = {"another site": "127.0.0.1", "another origin of the same site": "localhost"}
SENT = """async (address) => {
    try {
        const answer = await fetch(address, {
            method: "POST", mode: "no-cors", credentials: "include",
            headers: { "Content-Type": "text/plain" }, body: "{}",
        });
        return answer.type;
    } catch (error) { return error.name; }
}"""
READ = """async (address) => {
    try {
        return await (await fetch(address, { credentials: "include" })).text();
    } catch (error) { return error.name; }
}"""
FORM = """(address) => {
    const form = Object.assign(document.createElement("form"), { method: "post", action: address });
    document.body.append(form);
    form.submit();
}"""


class _AnyPage(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        body = b"<!doctype html><title>Elsewhere</title><p>Elsewhere"
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002  (as its base has it)
        """Nobody reads it."""


@pytest.fixture
def elsewhere() -> Iterator[int]:
    """The port of a server of somebody else's."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), _AnyPage)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield server.server_address[1]
    server.shutdown()
    server.server_close()


@contextmanager
def joined_as(chromium: Browser, service: Service, who: Person) -> Iterator[BrowserContext]:
    context = chromium.new_context()
    context.add_cookies(
        [
            {
                "name": cookie_name(who.meet, secure=False),
                "value": who.token,
                "url": home_of(service),
                "httpOnly": True,
                "sameSite": "Lax",
            }
        ]
    )
    yield context
    context.close()


@pytest.mark.parametrize("where", HOSTS)
def test_another_page_changes_nothing_and_reads_nothing(
    chromium: Browser, service: Service, meet: MeetAtHand, elsewhere: int, where: str
) -> None:
    before, home = meet.head(), home_of(service)
    with joined_as(chromium, service, meet.referee) as context:
        page = context.new_page()
        page.goto(f"http://{HOSTS[where]}:{elsewhere}/")
        for address in (
            f"/api/meets/{meet.id}/heats/{meet.heat(1)}/start",
            f"/api/meets/{meet.id}/start-lists",
            f"/meets/{meet.id}/leave",
        ):
            page.evaluate(SENT, home + address)
        assert page.evaluate(READ, f"{home}/api/meets/{meet.id}/docket") == "TypeError"
        assert page.evaluate(READ, f"{home}/meets/{meet.id}/head") == "TypeError"
        page.evaluate(FORM, f"{home}/meets/{meet.id}/leave")
        page.wait_for_url(f"{home}/**")
        expect(page.locator("main")).to_contain_text(REFUSED[where])
        page.goto(f"{home}/meets/{meet.id}/head")
        expect(page.locator("#line")).to_have_attribute("data-state", "in touch")
    assert meet.head() == before


@pytest.mark.parametrize("where", HOSTS)
def test_no_page_is_shown_in_a_frame_of_another(
    chromium: Browser, service: Service, meet: MeetAtHand, elsewhere: int, where: str
) -> None:
    with joined_as(chromium, service, meet.referee) as context:
        page = context.new_page()
        page.goto(f"http://{HOSTS[where]}:{elsewhere}/")
        for place in ("", "/head", "/zone"):
            assert shown_in_a_frame(page, f"{home_of(service)}/meets/{meet.id}{place}") == ""


def shown_in_a_frame(page: Page, address: str) -> str:
    """What somebody would see of an address in a frame."""
    page.evaluate(
        """(address) => new Promise((ready) => {
            const frame = document.createElement("iframe");
            frame.addEventListener("load", ready);
            frame.addEventListener("error", ready);
            frame.src = address;
            document.body.append(frame);
        })""",
        address,
    )
    shown = page.frames[-1].locator("main")
    return shown.inner_text() if shown.count() else ""


def a_phone_that_trusts(
    playwright: Playwright, folder: Path
) -> AbstractContextManager[BrowserContext]:
    """A phone's browser to which any certificate is good: no worker is kept behind a bad one."""
    return a_lasting_browser(playwright, folder, "--ignore-certificate-errors", **PHONE)


def test_over_https_the_session_is_bound_to_the_host_and_the_phone_does_all(
    playwright: Playwright, new_database: NewDatabase, tmp_path: Path
) -> None:
    with (
        over_tls() as front,
        a_service(new_database("sqlite"), public_url=front.address) as service,
        a_phone_that_trusts(playwright, tmp_path) as context,
    ):
        front.leads_to(service.address)
        meet = a_meet(service)
        meet.start()
        page = context.new_page()
        page.goto(f"{front.address}/join#{a_link(meet, 'umpire')}")
        page.fill("#pin", PIN)
        page.click("#join button")
        page.wait_for_url(f"**/meets/{meet.id}/zone")
        (cookie,) = [one for one in context.cookies() if "session" in one["name"]]
        assert cookie["name"].startswith("__Host-session-")
        assert (cookie["secure"], cookie["httpOnly"], cookie["sameSite"]) == (True, True, "Lax")
        assert (cookie["path"], cookie["domain"]) == ("/", "localhost")
        assert page.evaluate("document.cookie") == ""
        assert page.evaluate("isSecureContext") is True
        expect(page.locator("#line")).to_have_attribute("data-state", "in touch")
        kept_for_later(page)
        context.set_offline(True)
        page.reload()
        Thumb(page).write_report()
        context.set_offline(False)
        until(page, lambda: [one["state"] for one in own_reports(meet)] == ["written"])
