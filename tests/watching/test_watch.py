"""What an umpire's phone shows, in one answer, and what it costs to ask for it."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from app.access.queries import Caller
from app.ids import MeetId, OfficialId, SessionId, new_id
from app.rules.book import load_book
from app.rules.observation import Infringement
from app.rules.relay import Relay
from app.rules.seen_from import seen_from
from app.watching.queries import AHEAD, ALL_HEATS, BEFORE, watch
from tests.builders import (
    Json,
    MeetAtHand,
    Person,
    a_bare_meet,
    a_meet,
    a_post,
    a_problem,
    a_start_list,
    add_official,
    all_heats,
)
from tests.conftest import NewDatabase
from tests.running import Service, a_service


def shown(person: Person) -> Json:
    """What somebody's phone shows."""
    answer = person.get("watch")
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def test_a_phone_learns_whose_it_is_where_it_stands_and_what_is_now(meet: MeetAtHand) -> None:
    told = shown(meet.umpire)
    assert told["official"] == {"id": meet.umpire.id, "name": "umpire", "roles": ["umpire"]}
    assert told["meet"] == {
        "id": meet.id,
        "name": "Harbour Relays",
        "time_zone": "Europe/Paris",
        "edition": "world-athletics-2025",
        "first_day": "2026-06-13",
        "last_day": "2026-06-14",
    }
    (post,) = told["posts"]
    assert post == {
        "id": meet.posts["umpire"],
        "take_over": 1,
        "edge": "end",
        "lanes": [3, 4],
        "side": "inside",
        "relays": [],
        "heats": [],
        "words": "take-over 1, end, lanes 3–4, inside",
    }
    assert (told["now"], told["next"]) == (meet.heat(0), meet.heat(1))
    assert [heat["id"] for heat in told["heats"]] == [meet.heat(0), meet.heat(1)]
    first = meet.heats[0]
    heat = told["heats"][0]
    assert {name: heat[name] for name in heat if name != "lanes"} == {
        "id": first["id"],
        "event_name": "Women 4x100 m",
        "relay": "4x100",
        "round": "heats",
        "number": 1,
        "scheduled": None,
        "state": "to come",
        "run": 0,
        "rehearsal": False,
    }
    assert heat["lanes"] == [
        {name: lane[name] for name in ("lane", "team", "name", "affiliation", "bib")}
        for lane in first["lanes"]
    ]
    meet.start(1)
    told = shown(meet.umpire)
    assert (told["now"], told["next"]) == (meet.heat(1), meet.heat(0))
    assert [heat["state"] for heat in told["heats"]] == ["to come", "running"]


def test_zones_have_the_measures_of_the_meets_own_rule_book(service: Service) -> None:
    for edition in ("world-athletics-2025", "nfhs-2019", "older-20-plus-10"):
        hand = a_meet(service, edition=edition, umpires=())
        rows = "event,round,heat,lane,team\nMen 4x400 m,final,1,4,Tern\n"
        assert hand.organiser.post("start-lists", content=rows).status_code == 200
        book = load_book(edition)
        zones = shown(hand.umpire)["zones"]
        asked = [(relay, place) for relay in ("4x100", "4x400") for place in (1, 2, 3)]
        assert [(zone["relay"], zone["take_over"]) for zone in zones] == asked
        for zone in zones:
            rule = book.zone(Relay(zone["relay"]), zone["take_over"])
            measures = (zone["length_m"], zone["leg_line_m"], zone["acceleration_m"])
            assert measures == (rule.length_m, rule.leg_line_m, rule.acceleration_m)
            assert zone["rule"] == rule.rule


def test_a_phone_knows_what_can_be_reported_from_which_edge(meet: MeetAtHand) -> None:
    sights = shown(meet.umpire)["sights"]
    assert [one["seen"] for one in sights] == list(Infringement)
    book = load_book("world-athletics-2025")
    for one in sights:
        infringement = Infringement(one["seen"])
        assert one["title"]
        assert one["rule"] == book.reference(infringement)
        assert tuple(one["edges"]) == seen_from(infringement).edges
        assert one["position"] == seen_from(infringement).position
    helped = next(one for one in sights if one["seen"] == "help_given")
    assert helped["questions"] == [{"fact": "helped", "words": "Was a runner pushed or helped?"}]


def test_what_a_phone_is_told_to_ask_makes_a_report_that_is_taken(meet: MeetAtHand) -> None:
    meet.start()
    placed = {"metres": -0.4, "uncertainty": 0.3}
    for one in shown(meet.umpire)["sights"]:
        fact = {} if one["position"] == "none" else {one["position"].split()[0]: placed}
        facts = {question["fact"]: "yes" for question in one["questions"]}
        written = meet.report(observation={"seen": one["seen"], **fact, **facts})
        assert written["state"] == "written"


def test_a_phone_has_its_own_calls_and_reports_and_nobody_elses(meet: MeetAtHand) -> None:
    meet.start()
    report = new_id()
    call = meet.call("yellow", lane=4, report=report).json()
    meet.call("yellow", by="second", lane=5)
    meet.report(by="second", lane=5)
    told = shown(meet.umpire)
    assert told["calls"] == [
        {
            "id": call["id"],
            "heat": meet.heat(),
            "post": meet.posts["umpire"],
            "flag": "yellow",
            "lane": 4,
            "report": report,
            "received_at": call["received_at"],
        }
    ]
    (raised,) = told["reports"]
    assert (raised["id"], raised["state"], raised["received_at"]) == (report, "raised", None)
    written = meet.report(lane=3)
    asked = {"reason": "How far past the line?"}
    address = f"reports/{written['id']}/return"
    assert meet.referee.post(address, asked, etag='"v1"').status_code == 200
    raised, returned = shown(meet.umpire)["reports"]
    assert (returned["id"], returned["lane"], returned["version"]) == (written["id"], 3, 2)
    assert (returned["state"], returned["remark"]) == ("returned", "How far past the line?")
    taken_back = {"reason": "It was lane 5."}
    address = f"reports/{written['id']}/withdraw"
    assert meet.umpire.post(address, taken_back, etag='"v2"').status_code == 200
    last = shown(meet.umpire)["reports"][1]
    assert (last["state"], last["remark"]) == ("withdrawn", None)
    assert shown(meet["results"])["calls"] == []


def test_whoever_has_no_post_sees_the_programme_all_the_same(meet: MeetAtHand) -> None:
    told = shown(meet["results"])
    assert told["posts"] == []
    assert told["now"] == meet.heat(0)
    elsewhere = a_meet(meet.service)
    a_problem(elsewhere.umpire.get(f"/api/meets/{meet.id}/watch"), 403, "role-missing")


def test_heats_that_nobody_runs_are_left_out(meet: MeetAtHand) -> None:
    off = {"reasons": "Scratched."}
    answer = meet.organiser.post(f"heats/{meet.heat(0)}/not-held", off, etag='"v1"')
    assert answer.status_code == 200, answer.text
    told = shown(meet.umpire)
    assert [heat["id"] for heat in told["heats"]] == [meet.heat(1)]


def test_what_has_not_changed_is_not_sent_again(meet: MeetAtHand) -> None:
    first = meet.umpire.get("watch")
    tag = first.headers["ETag"]
    meet.service.clock.move(timedelta(minutes=2))
    for given in (tag, tag.removeprefix("W/"), f'"other", {tag}', "*"):
        again = meet.umpire.get("watch", headers={"If-None-Match": given})
        assert (again.status_code, again.content) == (304, b""), given
        assert again.headers["ETag"] == tag
        assert "private" in again.headers["Cache-Control"]
    later = meet.umpire.get("watch", headers={"If-None-Match": '"other"'})
    assert later.status_code == 200
    assert later.headers["ETag"] == tag
    apart = datetime.fromisoformat(later.json()["server_time"])
    assert apart - datetime.fromisoformat(first.json()["server_time"]) >= timedelta(minutes=2)
    meet.start()
    changed = meet.umpire.get("watch", headers={"If-None-Match": tag})
    assert changed.status_code == 200
    assert changed.headers["ETag"] != tag


def test_two_phones_have_two_tags(meet: MeetAtHand) -> None:
    tags = {meet[name].get("watch").headers["ETag"] for name in ("umpire", "second")}
    assert len(tags) == 2


@pytest.fixture(scope="module")
def long_meet(running_service: Service) -> Iterator[MeetAtHand]:
    """A meet of 2,000 heats, its umpire at a post."""
    hand = a_bare_meet(running_service)
    add_official(hand, "umpire", "umpire")
    add_official(hand, "referee", "referee")
    rows = ["event,round,heat,lane,team,affiliation,bib"]
    for number in range(100):
        rows += a_start_list(20, event=f"Event {number} 4x100 m").splitlines()[1:]
    loaded = hand.organiser.post("start-lists", content="\n".join(rows))
    assert loaded.status_code == 200, loaded.text
    places = [a_post(new_id(), hand["umpire"].id)]
    assert hand.organiser.put("crew", {"posts": places}).status_code == 201
    hand.heats = list(all_heats(hand))
    yield hand
    running_service.clock.run_again()


def test_of_a_long_programme_a_phone_gets_what_lies_around_now(long_meet: MeetAtHand) -> None:
    programme = [heat["id"] for heat in long_meet.heats]
    assert len(programme) == 2000
    told = shown(long_meet.umpire)
    assert [heat["id"] for heat in told["heats"]] == programme[: AHEAD + 1]
    for now in (4, 699, 1999):
        assert long_meet.referee.put("heat-now", {"heat": programme[now]}).is_success
        told = shown(long_meet.umpire)
        around = programme[max(0, now - BEFORE) : now + AHEAD + 1]
        assert [heat["id"] for heat in told["heats"]] == around
        assert told["now"] == programme[now]


def test_of_heats_that_a_phone_is_not_shown_it_gets_no_flag_and_no_report(
    service: Service,
) -> None:
    hand = a_meet(service, heats=ALL_HEATS + AHEAD)
    hand.heats = list(all_heats(hand))
    hand.start()
    call = new_id()
    assert hand.call("yellow", id=call, lane=4, report=new_id()).is_success
    for now, is_shown in ((BEFORE, True), (BEFORE + 1, False)):
        hand.start(now)
        told = shown(hand.umpire)
        assert (told["heats"][0]["id"] == hand.heat(0)) == is_shown
        assert [one["id"] for one in told["calls"]] == [call] * is_shown
        assert [one["heat"] for one in told["reports"]] == [hand.heat(0)] * is_shown
        teams = [{one["team"] for one in heat["lanes"]} for heat in told["heats"]]
        drawn = hand.heats[0 if is_shown else 1 :]
        assert teams == [{one["team"] for one in heat["lanes"]} for heat in drawn[: len(teams)]]


def test_a_short_programme_comes_whole(service: Service) -> None:
    hand = a_meet(service, heats=ALL_HEATS)
    hand.heats = list(all_heats(hand))
    assert hand.referee.put("heat-now", {"heat": hand.heat(ALL_HEATS - 1)}).is_success
    assert len(shown(hand.umpire)["heats"]) == ALL_HEATS


def statements_for(hand: MeetAtHand) -> int:
    """How many statements SQLite is given for one answer."""
    asked: list[str] = []
    caller = Caller(OfficialId(hand.umpire.id), MeetId(hand.id), SessionId(""), frozenset())
    with hand.service.store.engines.reading.connect() as conn:
        driver: Any = conn.connection.driver_connection
        driver.set_trace_callback(asked.append)
        watch(conn, caller.meet_id, caller, hand.service.clock.now())
        driver.set_trace_callback(None)
    return len([one for one in asked if one.startswith("SELECT")])


def test_an_answer_takes_few_statements_whatever_the_size_of_the_meet(
    new_database: NewDatabase,
) -> None:
    with a_service(new_database("sqlite")) as service:
        counts = [statements_for(a_meet(service, heats=heats)) for heats in (2, 200, 400)]
    assert counts[0] >= 10
    assert counts[1] == counts[2] <= 17


def test_a_meet_of_two_thousand_heats_answers_in_well_under_fifty_milliseconds(
    long_meet: MeetAtHand,
) -> None:
    """The quickest of some: other work shares the machine."""
    shown(long_meet.umpire)
    took = []
    for _ in range(25):
        begun = time.perf_counter()
        shown(long_meet.umpire)
        took.append(time.perf_counter() - begun)
    assert min(took) < 0.05, took


def test_the_time_is_told_as_a_phone_needs_it_to_measure_its_clock(service: Service) -> None:
    noon = datetime(2026, 6, 13, 12, 0, 0, 250_000, tzinfo=UTC)
    service.clock.stand_at(noon)
    answer = service.http.get("/api/time")
    assert answer.headers["Cache-Control"] == "no-store"
    assert answer.json() == {
        "received_at": "2026-06-13T12:00:00.250000Z",
        "answered_at": "2026-06-13T12:00:00.250000Z",
    }
    service.clock.run_again()
    before = datetime.now(UTC)
    told = json.loads(service.http.get("/api/time").content)
    came, went = (datetime.fromisoformat(told[name]) for name in ("received_at", "answered_at"))
    assert before <= came <= went <= datetime.now(UTC)
