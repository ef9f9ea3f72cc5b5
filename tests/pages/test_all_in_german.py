"""Every page of a meet in which everything has happened, read in German: nothing of the pages' own
is left in English.

Sentences of the service are shown as they are, marked as English (DEVELOPERS.md, decisions); what
the pages have words for is not among them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from app.access.cookies import cookie_name
from app.pages.languages import SOURCE, Manner, translations
from app.pages.wording import WORDS
from tests.appeals.desk import a_protest, an_announced_disqualification, decided, lodge
from tests.browser.everything import Leaf, a_whole_meet, leaves
from tests.builders import a_meet
from tests.pages.reading import Text, texts_of
from tests.pages.test_languages import catalogues
from tests.running import Service

GERMAN = "de"
ENGLISH = re.compile(
    r"\b(?:the|is|are|were|of|and|to|by|from|with|until|has|have|which|nobody)\b", re.IGNORECASE
)
"""Words that no German sentence has."""
SIGNS = {"letter", "notation", "relay", "fact"}
"""Families of what is no word: signs of results, short names of relays, keys of observations."""


def in_english_alone() -> set[str]:
    """What the pages can say in German otherwise: their texts, and what the service calls what they
    have words for.
    """
    known = {one.id for catalogue in catalogues(GERMAN) for one in catalogue if one.id}
    texts = {each for one in known for each in ((one,) if isinstance(one, str) else one)}
    said = translations(GERMAN)
    differing = {text for text in texts if said.ugettext(text) != text}
    called = {
        called
        for name, family in WORDS.items()
        if name not in SIGNS
        for called, text in family.items()
        if said.ugettext(text).casefold() != called.casefold()
    }
    return {" ".join(text.split()) for text in differing | called}


def left_over(page: str, untranslated: set[str]) -> Iterator[Text]:
    """Texts of a German page that are English for no reason."""
    for text in texts_of(page):
        if text.is_of_people:
            continue
        bare = text.words.strip(" .,:;()“”")
        if bare in untranslated or (text.language != SOURCE and ENGLISH.search(text.words)):
            yield text


def read_by(leaf: Leaf, service: Service) -> str:
    """A page as a German browser gets it."""
    asks = {"Accept": "text/html", "Accept-Language": GERMAN}
    if leaf.who is not None:
        asks["Cookie"] = f"{cookie_name(leaf.who.meet, secure=True)}={leaf.who.token}"
    answer = service.http.get(leaf.path, headers=asks)
    assert answer.status_code == 200, (leaf.path, answer.text)
    assert answer.headers["Content-Language"] == GERMAN
    return answer.text


# What a page says does not depend on where its data lie.
@pytest.mark.parametrize("running_service", ["sqlite"], indirect=True)
def test_nothing_that_pages_have_words_for_is_left_in_english(service: Service) -> None:
    untranslated = in_english_alone()
    left = {
        f"{leaf.name}: {text.words}"
        for leaf in leaves(a_whole_meet(service))
        for text in left_over(read_by(leaf, service), untranslated)
    }
    assert left == set()


@pytest.mark.parametrize(
    ("page", "is_left"),
    [
        ("<p>Store the settings</p>", True),
        ('<p lang="en">Store the settings</p>', True),
        ("<p>Appeals until 14:31:00 CEST</p>", True),
        ('<p lang="en">Appeals until 14:31:00 CEST</p>', False),
        ('<p><span lang="en">(misapplication of rules)</span></p>', True),
        ('<p aria-label="the track"></p>', True),
        ("<p>Die Bahn</p>", False),
        ("<p><bdi>Friends of the Pier</bdi></p>", False),
        ('<p dir="auto">It was the end.<br>Of it.</p>', False),
        ("<p>Eingabe: <code>the_lane</code></p><script>the</script>", False),
    ],
)
def test_what_is_left_in_english_would_be_found(page: str, is_left: bool) -> None:
    found = list(left_over(f'<html lang="de">{page}</html>', in_english_alone()))
    assert bool(found) == is_left, found


@pytest.mark.parametrize("running_service", ["sqlite"], indirect=True)
def test_a_protest_is_read_in_german_with_its_ground_and_the_time_for_an_appeal(
    service: Service,
) -> None:
    meet = a_meet(service, edition="nfhs-2019", terms={"appeal_minutes": 45})
    ruling = an_announced_disqualification(meet)
    sent = a_protest(meet, ruling, ground="misapplication of rules")
    protest = decided(meet, lodge(meet, sent))
    told = meet.desk.put(f"protests/{protest['id']}/advice", {}).json()
    at = f"/meets/{meet.id}/protests/{protest['id']}"
    page = read_by(Leaf(at, meet.referee, "protest"), service)
    read = " ".join(text.words for text in texts_of(page))
    assert "falsche Anwendung" in read
    assert told["appeals_until"] not in page
    time = told["appeal_time"]
    assert time["rule"] in read
    assert "45 Minuten" in read
    assert Manner(GERMAN, "Europe/Paris").told(time["closes_at"]) in read
    assert "Bescheid zu Einspruch 1" in read
    intake = Leaf(f"/meets/{meet.id}/desk/heats/{meet.heat()}/protest", meet.referee, "intake")
    for shown in (page, read_by(intake, service)):
        assert list(left_over(shown, in_english_alone())) == []
