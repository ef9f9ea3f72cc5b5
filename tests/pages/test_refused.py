"""What a browser gets where a page is refused, and where its address says more than it knows."""

from __future__ import annotations

import httpx

from app.ids import new_id
from tests.builders import MeetAtHand

AS_PAGE = {"Accept": "text/html", "Accept-Language": "en"}


def opened(meet: MeetAtHand, path: str, method: str = "GET") -> httpx.Response:
    with httpx.Client(base_url=meet.service.address) as browser:  # with no cookies of others
        return browser.request(method, path, headers=AS_PAGE)


def test_a_refused_page_speaks_the_language_that_its_link_asks_for(meet: MeetAtHand) -> None:
    answer = opened(meet, f"/meets/{meet.id}/head?language=de")
    assert answer.status_code == 401
    assert answer.headers["content-language"] == "de"
    assert "language=de" in answer.headers["set-cookie"]
    assert opened(meet, f"/meets/{new_id()}?language=xx").headers["content-language"] == "en"


def test_a_link_to_a_page_opens_it_whatever_was_added_on_its_way(meet: MeetAtHand) -> None:
    """Common practice: programs that pass links on add words of their own to them."""
    answer = opened(meet, f"/meets/{meet.id}?passed_on_by=somebody&passed_on_by=another")
    assert answer.status_code == 200
    assert opened(meet, f"/api/meets/{meet.id}/windows.json?passed_on_by=x").status_code == 422


def test_a_page_that_tells_of_a_wrong_method_names_those_that_are_right(meet: MeetAtHand) -> None:
    """RFC 9110, 15.5.6: a 405 has the header Allow."""
    answer = opened(meet, "/problems/stale", "PUT")
    assert answer.status_code == 405
    assert "text/html" in answer.headers["content-type"]
    assert "GET" in answer.headers["allow"]
