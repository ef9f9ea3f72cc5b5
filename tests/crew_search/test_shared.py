"""A search is known to all processes that share the database, and what it finds outlives them."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from functools import partial
from pathlib import Path

import httpx
import pytest
from sqlalchemy import select

from app.crew_search import searching
from app.crew_search.course import NOT_BEGUN, PEOPLE_CHANGED, Wanted, begin, end, tell
from app.crew_search.kept import NEVER_BEGAN, PROCESS_GONE, SILENCE, SoFar
from app.crew_search.searching import SERVER_ENDED, Turns
from app.crew_search.wire import Phase, SearchIn
from app.ids import MeetId, OfficialId, new_id
from app.schema import all_tables
from app.store.action import Actor
from tests.bench.databases import seals_in
from tests.builders import Json, MeetAtHand, a_bare_meet, a_post, a_problem, add_officials
from tests.conftest import ENGINES, NewDatabase
from tests.crew_search.test_search import (
    a_long_day,
    a_programme,
    ended,
    progress,
    searched,
    take,
    umpires,
    wishes,
)
from tests.erasing.looking import dump_of
from tests.erasing.played import erase
from tests.faults.all_or_nothing import a_failing_service
from tests.faults.failing import Failure
from tests.faults.served import Serving, wait_until
from tests.people import Newcomer
from tests.running import Service, a_service

LONG = {"seconds": 120}


def a_crew(service: Service, people: int = 6, name: str = "Umpire") -> MeetAtHand:
    meet = a_bare_meet(service)
    add_officials(meet, *(Newcomer(f"{name} {one}", ["umpire"]) for one in range(people)))
    return meet


def seen_at(meet: MeetAtHand, service: Service) -> MeetAtHand:
    """The same meet, its organiser asking another process."""
    there = {name: replace(one, http=service.http) for name, one in meet.people.items()}
    return replace(meet, service=service, people=there)


@pytest.fixture(scope="module")
def both(new_database: NewDatabase) -> Iterator[tuple[Service, Service]]:
    """Two services over one PostgreSQL."""
    url = new_database("postgresql")
    with a_service(url) as service, a_service(url) as another:
        yield service, another


def until(meet: MeetAtHand, search: str, holds: Callable[[Json], bool]) -> Json:
    told: Json = {}
    for told in progress(meet, search):
        if holds(told):
            return told
    raise AssertionError(told)


def test_a_search_is_followed_stopped_and_taken_over_where_it_does_not_run(
    both: tuple[Service, Service],
) -> None:
    here = a_crew(both[0], 20)
    there = seen_at(here, both[1])
    a_long_day(here)
    search = new_id()
    assert here.organiser.put(f"crew/searches/{search}", LONG).status_code == 200
    until(there, search, lambda told: told["phase"] == "searching" and bool(told["counts"]))
    assert there.organiser.put(f"crew/searches/{search}", LONG).json()["phase"] == "searching"
    a_problem(there.organiser.put(f"crew/searches/{new_id()}", LONG), 409, "conflict")
    page = there.organiser.get(f"/meets/{there.id}/organiser/crew-search").text
    assert 'id="stop-search"' in page
    assert there.organiser.delete(f"crew/searches/{search}").json()["stopped"]
    told = ended(there, search)
    assert told["plan"]["posts"]
    assert told == here.organiser.get(f"crew/searches/{search}").json()
    crew = take(there, told)
    assert {one["id"] for one in crew["posts"]} == {one["id"] for one in told["plan"]["posts"]}
    seen = here.organiser.get("crew").headers["ETag"]
    posts = [a_post(new_id(), umpires(here)[0], lanes=[3])]
    changed = here.organiser.put("crew", {"posts": posts}, etag=seen).headers["ETag"]
    again = there.organiser.post(f"crew/searches/{search}/take", etag=changed)
    a_problem(again, 412, "stale")


def test_of_two_processes_asked_at_once_one_begins(both: tuple[Service, Service]) -> None:
    for _ in range(2):
        meet = a_crew(both[0])
        a_programme(meet)
        ready = threading.Barrier(2)

        def begun(
            service: Service, meet: MeetAtHand = meet, ready: threading.Barrier = ready
        ) -> Json:
            organiser = seen_at(meet, service).organiser
            ready.wait(10)
            answer = organiser.put(f"crew/searches/{new_id()}", {"seconds": 1})
            return {"status": answer.status_code, **answer.json()}

        with ThreadPoolExecutor(2) as asking:
            answers = sorted(asking.map(begun, both), key=lambda one: int(one["status"]))
        assert [one["status"] for one in answers] == [200, 409]
        ended(meet, answers[0]["id"])


def test_one_that_waits_for_its_turn_is_stopped_from_elsewhere(
    both: tuple[Service, Service],
) -> None:
    first, second = a_crew(both[0], 20), a_crew(both[0])
    a_long_day(first)
    a_programme(second)
    going_on, waiting = new_id(), new_id()
    assert first.organiser.put(f"crew/searches/{going_on}", LONG).is_success
    until(first, going_on, lambda told: told["phase"] == "searching")
    assert second.organiser.put(f"crew/searches/{waiting}", LONG).json()["phase"] == "waiting"
    told = seen_at(second, both[1]).organiser.delete(f"crew/searches/{waiting}").json()
    assert (told["phase"], told["problem"]) == ("failed", NOT_BEGUN)
    first.organiser.delete(f"crew/searches/{going_on}")
    ended(first, going_on)
    assert ended(second, waiting)["problem"] == NOT_BEGUN


@pytest.mark.slow
def test_a_search_whose_process_was_killed_blocks_its_meet_for_seconds_alone(
    both: tuple[Service, Service], tmp_path: Path
) -> None:
    meet = a_crew(both[0], 20)
    a_long_day(meet)
    search = new_id()
    with seals_in(tmp_path / "seal"):
        server = Serving(both[0].database_url, tmp_path).by_command()
    try:
        with httpx.Client(base_url=f"http://{server.host}", timeout=30) as line:
            begun = replace(meet.organiser, http=line).put(f"crew/searches/{search}", LONG)
        assert begun.status_code == 200, begun.text
        until(meet, search, lambda told: told["phase"] == "searching" and bool(told["counts"]))
    finally:
        server.kill()
    a_problem(meet.organiser.put(f"crew/searches/{new_id()}", LONG), 409, "conflict")
    with time_passed(both[0], SILENCE + timedelta(seconds=1)):
        told = meet.organiser.get(f"crew/searches/{search}").json()
        assert (told["phase"], told["problem"]) == ("failed", PROCESS_GONE)
        assert PROCESS_GONE in meet.organiser.get(f"/meets/{meet.id}/organiser/crew-search").text
        refused = meet.organiser.post(f"crew/searches/{search}/take")
        assert "Search again" in a_problem(refused, 409, "conflict")["detail"]
        again = new_id()
        assert meet.organiser.put(f"crew/searches/{again}", LONG).status_code == 200
        until(meet, again, lambda told: told["phase"] == "searching")
        assert meet.organiser.delete(f"crew/searches/{again}").is_success
        a_problem(meet.organiser.get(f"crew/searches/{search}"), 404, "not-found")


def test_a_process_that_was_taken_for_gone_leaves_its_search_to_the_one_that_began_since(
    both: tuple[Service, Service],
) -> None:
    here, other = a_crew(both[0], 20), a_crew(both[0])
    there = seen_at(here, both[1])
    a_long_day(here)
    a_programme(other)
    first, second, next_here = new_id(), new_id(), new_id()
    assert here.organiser.put(f"crew/searches/{first}", LONG).is_success
    until(here, first, lambda told: told["phase"] == "searching")
    with time_passed(both[1], SILENCE + timedelta(seconds=5)):
        assert there.organiser.put(f"crew/searches/{second}", LONG).is_success
        until(there, second, lambda told: told["phase"] == "searching")
        # Its turn has come: the process here searches for nothing else any more.
        assert other.organiser.put(f"crew/searches/{next_here}", LONG).is_success
        assert ended(other, next_here)["phase"] == "ended"
        assert there.organiser.delete(f"crew/searches/{second}").is_success
        assert ended(there, second)["plan"]["posts"]
    a_problem(here.organiser.get(f"crew/searches/{first}"), 404, "not-found")


def test_a_search_that_nobody_took_up_is_begun_by_the_same_asked_again(
    both: tuple[Service, Service],
) -> None:
    """As where the line broke, or the store, just when the beginning was stored."""
    meet, search = a_crew(both[0]), new_id()
    a_programme(meet)
    stored = begin(search, SearchIn(seconds=2), SoFar(version=0, untimed=[]))
    both[0].store.act_now(MeetId(meet.id), Actor(meet.organiser.id), stored)
    asked = partial(meet.organiser.put, f"crew/searches/{search}", {"seconds": 2})
    assert asked().json()["phase"] == "waiting"
    with time_passed(both[0], SILENCE + timedelta(seconds=1)):
        told = meet.organiser.get(f"crew/searches/{search}").json()
        assert (told["phase"], told["problem"]) == ("failed", NEVER_BEGAN)
        assert asked().status_code == 200
        assert ended(meet, search)["plan"]["posts"]


def test_whoever_was_told_as_gone_is_told_to_leave(both: tuple[Service, Service]) -> None:
    meet, search = a_crew(both[0]), new_id()
    act = partial(both[0].store.act_now, MeetId(meet.id), Actor(meet.organiser.id))
    nothing = SoFar(version=0, untimed=[])
    act(begin(search, SearchIn(), nothing))
    assert act(tell(search, Phase.SEARCHING, nothing)) is Wanted.GO_ON
    with time_passed(both[0], SILENCE + timedelta(seconds=1)):
        assert act(tell(search, Phase.SEARCHING, nothing)) is Wanted.LEAVE
        act(end(search, nothing, "It had too little memory.", {}))
        told = meet.organiser.get(f"crew/searches/{search}").json()
        assert (told["phase"], told["problem"]) == ("failed", PROCESS_GONE)


def test_turns_come_in_the_order_in_which_they_were_asked_for() -> None:
    turns = Turns()
    for one in (1, 2, 3):
        turns.ask(one)
    assert turns.comes(1, 0)
    assert not turns.comes(2, 0.01)
    turns.leave(2)
    turns.leave(1)
    assert turns.comes(3, 0)


def test_an_error_on_the_way_is_told_and_blocks_nobody(
    both: tuple[Service, Service],
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    def broken(*_: object) -> SoFar:
        raise KeyError("nobody")

    monkeypatch.setattr(searching, "with_plan", broken)
    monkeypatch.setattr(searching, "with_progress", broken)
    meet = a_crew(both[0])
    a_programme(meet)
    assert searched(meet, seconds=2)["problem"] == searching.UNEXPECTED
    assert "ended by an error" in caplog.text
    monkeypatch.undo()
    assert searched(meet, seconds=2)["plan"]["posts"]


@contextmanager
def time_passed(service: Service, by: timedelta) -> Iterator[None]:
    service.clock.move(by)
    try:
        yield
    finally:
        service.clock.run_again()


@pytest.mark.parametrize("engine", ENGINES)
def test_what_was_found_is_there_when_the_service_was_started_again(
    new_database: NewDatabase, engine: str
) -> None:
    url = new_database(engine)
    with a_service(url) as service:
        before = a_crew(service)
        a_programme(before)
        wishes(before, people=[{"official": one} for one in umpires(before)[:5]])
        told = searched(before)
        assert told["plan"]["missing"]["people"] == 1
        other = a_crew(service, 20)
        a_long_day(other)
        cut_off = new_id()
        assert other.organiser.put(f"crew/searches/{cut_off}", LONG).is_success
        until(other, cut_off, lambda seen: seen["phase"] == "searching")
    with a_service(url) as service:
        after, other = seen_at(before, service), seen_at(other, service)
        assert after.organiser.get(f"crew/searches/{told['id']}").json() == told
        assert take(after, told)["posts"]
        seen = other.organiser.get(f"crew/searches/{cut_off}").json()
        assert (seen["phase"], seen["problem"]) == ("failed", SERVER_ENDED)


@pytest.mark.parametrize("engine", ENGINES)
def test_a_store_that_keeps_nothing_for_a_while_ends_no_search(
    new_database: NewDatabase, engine: str
) -> None:
    with a_failing_service(new_database(engine)) as (service, fault):
        meet = a_crew(service, 20)
        a_long_day(meet)
        search = new_id()
        assert meet.organiser.put(f"crew/searches/{search}", LONG).is_success
        until(meet, search, lambda told: told["phase"] == "searching")
        with fault.at(Failure(1)):
            wait_until(lambda: len(fault.failed) > 1, "the store has kept nothing for a while")
        told = until(meet, search, lambda told: bool(told["counts"]))
        assert told["phase"] == "searching"
        assert meet.organiser.delete(f"crew/searches/{search}").is_success
        assert ended(meet, search)["plan"]["posts"]


def test_an_id_begins_one_search_on_one_set_of_terms(both: tuple[Service, Service]) -> None:
    meet = a_crew(both[0])
    a_programme(meet)
    first = searched(meet, seconds=2)
    there = seen_at(meet, both[1]).organiser
    again = there.put(f"crew/searches/{first['id']}", {"seconds": 2})
    assert again.json() == first
    other = there.put(f"crew/searches/{first['id']}", {"seconds": 3})
    a_problem(other, 409, "id-taken")
    searched(seen_at(meet, both[1]), seconds=2)
    earlier = meet.organiser.put(f"crew/searches/{first['id']}", {"seconds": 2})
    a_problem(earlier, 409, "id-taken")
    a_problem(meet.organiser.get(f"crew/searches/{first['id']}"), 404, "not-found")


WHY = ("--because", "asked for it", "--by", "the organiser")


def test_whoever_was_erased_is_not_named_by_why_a_search_found_nothing(
    both: tuple[Service, Service],
) -> None:
    name = "Bo Halyard"
    meet = a_crew(both[0], name=name)
    heats = a_programme(meet)
    one = umpires(meet)[0]
    both_at_once = [{"official": one, "heat": heats[0]["id"], "take_over": at} for at in (1, 3)]
    wishes(meet, pins=both_at_once)
    told = searched(meet, seconds=2)
    named = f"{name} 0"
    assert named in told["problem"]
    assert erase(both[0], meet.id, "--name", named, *WHY) == 0
    told = meet.organiser.get(f"crew/searches/{told['id']}").json()
    assert told["phase"] == "failed"
    assert told["problem"].startswith("erased on ")
    assert named.encode() not in dump_of(both[0].database_url)


def test_whoever_is_erased_while_a_search_goes_on_is_not_named_at_its_end(
    both: tuple[Service, Service],
) -> None:
    meet = a_crew(both[0], name="Mira Bollard")
    a_programme(meet)
    one, store = umpires(meet)[0], both[0].store
    meet_id, actor, search = MeetId(meet.id), Actor(meet.organiser.id), new_id()
    store.act_now(meet_id, actor, begin(search, SearchIn(), SoFar(version=0, untimed=[])))
    assert erase(both[0], meet.id, "--name", "Mira Bollard 0", *WHY) == 0
    known = {OfficialId(one): "Mira Bollard 0"}
    why = "Mira Bollard 0 at take-over 1 cannot be."
    store.act_now(meet_id, actor, end(search, SoFar(version=0, untimed=[]), why, known))
    told = meet.organiser.get(f"crew/searches/{search}").json()
    assert (told["phase"], told["problem"]) == ("failed", PEOPLE_CHANGED)
    assert b"Mira Bollard 0" not in dump_of(both[0].database_url)


def test_a_plan_names_people_as_they_are_called_when_it_is_told(
    both: tuple[Service, Service],
) -> None:
    meet = a_crew(both[0])
    a_programme(meet)
    told = searched(meet, seconds=2)
    names = {one["official_name"] for one in told["plan"]["changes"]}
    assert "Umpire 0" in names
    one = next(one for one in meet.organiser.get("officials").json() if one["name"] == "Umpire 0")
    document = {"name": "Umpire Nought", "roles": ["umpire"]}
    etag = f'"v{one["version"]}"'
    assert meet.organiser.put(f"officials/{one['id']}", document, etag=etag).is_success
    again = meet.organiser.get(f"crew/searches/{told['id']}").json()
    assert {one["official_name"] for one in again["plan"]["changes"]} == names - {"Umpire 0"} | {
        "Umpire Nought"
    }
    assert b'official_name":"Umpire' not in dump_of(both[0].database_url)


def test_a_search_that_does_not_end_in_its_time_says_so(
    both: tuple[Service, Service], monkeypatch: pytest.MonkeyPatch
) -> None:
    """As one of too many people and heats, or on a machine that has other work."""
    monkeypatch.setattr(searching, "GRACE_S", -9.0)
    meet = a_crew(both[0], 20)
    a_long_day(meet)
    assert searched(meet, seconds=10)["problem"] == searching.OVERRUN


def test_a_search_does_not_outlive_its_meet(both: tuple[Service, Service]) -> None:
    """Nothing is written into a meet that was erased, and the next search need not wait for it."""
    service = both[0]
    meet = a_crew(service, 20)
    a_long_day(meet)
    search = new_id()
    assert meet.organiser.put(f"crew/searches/{search}", LONG).is_success
    until(meet, search, lambda told: told["phase"] == "searching")
    assert erase(service, meet.id, "--all", *WHY) == 0
    later = a_crew(service)
    a_programme(later)
    assert searched(later, seconds=5)["plan"]["posts"]
    table = all_tables().tables["crew_searches"]
    asked = select(table.c.content).where(table.c.meet_id == meet.id)
    kept = service.store.read_now(lambda conn: conn.execute(asked).scalar_one())
    assert not (kept and kept["plan"])
