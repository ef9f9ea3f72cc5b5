"""The `type` of every problem document is an address that resolves (RFC 9457, 3.1.1): for people to
a page in their language, for programs to a document.
"""

from __future__ import annotations

import pytest

from app.explaining import WAYS_OUT, explained
from app.pages.languages import languages, translations
from app.problems import OTHERS, PROBLEMS
from tests.builders import a_problem
from tests.pages.reading import texts_of
from tests.running import Service

SLUGS = sorted({kind.slug for kind in (*OTHERS.values(), *PROBLEMS.values())})


def asking(language: str = "en") -> dict[str, str]:
    """What a browser sends that opens a page."""
    return {"Accept": "text/html,*/*;q=0.8", "Accept-Language": language}


def test_every_type_of_the_table_is_explained_with_a_way_out_and_no_other_is() -> None:
    assert [kind.slug for kind in explained()] == SLUGS
    assert set(WAYS_OUT) == set(SLUGS)


@pytest.mark.parametrize("language", languages())
def test_each_type_has_a_page_that_says_what_it_means_and_what_can_be_done(
    service: Service, language: str
) -> None:
    said = translations(language).ugettext
    for kind in explained():
        page = service.http.get(kind.type, headers=asking(language))
        assert page.status_code == 200, page.text
        read = {text.words for text in texts_of(page.text)}
        assert {said(kind.title), said(kind.meaning), said(kind.way_out)} <= read, kind.slug


def test_the_pages_are_for_everybody_and_may_be_kept_by_what_was_asked_for(
    service: Service,
) -> None:
    for address in ("/problems", "/problems/stale"):
        page = service.http.get(address, headers=asking())
        assert page.headers["Cache-Control"].startswith("public")
        assert "Accept" in page.headers["Vary"].split(", ")
        again = {**asking(), "If-None-Match": page.headers["ETag"]}
        assert service.http.get(address, headers=again).status_code == 304
        told = service.http.get(address)
        assert told.headers["Vary"] == "Accept"
        assert told.headers["Content-Type"] == "application/json"


def test_the_list_leads_to_the_page_of_each_type(service: Service) -> None:
    page = service.http.get("/problems", headers=asking()).text
    assert [kind.type for kind in explained() if f'href="{kind.type}"' not in page] == []


def test_a_type_that_is_none_is_refused_to_people_and_programs(service: Service) -> None:
    page = service.http.get("/problems/none-of-ours", headers=asking())
    assert page.status_code == 404
    assert page.headers["Content-Type"].startswith("text/html")
    a_problem(service.http.get("/problems/none-of-ours"), 404, "not-found")


def test_a_page_that_is_refused_leads_to_what_its_refusal_means(service: Service) -> None:
    page = service.http.get("/meets/none/desk", headers=asking())
    assert page.status_code >= 400
    linked = [kind.type for kind in explained() if f'href="{kind.type}"' in page.text]
    assert len(linked) == 1
    assert service.http.get(linked[0], headers=asking()).status_code == 200
