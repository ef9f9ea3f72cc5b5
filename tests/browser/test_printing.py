"""What is printed of a page: the result that hangs on the wall, and no way to another page."""

from __future__ import annotations

import io
import unicodedata

import pytest
from playwright.sync_api import Browser, Page
from pypdf import PdfReader

from tests.browser.looking import a_window
from tests.browser.test_board_page import announce
from tests.builders import TEAMS, MeetAtHand
from tests.running import Service

pytestmark = pytest.mark.browser

WAYS = "header nav a, footer a, footer button, #print"
NOT_ON_PAPER = ("Deutsch", "Sign this device off", "Print this page", "Show this on a large screen")
COUNTED = "window.asked = 0; window.print = () => { window.asked += 1; };"


def ways(page: Page) -> list[str]:
    """The links and buttons by which one goes on, that can be seen."""
    shown = page.locator(WAYS).locator("visible=true")
    return [text.strip() for text in shown.all_inner_texts()]


def printed(page: Page) -> str:
    """The words on the paper, in one line and without the ligatures of its font."""
    pages = PdfReader(io.BytesIO(page.pdf(format="A4"))).pages
    words = " ".join(one.extract_text() for one in pages).split()
    return unicodedata.normalize("NFKC", " ".join(words))


def test_the_desks_button_prints_the_page(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    announce(meet)
    with a_window(chromium, service, meet.desk) as window:
        window.page.add_init_script(COUNTED)
        page = window.open(f"/meets/{meet.id}/desk/heats/{meet.heat()}")
        page.get_by_role("button", name="Print this page").click()
        assert page.evaluate("window.asked") == 1


@pytest.mark.parametrize("place", ["desk", "board", "announcement"])
def test_paper_has_the_result_and_no_navigation(
    chromium: Browser, service: Service, meet: MeetAtHand, place: str
) -> None:
    announcement = announce(meet)
    path, who = {
        "desk": (f"/desk/heats/{meet.heat()}", meet.desk),
        "board": ("", None),
        "announcement": (f"/results/{announcement}", None),
    }[place]
    with a_window(chromium, service, who) as window:
        page = window.open(f"/meets/{meet.id}{path}")
        assert {"Notice board", "Deutsch"} <= set(ways(page))
        paper = printed(page)
        page.emulate_media(media="print")
        assert ways(page) == []
    assert [team for team in TEAMS if f"{team} 1" not in paper] == []
    assert [word for word in NOT_ON_PAPER if word in paper] == []
