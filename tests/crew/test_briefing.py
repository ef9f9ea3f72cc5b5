"""Briefing cards over HTTP: one a post, by the meet's own rule book.

Measures of zones: World Athletics TR24.3 (30 m, leg line at 20 m; 4x400: 20 m, at 10 m), and IAAF
Rule 170.3 (2012) for the older zone. What umpires are told: handbook of the trade, 2, 4 and 9.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from app.ids import new_id
from app.rules.book import editions, load_book
from app.rules.observation import Infringement
from app.rules.relay import Relay
from tests.builders import (
    Json,
    MeetAtHand,
    a_bare_meet,
    a_post,
    a_problem,
    a_start_list,
    add_official,
)
from tests.forms.pdf_reading import read_pages
from tests.running import Service

CARDS = "crew/briefing-cards.pdf"
MAY = ["organiser", "chief_umpire", "referee"]
MAY_NOT = ["umpire", "results", "jury"]


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    return with_umpires(a_bare_meet(service))


def with_umpires(hand: MeetAtHand) -> MeetAtHand:
    for name in ("Bo Halyard", "Cleo Anchor"):
        add_official(hand, name, "umpire")
    return hand


def plan(meet: MeetAtHand, *posts: Json) -> None:
    answer = meet.organiser.put("crew", {"posts": list(posts)})
    assert answer.status_code == 201, answer.text


def pages(meet: MeetAtHand, **params: Any) -> list[str]:
    answer = meet.organiser.get(CARDS, params=params or None)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    return read_pages(answer.content)


def test_each_post_of_the_plan_has_its_card_in_the_plans_order(meet: MeetAtHand) -> None:
    bo, cleo = meet["Bo Halyard"].id, meet["Cleo Anchor"].id
    plan(
        meet,
        a_post(new_id(), bo, take_over=2, edge="end", relays=["4x100"], side="outside"),
        a_post(new_id(), cleo, take_over=2, edge="start", lanes=[1, 2, 5], relays=["4x400"]),
    )
    start, end = pages(meet)
    assert "Take-over 2, start of the zone" in start
    assert "Cleo Anchor start lanes 1–2, 5 inside 4x400" in start
    assert (
        "20 m long; the leg line lies 10 m after the start and 10 m before the end (TR24.3)."
        in (start)
    )
    assert "Bo Halyard end lanes 3–4 outside 4x100" in end
    assert (
        "30 m long; the leg line lies 20 m after the start and 10 m before the end (TR24.3)."
        in (end)
    )
    assert "The line at the start belongs to the zone, the line at the end does not." in end
    assert "acceleration" not in end


def test_a_card_tells_what_is_seen_from_its_edge_with_the_rule_and_what_is_not(
    meet: MeetAtHand,
) -> None:
    bo = meet["Bo Halyard"].id
    plan(
        meet,
        a_post(new_id(), bo, edge="start", relays=["4x100"]),
        a_post(new_id(), bo, edge="end", relays=["4x100"]),
    )
    start, end = pages(meet)
    only_start, only_end = (named_after(page, "Seen from this edge") for page in (start, end))
    assert "Pass begun before the take-over zone (TR24.7)" in only_start
    assert "Receiver waiting outside the permitted stretch (TR24.19)" in only_start
    assert "beyond" not in only_start
    assert only_end == "– Pass completed beyond the take-over zone (TR24.7)"
    for page in (start, end):
        assert "Dropped baton fetched against the rule (TR24.6)" in named_after(
            page, "Seen from either edge"
        )


def named_after(page: str, heading: str) -> str:
    """What stands below a heading, up to the next one."""
    below = page.partition(heading)[2]
    for following in ("Seen from either edge", "Your flags"):
        below = below.partition(following)[0]
    return below.strip()


@pytest.mark.parametrize(
    ("relay", "take_over", "waits"),
    [("4x100", 3, False), ("4x400", 1, False), ("4x400", 2, True), ("medley", 3, True)],
)
def test_the_order_of_waiting_is_told_where_runners_take_over_outside_lanes(
    meet: MeetAtHand, relay: str, take_over: int, waits: bool
) -> None:
    """TR24.20: 4x400, third and fourth legs (handbook of the trade, 3)."""
    post = a_post(
        new_id(), meet["Bo Halyard"].id, edge="start", relays=[relay], take_over=take_over
    )
    plan(meet, post)
    (page,) = pages(meet)
    assert ("Waiting order changed" in page) == waits


def test_the_words_of_care_and_of_a_good_report_stand_on_every_card(meet: MeetAtHand) -> None:
    plan(meet, *(a_post(new_id(), meet["Bo Halyard"].id, take_over=one) for one in (1, 2, 3)))
    for page in pages(meet):
        for words in (
            "Keep out of the running lanes, and look both ways",
            "Keep your phone down while a heat runs",
            "The meet's appointed officials decide, by its rule book.",
            "White: nothing to report. Yellow: an apparent infringement.",
            "where the baton was, how far from the line, and who else had the view.",
            "The baton decides, never a body, a foot or a hand.",
        ):
            assert words in page, words


def test_a_post_for_all_relays_shows_each_zone_of_the_programme_once(meet: MeetAtHand) -> None:
    for event in ("Women 4x100 m", "Women 4x200 m", "Men 4x400 m"):
        loaded = meet.organiser.post("start-lists", content=a_start_list(1, event))
        assert loaded.status_code == 200, loaded.text
    plan(meet, a_post(new_id(), meet["Bo Halyard"].id))
    (page,) = pages(meet)
    assert page.count("drawn to scale") == 2
    assert "The zone of take-over 1 in 4x100, 4x200, drawn to scale" in page
    assert "The zone of take-over 1 in 4x400, drawn to scale" in page


def test_the_older_rule_has_its_acceleration_zone(service: Service) -> None:
    old = with_umpires(a_bare_meet(service, edition="older-20-plus-10"))
    plan(old, a_post(new_id(), old["Bo Halyard"].id, edge="start", relays=["4x100"]))
    (page,) = pages(old)
    assert (
        "20 m long; the leg line lies 10 m after the start and 10 m before the end (R170.3)."
        in (page)
    )
    assert "Before it lies an acceleration zone of 10 m" in page


def test_where_both_lines_belong_to_the_zone_the_card_says_so(service: Service) -> None:
    school = with_umpires(a_bare_meet(service, edition="nfhs-2019"))
    plan(school, a_post(new_id(), school["Bo Halyard"].id, relays=["4x100"]))
    (page,) = pages(school)
    assert "Both lines belong to the zone." in page  # NFHS 2020 5-3-3


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("edition", editions())
def test_a_card_for_all_relays_fits_on_one_page_in_every_edition(
    running_service: Service, edition: str, paper: str
) -> None:
    hand = with_umpires(a_bare_meet(running_service, edition=edition))
    official = hand["Bo Halyard"].id
    places = [(take_over, edge) for take_over in (1, 2, 3) for edge in ("start", "end")]
    plan(hand, *(a_post(new_id(), official, take_over=one, edge=edge) for one, edge in places))
    told = pages(hand, paper=paper)
    assert len(told) == len(places)
    assert_all_titles(told, edition)


def assert_all_titles(told: Sequence[str], edition: str) -> None:
    """Between them the posts of a whole zone see all infringements of the book."""
    titles = {load_book(edition).infringements[one].title for one in Infringement}
    assert [title for title in titles if not any(title in page for page in told)] == []
    assert all(any(relay in page for page in told) for relay in Relay)


def test_without_a_plan_there_are_no_cards(meet: MeetAtHand) -> None:
    told = a_problem(meet.organiser.get(CARDS), 404, "not-found")
    assert "plan the crew" in told["detail"]


def test_a_post_that_the_plan_no_longer_has_gets_no_card(meet: MeetAtHand) -> None:
    bo, cleo = meet["Bo Halyard"].id, meet["Cleo Anchor"].id
    plan(meet, a_post(new_id(), bo), a_post(new_id(), cleo))
    etag = meet.organiser.get("crew").headers["ETag"]
    assert meet.organiser.put("crew", {"posts": [a_post(new_id(), cleo)]}, etag=etag).is_success
    (page,) = pages(meet)
    assert "Cleo Anchor" in page


@pytest.mark.parametrize("role", MAY + MAY_NOT)
def test_who_appoints_and_who_leads_the_crew_print_its_cards(meet: MeetAtHand, role: str) -> None:
    plan(meet, a_post(new_id(), meet["Bo Halyard"].id))
    person = meet.organiser if role == "organiser" else add_official(meet, role, role)
    before = meet.head()
    answer = person.get(CARDS)
    if role in MAY:
        assert answer.status_code == 200
        assert "no-store" in answer.headers["cache-control"]
    else:
        a_problem(answer, 403, "role-missing")
    assert meet.head() == before
