"""Briefing cards over HTTP: one an umpire, by the meet's own rule book.

Measures of zones: World Athletics TR24.3 (30 m, leg line at 20 m; 4x400: 20 m, at 10 m), and IAAF
Rule 170.3 (2012) for the older zone. What umpires are told: handbook of the trade, 2, 4 and 9.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import httpx
import pytest

from app.crew.day import day_of
from app.ids import MeetId, OfficialId, new_id
from app.rules.book import editions, load_book
from app.rules.observation import Infringement
from app.rules.relay import Relay
from tests.access.test_badges import join, kinds_since
from tests.builders import (
    Json,
    MeetAtHand,
    a_bare_meet,
    a_post,
    a_problem,
    a_start_list,
    add_official,
)
from tests.conftest import ENGINES, NewDatabase
from tests.forms.pdf_reading import count_pages, read_pages
from tests.forms.test_badge_sheet import codes_on
from tests.forms.test_structure import elements_of, read_structure
from tests.running import PUBLIC_URL, Service, a_service
from tests.statements import statements_of

CARDS = "crew/briefing-cards.pdf"
OVAL = {"radius_m": 17.2, "straight_m": 45.022, "lane_width_m": 1.0, "lanes": 6}
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


def load(
    meet: MeetAtHand, *events: str, heats: int = 1, lanes: Sequence[int] = range(1, 9)
) -> None:
    for event in events:
        loaded = meet.organiser.post("start-lists", content=a_start_list(heats, event, lanes))
        assert loaded.status_code == 200, loaded.text


def ask(meet: MeetAtHand, **params: Any) -> bytes:
    answer = meet.organiser.get(CARDS, params=params or None)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    return answer.content


def told(pdf: bytes) -> dict[str, str]:
    """What each card says, as it is read aloud, by whose it is."""
    cards: dict[str, str] = {}
    for role, text in read_structure(pdf):
        if role == "H1":
            name = text
            cards[name] = ""
        cards[name] += f"{text} "
    return cards


def cards(meet: MeetAtHand, **params: Any) -> dict[str, str]:
    return told(ask(meet, **params))


def test_each_umpire_has_one_card_with_all_posts_and_nobody_else_has_one(meet: MeetAtHand) -> None:
    bo, cleo = meet["Bo Halyard"].id, meet["Cleo Anchor"].id
    load(meet, "Women 4x100 m", "Men 4x400 m", heats=3)
    plan(
        meet,
        a_post(new_id(), bo, take_over=2, edge="end", relays=["4x100"], side="outside"),
        a_post(new_id(), bo, take_over=1, edge="start", lanes=[1, 2, 5], relays=["4x400"]),
        a_post(new_id(), cleo, take_over=2, edge="start", lanes=[1, 2, 5], relays=["4x400"]),
    )
    made = cards(meet)
    assert list(made) == ["Bo Halyard", "Cleo Anchor"]
    words = made["Bo Halyard"]
    first, then = words.index("Take-over 2: end, lanes 3–4, outside"), words.index("Take-over 1:")
    assert first < words.index("Women 4x100 m, heats: heats 1–3") < then
    assert then < words.index("Men 4x400 m, heats: heats 1–3")
    assert "Take-over 1: start, lanes 1–2, 5, inside" in words
    assert "4x100: 30 m, leg line 20 m after its start (TR24.3)." in words
    assert "4x400: 20 m, leg line 10 m after its start (TR24.3)." in words
    assert "Its first line belongs to it, its last one does not." in words
    assert "acceleration" not in words
    assert "Women 4x100 m" not in made["Cleo Anchor"]


def test_every_heat_that_somebody_is_planned_for_is_on_their_card_and_no_other(
    meet: MeetAtHand,
) -> None:
    """Heats with their own posts as well; what is planned is told by `GET …/heats/{id}/posts`."""
    bo, cleo = meet["Bo Halyard"].id, meet["Cleo Anchor"].id
    load(meet, "Women 4x100 m", "Men 4x400 m", "Women 4x200 m", heats=4)
    heats = meet.organiser.get("heats").json()["heats"]
    plan(
        meet,
        a_post(new_id(), bo, heats=[one["id"] for one in heats[::2]]),
        a_post(new_id(), bo, take_over=3, heats=[one["id"] for one in heats[1::3]]),
        a_post(new_id(), cleo, relays=["4x400", "4x200"]),
    )
    conn = meet.service.store.engines.reading.connect()
    with conn:
        day = day_of(conn, MeetId(meet.id))
    for name, official in (("Bo Halyard", bo), ("Cleo Anchor", cleo)):
        planned = [
            one["id"]
            for one in heats
            if any(post.official_id == official for post in day.planned[one["id"]])
        ]
        turns = day.turns(OfficialId(official))
        assert [heat.id for turn in turns for heat in turn.heats] == planned
        words = cards(meet)[name]
        for turn in turns:
            for stand in turn.stands:
                assert stand.words in words
    assert "Women 4x100 m, heats: heats 1, 3" not in cards(meet)["Cleo Anchor"]


def heats_of(meet: MeetAtHand) -> list[Json]:
    return list(meet.organiser.get("heats").json()["heats"])


def timed(meet: MeetAtHand, day: str) -> None:
    rows = ["event,round,heat,lane,team,scheduled", f"Men 4x400 m,final,1,3,Quay,{day}15:30"]
    rows += [f"Women 4x100 m,heats,{one},3,Pier {one},{day}14:0{one}" for one in (1, 2, 3)]
    loaded = meet.organiser.post("start-lists", content="\n".join(rows))
    assert loaded.status_code == 200, loaded.text
    plan(meet, a_post(new_id(), meet["Bo Halyard"].id))


@pytest.mark.parametrize("day", ["", "2026-06-13T"])
def test_heats_of_a_day_stand_in_the_order_of_time(service: Service, day: str) -> None:
    meet = with_umpires(a_bare_meet(service, last_day="2026-06-13"))
    timed(meet, day)
    words = cards(meet)["Bo Halyard"]
    first = "Women 4x100 m, heats: heats 1–3 14:01–14:03"
    assert words.index(first) < words.index("Men 4x400 m, final: heat 1 15:30")


def test_at_a_meet_of_two_days_a_time_says_its_day_and_one_without_is_not_placed_on_any(
    meet: MeetAtHand, service: Service
) -> None:
    timed(meet, "2026-06-14T")
    words = cards(meet)["Bo Halyard"]
    first = "Women 4x100 m, heats: heats 1–3 2026-06-14 14:01–14:03"
    assert words.index(first) < words.index("Men 4x400 m, final: heat 1 2026-06-14 15:30")
    other = with_umpires(a_bare_meet(service))
    timed(other, "")
    words = cards(other)["Bo Halyard"]
    assert words.index("final: heat 1 15:30") < words.index("heats: heats 1–3 14:01–14:03")


def test_a_card_says_where_on_the_track_its_edge_lies(meet: MeetAtHand) -> None:
    """100 m before the finish, 84.39 m of them straight, lies the leg line: 15.61 m before the end
    of a bend of 115.61 m (WA Track and Field Facilities Manual, 400 m standard track); the zone
    begins 20 m before it.
    """
    load(meet, "Women 4x100 m")
    plan(meet, a_post(new_id(), meet["Bo Halyard"].id, take_over=3, edge="start", lanes=[1]))
    there = "Take-over 3: start, lane 1, inside 4x100: 80 m into the second bend."
    assert there in cards(meet)["Bo Halyard"]


def test_two_posts_at_one_edge_are_told_apart_each_with_where_its_own_lanes_lie(
    meet: MeetAtHand,
) -> None:
    """The leg line of take-over 2 lies 25 m or so into the second bend, and further for each lane
    (the staggers of a 4x100, common practice). Both are drawn.
    """
    load(meet, "Women 4x100 m", heats=2)
    bo, heats = meet["Bo Halyard"].id, [one["id"] for one in heats_of(meet)]
    plan(
        meet,
        a_post(new_id(), bo, take_over=2, edge="end", lanes=[1, 2], heats=heats[:1]),
        a_post(new_id(), bo, take_over=2, edge="end", lanes=[5, 6], heats=heats[1:]),
    )
    pdf = ask(meet)
    words = told(pdf)["Bo Halyard"]
    lies = re.findall(r"Take-over 2: end, lanes (\S+), inside 4x100: ([^.]+)\.", words)
    assert [lanes for lanes, _ in lies] == ["1–2", "5–6"]
    assert lies[0][1] != lies[1][1]
    drawn = "4x100, take-over 2: end, lanes {}, inside"
    assert stands_drawn(pdf) == [drawn.format("1–2"), drawn.format("5–6")]
    assert words.count("4x100, take-over 2: end ") == 2  # above each


def test_heats_with_others_between_have_each_their_own_time(meet: MeetAtHand) -> None:
    rows = [f"Women 4x100 m,heats,{one},3,Pier {one},11:{one}0" for one in range(1, 6)]
    loaded = meet.organiser.post(
        "start-lists", content="\n".join(["event,round,heat,lane,team,scheduled", *rows])
    )
    assert loaded.status_code == 200, loaded.text
    heats = [one["id"] for one in heats_of(meet)]
    bo = meet["Bo Halyard"].id
    plan(meet, a_post(new_id(), bo, heats=[heats[0], heats[2], heats[3]]))
    words = cards(meet)["Bo Halyard"]
    assert "Women 4x100 m, heats: heats 1, 3–4 11:10, 11:30–11:40" in words


def test_what_is_told_to_everybody_stands_once_however_many_cards_a_day_needs(
    meet: MeetAtHand,
) -> None:
    load(meet, *(f"Women {one} 4x100 m" for one in range(30)), heats=2)
    plan(meet, a_post(new_id(), meet["Bo Halyard"].id))
    words = cards(meet)["Bo Halyard"]
    assert "card 1 of 2" in read_pages(ask(meet))[0]
    for title in ("Your flags:", "A good report says:", "Take care:"):
        assert words.count(title) == 1
        assert words.index(title) < words.index("further card")


def test_a_card_tells_what_is_seen_from_its_edges_with_the_rule_and_what_is_not(
    meet: MeetAtHand,
) -> None:
    bo, cleo = meet["Bo Halyard"].id, meet["Cleo Anchor"].id
    plan(
        meet,
        a_post(new_id(), bo, edge="start", relays=["4x100"]),
        a_post(new_id(), cleo, edge="end", relays=["4x100"]),
    )
    made = cards(meet)
    start, end = made["Bo Halyard"], made["Cleo Anchor"]
    assert "Seen from the start: Pass begun before the take-over zone; Pass completed before" in (
        start
    )
    assert "(TR24.7); Receiver waiting outside the permitted stretch" in start
    assert "beyond" not in start
    assert "Seen from the end: Pass completed beyond the take-over zone (TR24.7). Seen" in end
    for words in (start, end):
        either = words.partition("Seen from either edge:")[2].partition("The zone")[0]
        assert "Dropped baton fetched against the rule (TR24.6)" in either


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
    assert ("Waiting order changed" in cards(meet)["Bo Halyard"]) == waits


def test_the_words_of_care_and_of_a_good_report_stand_on_every_card(meet: MeetAtHand) -> None:
    plan(meet, *(a_post(new_id(), meet[name].id) for name in ("Bo Halyard", "Cleo Anchor")))
    for card in cards(meet).values():
        for words in (
            "Keep out of the running lanes; look both ways",
            "Phone down while a heat runs.",
            "You tell what you saw; the meet's appointed officials decide.",
            "White: nothing to report. Yellow: an apparent infringement.",
            "who else had the view; where the baton was, how far from the line.",
            "The baton decides, no body, foot or hand.",
            "No heat of it is drawn yet.",
        ):
            assert words in card, words


def test_a_post_without_heats_names_its_relays_and_every_zone_that_differs_once(
    meet: MeetAtHand,
) -> None:
    load(meet, "Women 4x100 m", "Women 4x200 m", "Men 4x400 m", lanes=range(1, 7))
    bo = meet["Bo Halyard"].id
    plan(meet, a_post(new_id(), bo, lanes=[8]), a_post(new_id(), bo, relays=["medley"]))
    words = cards(meet)["Bo Halyard"]
    assert "Take-over 1: end, lane 8, inside (4x100, 4x200, 4x400)" in words
    assert words.count("No heat that is drawn uses these lanes.") == 1
    assert words.count("No heat of it is drawn yet.") == 1
    assert "4x100, 4x200, medley: 30 m, leg line 20 m after its start" in words
    assert "4x400: 20 m, leg line 10 m after its start" in words


def call_off(meet: MeetAtHand, heat: str) -> None:
    etag = meet.organiser.get(f"heats/{heat}").headers["ETag"]
    sent = {"reasons": "A storm over the stadium."}
    answer = meet.organiser.post(f"heats/{heat}/not-held", sent, etag=etag)
    assert answer.status_code == 200, answer.text


def test_a_post_whose_only_heat_was_called_off_says_so_and_not_that_none_is_drawn(
    meet: MeetAtHand,
) -> None:
    load(meet, "Women 4x100 m", heats=2)
    first, second = (one["id"] for one in meet.organiser.get("heats").json()["heats"])
    bo, cleo = meet["Bo Halyard"].id, meet["Cleo Anchor"].id
    plan(meet, a_post(new_id(), bo, heats=[second]), a_post(new_id(), cleo, heats=[first, second]))
    call_off(meet, second)
    made = cards(meet)
    assert "Its heat was called off." in made["Bo Halyard"]
    assert "drawn" not in made["Bo Halyard"]
    assert "called off" not in made["Cleo Anchor"]


def test_the_older_rule_has_its_acceleration_zone(service: Service) -> None:
    old = with_umpires(a_bare_meet(service, edition="older-20-plus-10"))
    plan(old, a_post(new_id(), old["Bo Halyard"].id, edge="start", relays=["4x100"]))
    words = cards(old)["Bo Halyard"]
    assert "20 m, leg line 10 m after its start, after an acceleration zone of 10 m (R170" in words
    assert "In the acceleration zone the receiver may wait and begin to run." in words


def test_where_both_lines_belong_to_the_zone_the_card_says_so(service: Service) -> None:
    school = with_umpires(a_bare_meet(service, edition="nfhs-2019"))
    plan(school, a_post(new_id(), school["Bo Halyard"].id, relays=["4x100"]))
    assert "Both its lines belong to it." in cards(school)["Bo Halyard"]  # NFHS 2020 5-3-3


def test_each_stand_that_looks_different_is_drawn_once(meet: MeetAtHand) -> None:
    """By edge, side, lanes and the relay's zone: 4x100 and 4x200 have the same, 4x400 another."""
    bo = meet["Bo Halyard"].id
    plan(
        meet,
        a_post(new_id(), bo, relays=["4x100", "4x200"]),
        a_post(new_id(), bo, take_over=3, relays=["4x100"]),
        a_post(new_id(), bo, relays=["4x400"]),
        a_post(new_id(), bo, edge="start", relays=["4x400"], side="outside"),
    )
    assert sorted(stands_drawn(ask(meet))) == [
        "4x100, take-overs 1, 3; 4x200, take-over 1: end, lanes 3–4, inside",
        "4x400, take-over 1: end, lanes 3–4, inside",
        "4x400, take-over 1: start, lanes 3–4, outside",
    ]


@pytest.mark.parametrize(
    ("relay", "take_over", "lanes", "note"),
    [
        ("4x100", 1, [1, 2, 3, 4], "lane 4's lies 15 m on from lane 1's, along lane 4"),
        ("4x100", 3, [1, 2, 3, 4], "lane 4's lies 3 m on from lane 1's, along lane 4"),
        ("4x100", 1, [4], None),
        ("4x400", 2, [1, 2, 3, 4], None),  # one line straight across the track
    ],
)
def test_a_card_says_how_far_lines_are_from_lying_abreast_as_they_are_drawn(
    meet: MeetAtHand, relay: str, take_over: int, lanes: list[int], note: str | None
) -> None:
    """Lane 4 is measured 40.36 m from the middle of a bend and lane 1 36.80 m, so that its two
    bends more are 22.37 m. Take-over 1 begins 80 m into lane 1's bend: 87.74 m of lane 4's, whose
    own line lies at 102.37 m. Take-over 3 begins 35.61 m before the end of either lane's bend: for
    lane 4 that is 3.44 m less than 39.05 m.
    """
    bo = meet["Bo Halyard"].id
    where = {"take_over": take_over, "edge": "start", "lanes": lanes, "relays": [relay]}
    plan(meet, a_post(new_id(), bo, **where))
    words = cards(meet)["Bo Halyard"]
    assert ("Lines not abreast" in words) == (note is not None)
    if note is not None:
        assert f"Lines not abreast: {note}" in words


def test_where_one_drawing_is_of_several_take_overs_each_says_how_far_its_lines_lie_apart(
    meet: MeetAtHand,
) -> None:
    """Of the 4x400, only the lines of take-over 1 are staggered."""
    bo = meet["Bo Halyard"].id
    for_both = {"edge": "start", "lanes": [1, 2, 3, 4], "relays": ["4x400"]}
    plan(meet, *(a_post(new_id(), bo, take_over=one, **for_both) for one in (1, 2)))
    pdf = ask(meet)
    assert stands_drawn(pdf) == ["4x400, take-overs 1, 2: start, lanes 1–4, inside"]
    words = told(pdf)["Bo Halyard"]
    note = "lane 4's lies 11 m (4x400, take-over 1) on from lane 1's, along lane 4"
    assert f"Lines not abreast: {note}" in words


def test_lines_that_lie_much_the_same_on_at_several_take_overs_are_told_in_one(
    meet: MeetAtHand,
) -> None:
    """Lanes 5 and 8 are measured 41.58 m and 45.24 m from the middle of a bend. Take-over 1 of the
    4x100 begins 110.04 m into a bend in lane 5, which is 119.72 m into it in lane 8, where the line
    lies 13.31 m farther, at 133.03 m; that of the medley 110.17 m into one: 119.87 m in lane 8,
    where the line lies 13.58 m farther, at 133.45 m.
    """
    bo = meet["Bo Halyard"].id
    its = {"edge": "start", "lanes": [5, 6, 7, 8], "relays": ["4x100", "medley"]}
    plan(meet, a_post(new_id(), bo, **its))
    note = "lane 8's lies 13–14 m on from lane 5's, along lane 8"
    assert f"Lines not abreast: {note}" in cards(meet)["Bo Halyard"]


def test_where_the_heading_has_the_number_of_the_take_over_a_note_names_the_relay_alone(
    meet: MeetAtHand,
) -> None:
    bo = meet["Bo Halyard"].id
    its = {"edge": "start", "lanes": [1, 2, 3, 4], "relays": ["4x100", "4x200"]}
    plan(meet, a_post(new_id(), bo, **its))
    assert re.search(
        r"lane 4's lies 15 m \(4x100\), \d+ m \(4x200\) on from lane 1's", cards(meet)["Bo Halyard"]
    )


def stands_drawn(pdf: bytes) -> list[str]:
    """In words, as they are read aloud; each drawing says the same of hatching and spot."""
    begin, end = "Where to stand: ", ". What is watched"
    alts = [str(one.get("/Alt", "")) for one in elements_of(pdf)]
    return [one[len(begin) :].partition(end)[0] for one in alts if one.startswith(begin)]


def test_on_a_track_without_a_lap_there_are_cards_with_the_measures_and_no_place_on_it(
    service: Service,
) -> None:
    odd = with_umpires(a_bare_meet(service, track={"radius_m": 17.2, "straight_m": 50.0}))
    plan(odd, a_post(new_id(), odd["Bo Halyard"].id, relays=["4x100"]))
    words = cards(odd)["Bo Halyard"]
    assert " m into the " not in words
    assert "30 m, leg line 20 m after its start" in words


@pytest.mark.parametrize(
    ("edition", "relay", "note"),
    [
        ("nfhs-2019", "4x200", "No zones on an oval of 200 m were found for this edition"),
        ("world-athletics-2025", "4x100", "4x100: no zone is known on this track."),
    ],
)
def test_where_the_edition_has_no_zone_on_an_oval_the_card_says_so_and_has_no_measures(
    service: Service, edition: str, relay: str, note: str
) -> None:
    oval = with_umpires(a_bare_meet(service, track=OVAL, edition=edition))
    plan(oval, a_post(new_id(), oval["Bo Halyard"].id, relays=[relay]))
    pdf = ask(oval)
    words = told(pdf)["Bo Halyard"]
    assert note in words
    assert not re.search(r"\d m, leg line|\d m into the |belong", words)
    assert "Not to scale" in words
    assert stands_drawn(pdf) == [f"{relay}, take-over 1: end, lanes 3–4, inside"]
    a_problem(oval.organiser.get(f"survey/zones/{relay}/1"), 404, "not-found")


def test_on_an_oval_the_card_has_the_zones_of_the_oval(service: Service) -> None:
    """Irish federation's relay document, as quoted by a club: all exchanges within 20 m."""
    oval = with_umpires(a_bare_meet(service, track=OVAL))
    plan(oval, a_post(new_id(), oval["Bo Halyard"].id, take_over=2, relays=["4x200"]))
    words = cards(oval)["Bo Halyard"]
    assert "4x200: 20 m, leg line 10 m after its start" in words
    assert "4x200: 10 m into the first bend." in words  # its leg line is the finish line
    assert "Not to scale" not in words


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("edition", editions())
def test_whoever_watches_one_edge_of_one_relay_has_one_card_in_every_edition(
    running_service: Service, edition: str, paper: str
) -> None:
    hand = with_umpires(a_bare_meet(running_service, edition=edition))
    load(hand, "Women 4x100 m", heats=3)
    bo, cleo = hand["Bo Halyard"].id, hand["Cleo Anchor"].id
    plan(hand, a_post(new_id(), bo, edge="start"), a_post(new_id(), cleo, edge="end"))
    pdf = ask(hand, paper=paper)
    assert count_pages(pdf) == 1
    assert read_pages(pdf)[0].count("card 1 of 1") == 2
    assert_all_titles(list(told(pdf).values()), edition)


def assert_all_titles(texts: Sequence[str], edition: str) -> None:
    """Between them the cards of a whole zone name all infringements of the book that can happen."""
    book = load_book(edition)
    titles = {
        book.infringements[one].title
        for one in Infringement
        if one is not Infringement.WAITING_ORDER_CHANGED
    }
    assert [title for title in titles if not any(title in text for text in texts)] == []
    assert all(Relay.FOUR_BY_100 in text for text in texts)


def test_without_a_plan_there_are_no_cards(meet: MeetAtHand) -> None:
    for answer in (meet.organiser.get(CARDS), ask_codes(meet)):
        assert "plan the crew" in a_problem(answer, 404, "not-found")["detail"]


def test_a_post_that_the_plan_no_longer_has_gets_no_card(meet: MeetAtHand) -> None:
    bo, cleo = meet["Bo Halyard"].id, meet["Cleo Anchor"].id
    plan(meet, a_post(new_id(), bo), a_post(new_id(), cleo))
    etag = meet.organiser.get("crew").headers["ETag"]
    assert meet.organiser.put("crew", {"posts": [a_post(new_id(), cleo)]}, etag=etag).is_success
    assert list(cards(meet)) == ["Cleo Anchor"]


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


@pytest.mark.parametrize("engine", ENGINES)
def test_more_posts_and_heats_ask_the_database_no_more(
    new_database: NewDatabase, engine: str
) -> None:
    with a_service(new_database(engine)) as service:
        statements = statements_of(service)
        hand = with_umpires(a_bare_meet(service))
        bo, cleo = hand["Bo Halyard"].id, hand["Cleo Anchor"].id
        load(hand, "Women 4x100 m", heats=2)
        plan(hand, a_post(new_id(), bo))
        with statements.counted() as few:
            ask(hand)
        load(hand, "Men 4x400 m", "Women 4x200 m", heats=9)
        etag = hand.organiser.get("crew").headers["ETag"]
        more = [a_post(new_id(), who, take_over=one) for who in (bo, cleo) for one in (1, 2, 3)]
        assert hand.organiser.put("crew", {"posts": more}, etag=etag).is_success
        with statements.counted() as many:
            ask(hand)
        assert len(many) == len(few)


def ask_codes(meet: MeetAtHand, *officials: str, **changes: Any) -> httpx.Response:
    return meet.organiser.post(CARDS, {"officials": list(officials), **changes})


def a_newcomer(meet: MeetAtHand, name: str, **changes: Any) -> str:
    official, document = new_id(), {"name": name, "roles": ["umpire"], **changes}
    assert meet.organiser.put(f"officials/{official}", document).status_code == 201
    return official


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_the_code_on_a_card_joins_its_umpire_and_nobody_who_has_joined_gets_one(
    meet: MeetAtHand, paper: str
) -> None:
    dee, bo = a_newcomer(meet, "Dee Mooring"), meet["Bo Halyard"].id
    plan(meet, a_post(new_id(), bo), a_post(new_id(), dee))
    size = meet.head()["size"]
    answer = ask_codes(meet, paper=paper)
    assert answer.status_code == 200, answer.text
    assert "no-store" in answer.headers["cache-control"]
    assert list(told(answer.content)) == ["Bo Halyard", "Dee Mooring"]
    (code,) = codes_on(answer.content)
    assert code.startswith(f"{PUBLIC_URL}/join#")
    assert kinds_since(meet, size) == [("join link issued", meet.organiser.id)]
    assert join(meet, code).json()["official"] == dee
    a_problem(join(meet, code), 403, "join-refused")


def test_who_is_named_gets_a_code_also_for_a_further_device(meet: MeetAtHand) -> None:
    bo, cleo = meet["Bo Halyard"].id, meet["Cleo Anchor"].id
    plan(meet, a_post(new_id(), bo), a_post(new_id(), cleo))
    (code,) = codes_on(ask_codes(meet, bo).content)
    assert join(meet, code).json()["official"] == bo


def test_once_all_have_joined_cards_come_without_codes_and_no_link_is_issued(
    meet: MeetAtHand,
) -> None:
    plan(meet, a_post(new_id(), meet["Bo Halyard"].id))
    before = meet.head()
    answer = ask_codes(meet)
    assert answer.status_code == 200, answer.text
    assert codes_on(answer.content) == []
    assert meet.head() == before


def test_an_inactive_umpire_has_a_card_and_gets_no_code(meet: MeetAtHand) -> None:
    gone = a_newcomer(meet, "Ina Gone")
    plan(meet, a_post(new_id(), gone))
    put = {"name": "Ina Gone", "roles": ["umpire"], "active": False}
    etag = meet.organiser.get(f"officials/{gone}").headers["ETag"]
    assert meet.organiser.put(f"officials/{gone}", put, etag=etag).is_success
    before = meet.head()
    assert codes_on(ask_codes(meet).content) == []
    assert "Ina Gone is inactive" in a_problem(ask_codes(meet, gone), 409, "conflict")["detail"]
    assert meet.head() == before


def test_codes_for_strangers_or_for_people_without_a_post_are_refused(meet: MeetAtHand) -> None:
    bo, cleo = meet["Bo Halyard"].id, meet["Cleo Anchor"].id
    plan(meet, a_post(new_id(), bo))
    before = meet.head()
    told = a_problem(ask_codes(meet, bo, new_id()), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/officials/1"
    told = a_problem(ask_codes(meet, bo, cleo), 409, "conflict")
    assert "Cleo Anchor has no post in the crew plan" in told["detail"]
    assert told["detail"].endswith("No link was issued.")
    a_problem(meet.organiser.post(CARDS, {}), 422, "malformed")
    assert meet.head() == before


@pytest.mark.parametrize("role", ["umpire", "chief_umpire", "referee", "results", "jury"])
def test_only_the_organiser_has_codes_made(meet: MeetAtHand, role: str) -> None:
    person = add_official(meet, role, role)
    plan(meet, a_post(new_id(), meet["Bo Halyard"].id))
    before = meet.head()
    a_problem(person.post(CARDS, {"officials": []}), 403, "role-missing")
    assert meet.head() == before
