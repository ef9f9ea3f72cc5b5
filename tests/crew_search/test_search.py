"""Planning a meet's crew: wishes and a search over HTTP, and the plan that is taken over.

Who stands where at a zone is the handbook's (4: six umpires a zone for eight lanes, fewer with
merged posts, never an edge of a lane unwatched without saying so; no post over the own club).
What several processes know of a search, and what outlives them, is in `test_shared.py`.
"""

from __future__ import annotations

import multiprocessing
import os
import re
import signal
import time
from collections.abc import Iterator
from functools import partial
from typing import Any

import pytest

from app.crew_search.course import begin, end
from app.crew_search.kept import SoFar
from app.crew_search.searching import SERVER_ENDED
from app.crew_search.task import asked_of
from app.crew_search.wire import (
    GivenUpOut,
    MissingOut,
    PersonMissingOut,
    PlanFoundOut,
    SearchIn,
    StandsOut,
)
from app.ids import HeatId, MeetId, new_id
from app.meets.actions import empty_heat
from app.planning.facts import Settings, Span, Task
from app.planning.wishes import Wish
from app.rules.relay import Edge, Relay
from app.store.action import Actor, Done, Unit
from tests.builders import (
    Json,
    MeetAtHand,
    a_bare_meet,
    a_meet,
    a_post,
    a_problem,
    add_official,
)
from tests.running import Service

# What is searched for is the same on either engine; what is stored of it, `test_shared.py` holds.
pytestmark = pytest.mark.parametrize("running_service", ["sqlite"], indirect=True)

PATIENCE_S = 120.0
HEATS = 4
TWO_A_ZONE = "people,edge,side,lanes\n2,start,inside,8\n2,end,outside,8\n"


def a_programme(meet: MeetAtHand, heats: int = HEATS) -> list[Json]:
    """Heats of two lanes, ten minutes apart from 10:00 on."""
    rows = [
        f"Women 4x100 m,final,{heat},{lane},Team {heat}-{lane},Club {lane},10:{heat - 1}0"
        for heat in range(1, heats + 1)
        for lane in (3, 4)
    ]
    text = "\n".join(["event,round,heat,lane,team,affiliation,scheduled", *rows])
    loaded = meet.organiser.post("start-lists", content=text)
    assert loaded.status_code == 200, loaded.text
    found = meet.organiser.get("heats").json()["heats"]
    return [one for one in found if one["event_name"] == "Women 4x100 m"]


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    """Six umpires, two for each zone, and a programme of four heats."""
    meet = a_bare_meet(service)
    for number in range(6):
        add_official(meet, f"Umpire {number}", "umpire")
    add_official(meet, "chief", "chief_umpire")
    return meet


def umpires(meet: MeetAtHand) -> list[str]:
    officials = meet.organiser.get("officials").json()
    return [one["id"] for one in officials if "umpire" in one["roles"]]


def wishes(meet: MeetAtHand, **what: object) -> Json:
    seen = meet.organiser.get("crew/wishes").headers.get("ETag")
    answer = meet.organiser.put("crew/wishes", what, etag=seen)
    assert answer.is_success, answer.text
    return dict(answer.json())


def searched(meet: MeetAtHand, **how: object) -> Json:
    """A search, to its end."""
    search = new_id()
    begun = meet.organiser.put(f"crew/searches/{search}", {"seconds": 60, **how})
    assert begun.status_code == 200, begun.text
    return ended(meet, search)


def ended(meet: MeetAtHand, search: str) -> Json:
    for told in progress(meet, search):
        if told["phase"] in {"ended", "failed"}:
            return told
    raise AssertionError("the search did not end")


def progress(meet: MeetAtHand, search: str) -> Iterator[Json]:
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        yield dict(meet.organiser.get(f"crew/searches/{search}").json())
        time.sleep(0.05)


def take(meet: MeetAtHand, told: Json) -> Json:
    seen = meet.organiser.get("crew").headers.get("ETag")
    answer = meet.organiser.post(f"crew/searches/{told['id']}/take", etag=seen)
    assert answer.is_success, answer.text
    return dict(answer.json())


def by_hand(meet: MeetAtHand) -> Json:
    """A plan in which each of the first six umpires watches an edge of a zone all day."""
    places = [(at, edge) for at in (1, 2, 3) for edge in ("start", "end")]
    posts = [
        a_post(new_id(), one, take_over=at, edge=edge, lanes=[3, 4], side="inside")
        for one, (at, edge) in zip(umpires(meet)[:6], places, strict=True)
    ]
    seen = meet.organiser.get("crew").headers.get("ETag")
    planned = meet.organiser.put("crew", {"posts": posts}, etag=seen)
    assert planned.is_success, planned.text
    return dict(planned.json())


def test_two_people_a_zone_watch_everything_and_the_plan_is_taken_over_once(
    meet: MeetAtHand,
) -> None:
    heats = a_programme(meet)
    told = searched(meet)
    assert (told["phase"], told["problem"], told["plan"]["unwatched"]) == ("ended", "", [])
    assert told["plan"]["is_proven"]
    crew = take(meet, told)
    assert crew["unwatched"] == []
    assert crew["apart"] == []
    for heat in heats:
        there = [post for post in crew["posts"] if heat["id"] in post["heats"]]
        assert len({post["official"] for post in there}) == 6
        watched = {(post["take_over"], post["edge"]) for post in there for _ in post["lanes"]}
        assert len(watched) == 6
    before = meet.head()
    again = meet.organiser.post(f"crew/searches/{told['id']}/take")
    assert again.status_code == 200
    assert again.json()["posts"] == crew["posts"]
    assert meet.head() == before
    by_hand(meet)
    seen = meet.organiser.get("crew").headers["ETag"]
    # It writes over no plan but the one that it has seen.
    a_problem(meet.organiser.post(f"crew/searches/{told['id']}/take", etag=seen), 412, "stale")
    assert len(meet.organiser.get("crew").json()["posts"]) == 6


def test_what_nobody_can_watch_is_told_with_who_would_mend_it(meet: MeetAtHand) -> None:
    a_programme(meet)
    five = umpires(meet)[:5]
    wishes(meet, people=[{"official": one} for one in five])
    plan = searched(meet)["plan"]
    assert len(plan["unwatched"]) >= 1
    assert plan["missing"]["people"] == 1
    assert plan["missing"]["who"][0]["stands"][0]["heats"]


@pytest.mark.parametrize("is_proven", [True, False])
def test_how_few_people_more_is_told_as_an_upper_bound_where_it_is_not_proven(
    meet: MeetAtHand, is_proven: bool
) -> None:
    gap = StandsOut(
        relay=Relay.FOUR_BY_100, take_overs=[1], edge=Edge.END, lanes=[3, 4], heats=[], words=""
    )
    who = PersonMissingOut(official=None, official_name="", stands=[gap])
    missing = MissingOut(people=1, is_proven=is_proven, who=[who], moved=[], fewer=None)
    page = page_with(meet, unwatched=[gap], missing=missing)
    assert ("1 person more would mend it:" in page) == is_proven
    assert ("1 person more, at the most, would mend it:" in page) == (not is_proven)


@pytest.mark.parametrize(
    ("idle", "its", "impossible"),
    [
        (3, "No number of people would mend it: in a heat with fewer lanes", False),
        (2, "No number of people would mend 2 of these: in a heat with fewer lanes", True),
        (0, "", True),
    ],
)
def test_the_page_says_what_no_number_of_people_would_mend(
    meet: MeetAtHand, idle: int, its: str, impossible: bool
) -> None:
    full = GivenUpOut(
        wish=Wish.FULL_CREWS,
        times=3,
        concerns=[],
        idle=idle,
        kept_to=0,
        costs=None,
        instead=0,
        is_proven=False,
        is_impossible=impossible,
    )
    page = page_with(meet, given_up=[full])
    assert its in page
    assert ("No number of people would mend" in page) == (idle > 0)
    assert ("No plan of these people keeps this wholly." in page) == impossible


def page_with(meet: MeetAtHand, **its: Any) -> str:
    """The page with a search that has found a plan of which this is told."""
    nothing_else = {"posts": [], "unwatched": [], "given_up": [], "missing": None, "changes": []}
    plan = PlanFoundOut(people=0, is_proven=False, **(nothing_else | its))
    search, nothing = new_id(), SoFar(version=0, untimed=[])
    act = partial(meet.service.store.act_now, MeetId(meet.id), Actor(meet.organiser.id))
    act(begin(search, SearchIn(), nothing))
    act(end(search, nothing.model_copy(update={"plan": plan}), "", {}))
    return meet.organiser.get(f"/meets/{meet.id}/organiser/crew-search").text


def test_a_search_can_be_followed_and_stopped_with_the_best_plan_so_far(
    service: Service,
) -> None:
    meet = a_bare_meet(service)
    for number in range(20):
        add_official(meet, f"Umpire {number}", "umpire")
    a_long_day(meet)
    search = new_id()
    meet.organiser.put(f"crew/searches/{search}", {"seconds": 120})
    for told in progress(meet, search):
        counts = {one["wish"]: one["count"] for one in told["counts"]}
        if counts.get("every edge of every lane watched") == 0 or told["phase"] == "ended":
            break
    assert told["phase"] == "searching"
    assert counts.keys() >= {"breaks", "few moves"}
    assert meet.organiser.delete(f"crew/searches/{search}").status_code == 200
    asked = time.monotonic()
    told = ended(meet, search)
    assert told["stopped"]
    assert told["plan"]["posts"]
    assert time.monotonic() - asked < 20


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_search_that_is_told_to_end_with_its_server_says_so(
    meet: MeetAtHand, number: signal.Signals
) -> None:
    """By a key at the terminal, or by the unit, every process of the server is told."""
    for more in range(6, 20):
        add_official(meet, f"Umpire {more}", "umpire")
    a_long_day(meet)
    search = new_id()
    meet.organiser.put(f"crew/searches/{search}", {"seconds": 120})
    for told in progress(meet, search):
        if told["counts"]:
            break
    for process in multiprocessing.active_children():
        assert process.pid is not None
        os.kill(process.pid, number)
    told = ended(meet, search)
    assert (told["phase"], told["problem"]) == ("failed", SERVER_ENDED)


def a_long_day(meet: MeetAtHand) -> None:
    rows = [
        f"Women 4x100 m,heats,{heat},{lane},Team {heat}-{lane},Club {lane},"
        f"{9 + heat // 12:02}:{heat % 12 * 5:02}"
        for heat in range(1, 80)
        for lane in range(1, 9)
    ]
    text = "\n".join(["event,round,heat,lane,team,affiliation,scheduled", *rows])
    assert meet.organiser.post("start-lists", content=text).status_code == 200


def test_whoever_drops_out_is_replaced_and_all_others_stay(meet: MeetAtHand) -> None:
    heats = a_programme(meet)
    by_hand(meet)
    first_six = umpires(meet)
    spare = add_official(meet, "Spare", "umpire")
    people = [{"official": one} for one in [*first_six, spare.id]]
    pin = {"official": first_six[0], "heat": heats[3]["id"], "take_over": 1}
    wishes(meet, people=people, dropped=[first_six[0]], pins=[pin])
    told = searched(meet, keep=True, from_heat=heats[2]["id"])
    assert told["problem"] == "", "a pin of whoever drops out binds nobody"
    changed = {one["official"] for one in told["plan"]["changes"]}
    assert changed == {first_six[0], spare.id}
    assert {heat for one in told["plan"]["changes"] for heat in one["heats"]} == {
        heats[2]["id"],
        heats[3]["id"],
    }
    crew = take(meet, told)
    assert crew["unwatched"] == []


def test_a_pin_holds_an_official_where_it_says_and_one_of_a_drop_out_binds_nobody(
    meet: MeetAtHand,
) -> None:
    heats = a_programme(meet)
    gone = add_official(meet, "Gone", "umpire").id
    one = umpires(meet)[4]
    pins = [
        {"official": one, "heat": heats[1]["id"], "take_over": 3, "edge": "start"},
        {"official": gone, "heat": heats[0]["id"], "take_over": 1},
    ]
    wishes(meet, pins=pins, dropped=[gone])
    told = searched(meet)
    assert (told["phase"], told["problem"]) == ("ended", "")
    posts = take(meet, told)["posts"]
    assert gone not in {post["official"] for post in posts}
    theirs = [post for post in posts if post["official"] == one and heats[1]["id"] in post["heats"]]
    assert [(post["take_over"], post["edge"]) for post in theirs] == [(3, "start")]


@pytest.mark.parametrize(
    "hours",
    [
        {"begins": "2031-01-01T09:00", "ends": "2031-01-01T18:00"},
        {"begins": "2031-01-01T09:00"},
        {"ends": "2001-01-01T00:00"},
    ],
    ids=["another day", "from a later day on", "until a day before"],
)
def test_a_pin_for_whoever_is_there_on_no_day_with_heats_is_told(
    meet: MeetAtHand, hours: dict[str, str]
) -> None:
    heats = a_programme(meet)
    everybody = [{"official": one} for one in umpires(meet)]
    never = add_official(meet, "Never", "umpire").id
    pin = {"official": never, "heat": heats[0]["id"], "take_over": 2}
    wishes(meet, people=[*everybody, {"official": never, "hours": [hours]}], pins=[pin])
    told = searched(meet)["problem"]
    assert "Never at take-over 2" in told, told
    assert "their hours do not reach" in told, told


def test_heats_that_were_run_keep_whoever_stood_there(meet: MeetAtHand) -> None:
    heats = a_programme(meet)
    by_hand(meet)
    stood = {
        (one["official"], one["post"])
        for one in meet["chief"].get(f"heats/{heats[0]['id']}/posts").json()["posts"]
    }
    seen = meet["chief"].get(f"heats/{heats[0]['id']}").headers["ETag"]
    assert meet["chief"].post(f"heats/{heats[0]['id']}/start", etag=seen).status_code == 200
    take(meet, searched(meet))
    crew = meet.organiser.get("crew").json()["posts"]
    there = {(post["official"], post["id"]) for post in crew if heats[0]["id"] in post["heats"]}
    assert there == stood


@pytest.mark.parametrize(
    ("scheduled", "said"),
    [("", "no start time"), ("10:00", "is still run")],
    ids=["no time", "two heats at once"],
)
def test_a_programme_that_cannot_be_planned_is_told(
    meet: MeetAtHand, scheduled: str, said: str
) -> None:
    rows = [f"Women 4x100 m,final,{heat},3,Team {heat},Club,{scheduled}" for heat in (1, 2)]
    text = "\n".join(["event,round,heat,lane,team,affiliation,scheduled", *rows])
    meet.organiser.post("start-lists", content=text)
    answer = meet.organiser.put(f"crew/searches/{new_id()}", {"seconds": 1})
    told = a_problem(answer, 409, "conflict")["detail"]
    assert said in told
    assert "Women 4x100 m, final" in told


def test_a_search_without_a_plan_says_why_and_gives_none_to_take(meet: MeetAtHand) -> None:
    heat, one = a_programme(meet)[0]["id"], umpires(meet)[0]
    wishes(meet, pins=[{"official": one, "heat": heat, "take_over": at} for at in (1, 3)])
    told = searched(meet)
    assert told["phase"] == "failed"
    assert "Umpire 0 at take-over 1" in told["problem"]
    refused = meet.organiser.post(f"crew/searches/{told['id']}/take")
    assert "Search again" in a_problem(refused, 409, "conflict")["detail"]


def test_a_meet_with_nobody_or_nothing_to_plan_for_says_so(service: Service) -> None:
    meet = a_bare_meet(service)
    told = a_problem(meet.organiser.put(f"crew/searches/{new_id()}", {}), 409, "conflict")
    assert "nothing to plan for" in told["detail"]
    a_programme(meet)
    told = a_problem(meet.organiser.put(f"crew/searches/{new_id()}", {}), 409, "conflict")
    assert "name active umpires" in told["detail"]
    a_problem(meet.organiser.get(f"crew/searches/{new_id()}"), 404, "not-found")
    a_problem(meet.organiser.delete(f"crew/searches/{new_id()}"), 404, "not-found")
    a_problem(meet.organiser.post(f"crew/searches/{new_id()}/take"), 404, "not-found")


def test_umpires_plan_no_crew(service: Service) -> None:
    meet = a_meet(service)
    a_problem(meet.umpire.get("crew/wishes"), 403, "role-missing")
    a_problem(meet.umpire.put(f"crew/searches/{new_id()}", {}), 403, "role-missing")
    assert meet["chief_umpire"].get("crew/wishes").json()["version"] == 0


@pytest.mark.parametrize(
    ("what", "pointer"),
    [
        ({"people": [{"official": "01890a5d-ac96-774b-bcce-b302099a8057"}]}, "/people/0/official"),
        ({"people": ["twice"]}, "/people/1/official"),
        ({"people": [{"hours": [{"begins": "14:00", "ends": "09:00"}]}]}, "/people/0/hours/0"),
        ({"people": [{"hours": [{"begins": "noon"}]}]}, "/people/0/hours/0/begins"),
        ({"people": [{"experience": 4}]}, "/people/0/experience"),
        ({"people": [{"may_not": [{}]}]}, "/people/0/may_not/0"),
        ({"pins": [{"heat": "01890a5d-ac96-774b-bcce-b302099a8057"}]}, "/pins/0/heat"),
        ({"template": [{"people": 2, "edge": "end", "side": "inside", "lanes": 8}]}, "/template"),
        ({"dropped": ["01890a5d-ac96-774b-bcce-b302099a8057"]}, "/dropped/0"),
        ({"longest_stint_minutes": 14}, "/longest_stint_minutes"),
        ({"shortest_break_minutes": 121}, "/shortest_break_minutes"),
    ],
)
def test_wishes_that_cannot_be_are_refused_by_their_field(
    meet: MeetAtHand, what: Json, pointer: str
) -> None:
    one = umpires(meet)[0]
    for part in ("people", "pins"):
        what = {**what, part: [as_wish(each, one) for each in what.get(part, [])]}
    if what["people"][:1] == [{"official": one}] and pointer.startswith("/people/1"):
        what["people"] *= 2
    before = meet.head()
    told = a_problem(meet.organiser.put("crew/wishes", what), 422, "malformed")
    assert told["errors"][0]["pointer"] == pointer
    assert meet.head() == before


def as_wish(part: Json | str, official: str) -> Json:
    return {"official": official} if isinstance(part, str) else {"official": official, **part}


def test_wishes_are_replaced_only_as_they_were_seen(meet: MeetAtHand) -> None:
    first = meet.organiser.put("crew/wishes", {"people": []})
    assert first.status_code == 201
    before = meet.head()
    assert meet.organiser.put("crew/wishes", {"people": []}).status_code == 200
    assert meet.head() == before
    people = [{"official": umpires(meet)[0], "experience": 3}]
    a_problem(meet.organiser.put("crew/wishes", {"people": people}), 428, "precondition-missing")
    stored = meet.organiser.put("crew/wishes", {"people": people}, etag=first.headers["ETag"])
    assert stored.status_code == 200
    assert stored.json()["people"][0]["experience"] == 3
    stale = meet.organiser.put("crew/wishes", {"people": []}, etag=first.headers["ETag"])
    a_problem(stale, 412, "stale")


def a_list(meet: MeetAtHand, path: str, text: str, *, check: bool = False) -> Json:
    seen = meet.organiser.get("crew/wishes").headers.get("ETag")
    params = {"check": "true"} if check else {}
    answer = meet.organiser.post(path, content=text, etag=seen, params=params)
    return dict(answer.json()) | {"status": answer.status_code}


def test_a_list_says_who_is_planned_and_how(meet: MeetAtHand) -> None:
    text = "name,experience,from,until,not\numpire 1,3,09:30,14:00,take-over 2 end\nUmpire 2,,,,\n"
    seen = a_list(meet, "people-list", text, check=True)
    assert (seen["status"], seen["people"], seen["stored"]) == (200, 2, False)
    assert "Umpire 3" in seen["left_out"]
    assert a_list(meet, "people-list", text)["stored"]
    stored = meet.organiser.get("crew/wishes").json()["people"]
    assert stored[0]["hours"] == [{"begins": "09:30", "ends": "14:00"}]
    assert stored[0]["may_not"] == [{"take_over": 2, "edge": "end", "side": None}]
    assert (stored[0]["experience"], stored[1]["experience"]) == (3, 1)


def test_a_list_with_strangers_stores_nothing(meet: MeetAtHand) -> None:
    told = a_list(meet, "people-list", "name\nUmpire 1\nNobody Known\n")
    assert (told["status"], [one["row"] for one in told["problems"]]) == (422, [3])
    assert meet.organiser.get("crew/wishes").json()["people"] == []


def test_somebody_who_is_listed_twice_is_told(meet: MeetAtHand) -> None:
    told = a_list(meet, "people-list", "name,from\nUmpire 1,09:00\nUMPIRE 1,12:00\n")
    assert (told["status"], [one["row"] for one in told["problems"]]) == (422, [3])


def test_a_template_from_a_file_is_kept_beside_the_people(meet: MeetAtHand) -> None:
    wishes(meet, people=[{"official": umpires(meet)[0]}])
    assert a_list(meet, "crew-template", TWO_A_ZONE)["posts"] == 2
    stored = meet.organiser.get("crew/wishes").json()
    assert (len(stored["people"]), len(stored["template"])) == (1, 2)


def planned_from(meet: MeetAtHand) -> Task:
    """What a search would begin with."""
    return meet.service.store.read_now(
        lambda conn: asked_of(conn, MeetId(meet.id), SearchIn())
    ).task


def test_stints_and_breaks_are_those_that_the_meet_wishes_whatever_list_is_loaded(
    meet: MeetAtHand,
) -> None:
    a_programme(meet)
    assert planned_from(meet).settings == Settings()
    stored = wishes(meet, longest_stint_minutes=20, shortest_break_minutes=10)
    assert (stored["longest_stint_minutes"], stored["shortest_break_minutes"]) == (20, 10)
    assert a_list(meet, "people-list", "name\nUmpire 1\n")["stored"]
    assert a_list(meet, "crew-template", TWO_A_ZONE)["stored"]
    kept = planned_from(meet).settings
    assert (kept.longest_stint_min, kept.shortest_break_min) == (20, 10)
    assert kept.longest_spell_min == 20, "else they were on post for longer without a break"


def test_hours_are_the_meets_own_where_its_clock_changes(service: Service) -> None:
    """Central European Time ends on the last Sunday of October (Directive 2000/84/EC)."""
    meet = a_bare_meet(
        service, time_zone="Europe/Paris", first_day="2026-10-25", last_day="2026-10-25"
    )
    one = add_official(meet, "Umpire", "umpire").id
    a_programme(meet)
    wishes(meet, people=[{"official": one, "hours": [{"begins": "10:15", "ends": "11:00"}]}])
    task = planned_from(meet)
    midnight_to_ten = 11 * 3600  # 03:00 CEST is 02:00 CET: the night has an hour more
    assert [heat.starts_s - midnight_to_ten for heat in task.heats] == [0, 600, 1200, 1800]
    assert task.people[0].hours == (Span(midnight_to_ten + 900, midnight_to_ten + 3600),)


def test_a_hand_made_plan_can_be_kept_where_the_template_makes_its_posts(
    meet: MeetAtHand,
) -> None:
    a_programme(meet)
    by_hand(meet)
    told = searched(meet, keep=True)
    assert (told["problem"], told["plan"]["changes"]) == ("", [])


def test_heats_without_a_time_are_named_and_keep_their_posts(meet: MeetAtHand) -> None:
    a_programme(meet)
    rows = "event,round,heat,lane,team\nMen 4x100 m,final,1,4,Tern\n"
    assert meet.organiser.post("start-lists", content=rows).status_code == 200
    untimed = meet.organiser.get("heats").json()["heats"][-1]["id"]
    posts = {"posts": [a_post(new_id(), umpires(meet)[0], lanes=[4])]}
    assert meet.organiser.put("crew", posts).is_success
    told = searched(meet)
    assert told["untimed"] == [untimed]
    crew = take(meet, told)["posts"]
    there = [post for post in crew if untimed in post["heats"]]
    assert [(post["official"], post["lanes"]) for post in there] == [(umpires(meet)[0], [4])]


def test_heats_without_a_draw_are_named_beside_those_without_a_time(meet: MeetAtHand) -> None:
    *_, last = (HeatId(one["id"]) for one in a_programme(meet))

    def emptied(unit: Unit) -> Done[None]:
        empty_heat(unit, last)
        return Done(None, None)

    meet.service.store.act_now(MeetId(meet.id), Actor(meet.organiser.id), emptied)
    told = searched(meet)
    assert (told["undrawn"], told["untimed"]) == ([last], [])
    page = meet.organiser.get(f"/meets/{meet.id}/organiser/crew-search").text
    (note,) = re.findall("Left out, as they have no draw:(.+?)</p>", page)
    assert "Women 4x100 m" in note


def test_whoever_is_there_on_another_day_alone_is_not_planned(meet: MeetAtHand) -> None:
    a_programme(meet)
    first, *others = umpires(meet)
    away = {"official": first, "hours": [{"begins": "2031-01-01T09:00"}]}
    wishes(meet, people=[away, *({"official": one} for one in others)])
    assert {post["official"] for post in searched(meet)["plan"]["posts"]} == {*others}


def test_an_evening_ends_at_midnight(meet: MeetAtHand) -> None:
    people = [{"official": umpires(meet)[0], "hours": [{"begins": "20:00", "ends": "00:00"}]}]
    assert wishes(meet, people=people)["people"][0]["hours"] == people[0]["hours"]


def test_wishes_can_be_changed_when_somebody_in_them_is_inactive_by_now(meet: MeetAtHand) -> None:
    people = [{"official": one} for one in umpires(meet)]
    wishes(meet, people=people)
    gone = umpires(meet)[0]
    document = {"name": "Umpire 0", "roles": ["umpire"], "active": False}
    seen = meet.organiser.get("officials").json()
    version = next(one["version"] for one in seen if one["id"] == gone)
    answer = meet.organiser.put(f"officials/{gone}", document, etag=f'"v{version}"')
    assert answer.is_success, answer.text
    assert wishes(meet, people=people, dropped=[gone])["dropped"] == [gone]


def test_hours_that_the_clocks_skip_are_nobodys(service: Service) -> None:
    """Summer time begins at 02:00 on the last Sunday of March (Directive 2000/84/EC)."""
    days = {"first_day": "2027-03-28", "last_day": "2027-03-28"}
    meet = a_bare_meet(service, time_zone="Europe/Paris", **days)
    for number in range(2):
        add_official(meet, f"Umpire {number}", "umpire")
    a_programme(meet)
    first, *others = umpires(meet)
    night = {"official": first, "hours": [{"begins": "02:30", "ends": "03:10"}]}
    wishes(meet, people=[night, *({"official": one} for one in others)])
    assert {one.id for one in planned_from(meet).people} == {*others}


def test_hours_with_an_offset_are_refused(meet: MeetAtHand) -> None:
    hours = [{"begins": "2026-12-05T09:30Z", "ends": "2026-12-05T09:40"}]
    people = [{"official": umpires(meet)[0], "hours": hours}]
    a_problem(meet.organiser.put("crew/wishes", {"people": people}), 422, "malformed")


def test_heats_a_century_apart_take_no_longer(meet: MeetAtHand) -> None:
    rows = [
        f"Women 4x100 m,heats,{heat},4,Team {heat},Club,{year}-06-01T10:00"
        for heat, year in ((1, 2000), (2, 2099))
    ]
    text = "\n".join(["event,round,heat,lane,team,affiliation,scheduled", *rows])
    assert meet.organiser.post("start-lists", content=text).status_code == 200
    hours = [{"begins": f"{hour:02}:00", "ends": f"{hour:02}:30"} for hour in range(20)]
    wishes(meet, people=[{"official": one, "hours": hours} for one in umpires(meet)])
    began = time.monotonic()
    assert len(planned_from(meet).heats) == 2
    assert time.monotonic() - began < 5


def test_what_a_list_holds_too_much_of_is_told_by_its_row(meet: MeetAtHand) -> None:
    positions = "; ".join(["take-over 1 start"] * 21)
    told = a_list(meet, "people-list", f'name,not\nUmpire 1,"{positions}"\n')
    assert [(one["row"], one["column"]) for one in told["problems"]] == [(2, "not")]


def test_a_template_of_every_size_is_taken(meet: MeetAtHand) -> None:
    rows = [
        f"{people},{'start' if post % 2 else 'end'},inside,4"
        for people in range(2, 21)
        for post in range(people)
    ]
    told = a_list(meet, "crew-template", "\n".join(["people,edge,side,lanes", *rows]))
    assert (told["status"], told["posts"]) == (200, 209)


def test_two_posts_of_one_edge_are_kept_without_a_change(meet: MeetAtHand) -> None:
    """Whoever planned lanes 3 and 4 as two posts of one umpire has the same after a search."""
    a_programme(meet, 2)
    take(meet, searched(meet, seconds=5))
    crew = meet.organiser.get("crew")
    posts = [
        {**{key: post[key] for key in ("official", "take_over", "edge", "side")}, **own}
        for post in crew.json()["posts"]
        for lane in post["lanes"]
        for own in [{"id": new_id(), "lanes": [lane], "heats": post["heats"]}]
    ]
    stored = meet.organiser.put("crew", {"posts": posts}, etag=crew.headers["ETag"])
    assert stored.status_code == 200, stored.text
    told = searched(meet, keep=True, seconds=5)
    assert told["plan"]["changes"] == []
