"""Markup that people wrote is shown as text, on every page and in what pages hand to scripts.

The context decides how it is escaped (OWASP ASVS 5.0.0: 1.2.1, 1.2.3); what no page may run inline
is held in `test_security.py`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from tests.browser import everything
from tests.browser.everything import WholeMeet, a_whole_meet, leaves
from tests.conftest import NewDatabase
from tests.running import Service, a_service

MARK = "<q7 onx=y>&{{7777*7777}}</script>'"
SHOWN = re.compile(r"(?:&lt;|\\u003c)q7 onx=y(?:&gt;|\\u003e)")


@pytest.fixture(scope="module")
def running_service(new_database: NewDatabase) -> Iterator[Service]:
    """On one engine: text is the same on both."""
    with a_service(new_database("sqlite")) as service:
        yield service


@pytest.fixture(scope="module")
def whole(running_service: Service) -> Iterator[WholeMeet]:
    """A meet in which all that people wrote is markup."""
    with pytest.MonkeyPatch.context() as patched:
        for name in ("WORDS", "MEET", "EVENT", "ROUND"):
            patched.setattr(everything, name, f"{MARK} 4x100 {name}")
        for name in ("TEAMS", "CLUBS", "NAMES"):
            marked = tuple(f"{MARK} {number}" for number, _ in enumerate(getattr(everything, name)))
            patched.setattr(everything, name, marked)
        yield a_whole_meet(running_service)


def test_no_page_takes_what_people_wrote_for_markup(whole: WholeMeet) -> None:
    shown = 0
    for leaf in leaves(whole):
        headers = {"Accept": "text/html"}
        if leaf.who is not None:
            headers["Authorization"] = f"Bearer {leaf.who.token}"
        answer = whole.meet.service.http.get(leaf.path, headers=headers)
        assert answer.status_code == 200, leaf
        assert "<q7" not in answer.text, leaf
        assert "60481729" not in answer.text, leaf
        assert scripts_end_where_they_should(answer.text), leaf
        shown += len(SHOWN.findall(answer.text))
    assert shown > 100


def scripts_end_where_they_should(page: str) -> bool:
    return page.count("<script") == page.count("</script>")


def test_no_programs_page_is_made_of_what_is_in_an_address(service: Service) -> None:
    """What is refused repeats what was asked; a browser never takes it for a page."""
    for path in ("/api/nothing", "/problems/x", "/no-such-page", "/api/meets/x/heats"):
        for accept in ("text/html", "application/json"):
            answer = service.http.get(f"{path}?{MARK}={MARK}", headers={"Accept": accept})
            assert "<q7" not in answer.text or "html" not in answer.headers["content-type"]
