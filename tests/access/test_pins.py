"""The PIN: chosen once, the same on every device, asked for what is signed, and tried a few times
only, by this person on this device. (OWASP Transaction Authorization cheat sheet; OWASP ASVS 5.0,
6.1.1 and 6.3.1.)
"""

from __future__ import annotations

import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import Any

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Connection

from app.access.actions import accept_pin, refuse_pin
from app.access.pen import Pen
from app.access.queries import Caller, session_of
from app.access.secrets import hash_secret, is_guessable
from app.access.tries import FIRST_WAIT, FREE_TRIES, LONGEST_WAIT, wait_after
from app.ids import AnnouncementId, CaseId, MeetId, OfficialId, RulingId, SessionId, new_id
from app.refusals import NotJoined, RoleMissing, TooManyTries
from app.results.announcement_wire import AnnouncementIn
from app.results.announcing import announce
from app.roles import Role
from app.rulings.actions import rule_on
from app.rulings.wire import RulingIn
from app.store.action import Action, Actor, Unit
from tests.builders import (
    PIN,
    Json,
    MeetAtHand,
    Person,
    a_meet,
    a_problem,
    a_ruling,
    add_official,
    with_own_heats,
)
from tests.running import Service, workers_of

WRONG = "593047"


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    return a_meet(running_service)


@pytest.fixture
def meet(stadium: MeetAtHand, service: Service) -> MeetAtHand:
    return with_own_heats(stadium)


@pytest.fixture
def referee(meet: MeetAtHand) -> Person:
    """A referee whose tries nobody else counts."""
    return add_official(meet, "referee apart", "referee")


def rule(person: Person, case: str, pin: str = PIN) -> httpx.Response:
    return person.put(f"cases/{case}/rulings/{new_id()}", a_ruling(pin=pin), etag='"v1"')


def join(meet: MeetAtHand, official: str, pin: str) -> httpx.Response:
    link = meet.organiser.put(f"officials/{official}/join-links/{new_id()}").json()
    sent = {"token": link["token"], "session": new_id(), "pin": pin}
    return meet.service.http.post("/api/join", json=sent)


def name_official(meet: MeetAtHand) -> str:
    official = new_id()
    meet.organiser.put(f"officials/{official}", {"name": "Nora", "roles": ["referee"]})
    return official


def second_device(meet: MeetAtHand, person: Person) -> Person:
    token = join(meet, person.id, PIN).json()["token"]
    return Person(person.id, person.name, token, person.http, person.meet)


def refused_pins(meet: MeetAtHand, person: Person) -> list[Json]:
    """The entries that a wrong PIN of this person left in the record."""
    lines = meet.referee.get("record").text.splitlines()[:-1]
    entries = [json.loads(json.loads(line)["entry"]) for line in lines]
    return [e for e in entries if e["kind"] == "PIN refused" and e["subject"] == person.id]


@pytest.mark.parametrize("pin", ["1111", "000000", "1234", "123456", "654321", "3456789012"])
def test_a_pin_that_anybody_would_try_first_is_refused(meet: MeetAtHand, pin: str) -> None:
    told = a_problem(join(meet, name_official(meet), pin), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/pin"


@pytest.mark.parametrize("pin", ["123", "1234567890123", "12 34", "abcd", "४८०२१३", "", "480213\n"])
def test_a_pin_is_four_to_twelve_figures(meet: MeetAtHand, pin: str) -> None:
    told = a_problem(join(meet, name_official(meet), pin), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/pin"


@pytest.mark.parametrize("length", range(4, 13))
def test_counting_up_or_down_from_any_figure_is_guessable(length: int) -> None:
    for first in range(10):
        up = "".join(str((first + step) % 10) for step in range(length))
        assert is_guessable(up), up
        assert is_guessable(up[::-1]), up[::-1]


@given(st.from_regex(r"[0-9]{4,12}", fullmatch=True))
def test_few_pins_are_called_guessable(pin: str) -> None:
    steps = {(int(after) - int(before)) % 10 for before, after in pairwise(pin)}
    assert is_guessable(pin) == (steps in ({0}, {1}, {9}))


def test_a_second_device_needs_the_same_pin(meet: MeetAtHand, referee: Person) -> None:
    told = a_problem(join(meet, referee.id, WRONG), 403, "pin-refused")
    assert WRONG not in json.dumps(told)
    assert join(meet, referee.id, PIN).status_code == 200


def test_wrong_pins_at_joining_are_counted_by_the_link_and_stand_in_the_record(
    meet: MeetAtHand, referee: Person
) -> None:
    link = meet.organiser.put(f"officials/{referee.id}/join-links/{new_id()}").json()

    def try_link(pin: str) -> httpx.Response:
        sent = {"token": link["token"], "session": new_id(), "pin": pin}
        return meet.service.http.post("/api/join", json=sent)

    for _ in range(FREE_TRIES):
        a_problem(try_link(WRONG), 403, "pin-refused")
    told = a_problem(try_link(PIN), 429, "too-many-tries")
    assert len(refused_pins(meet, referee)) == FREE_TRIES
    meet.service.clock.move(timedelta(seconds=told["retry_after"]))
    assert try_link(PIN).status_code == 200
    assert len(refused_pins(meet, referee)) == FREE_TRIES


def test_the_organiser_clears_a_forgotten_pin_and_the_sessions_with_it(
    meet: MeetAtHand, referee: Person
) -> None:
    cleared = meet.organiser.delete(f"officials/{referee.id}/pin")
    assert cleared.json()["has_pin"] is False
    a_problem(referee.get("/api/me"), 401, "not-joined")
    assert join(meet, referee.id, WRONG).status_code == 200
    a_problem(join(meet, referee.id, PIN), 403, "pin-refused")


def test_a_link_from_before_the_pin_was_cleared_makes_nobody_that_official(
    meet: MeetAtHand, referee: Person
) -> None:
    links = [
        meet.organiser.put(f"officials/{referee.id}/join-links/{new_id()}").json() for _ in range(2)
    ]
    assert meet.organiser.delete(f"officials/{referee.id}/pin").status_code == 200
    for link in links:
        sent = {"token": link["token"], "session": new_id(), "pin": "730215"}
        a_problem(meet.service.http.post("/api/join", json=sent), 403, "join-refused")
    made = meet.organiser.put(f"officials/{referee.id}/join-links/{new_id()}").json()
    sent = {"token": made["token"], "session": new_id(), "pin": "730215"}
    assert meet.service.http.post("/api/join", json=sent).status_code in {200, 201}
    lines = [json.loads(one) for one in meet.referee.get("record").text.splitlines()[:-1]]
    told = [one["body"] for one in lines if json.loads(one["entry"])["kind"] == "PIN cleared"][-1]
    assert json.loads(told)["links_revoked"] == sorted(one["id"] for one in links)


def test_a_wrong_pin_signs_nothing_and_stands_in_the_record(
    meet: MeetAtHand, referee: Person
) -> None:
    case = meet.report()["case"]
    told = a_problem(rule(referee, case, WRONG), 403, "pin-refused")
    assert WRONG not in json.dumps(told)
    assert meet.case(case)["state"] == "open"
    assert len(refused_pins(meet, referee)) == 1


def test_after_five_wrong_pins_the_device_waits_and_then_signs(
    meet: MeetAtHand, referee: Person
) -> None:
    case = meet.report()["case"]
    for _ in range(FREE_TRIES):
        a_problem(rule(referee, case, WRONG), 403, "pin-refused")
    blocked = rule(referee, case)
    told = a_problem(blocked, 429, "too-many-tries")
    assert blocked.headers["retry-after"] == str(told["retry_after"])
    assert 0 < told["retry_after"] <= FIRST_WAIT.total_seconds()
    assert str(told["retry_after"]) in told["detail"]
    meet.service.clock.move(timedelta(seconds=told["retry_after"]))
    assert rule(referee, case).status_code == 201


@pytest.mark.parametrize("back", [timedelta(minutes=1), timedelta(hours=1), timedelta(days=400)])
def test_a_wait_does_not_outlast_a_clock_that_is_set_back(
    meet: MeetAtHand, referee: Person, back: timedelta
) -> None:
    """A server that starts with a wrong clock is set right by the network, hours at a time."""
    case, clock = meet.report()["case"], meet.service.clock
    for _ in range(FREE_TRIES):
        a_problem(rule(referee, case, WRONG), 403, "pin-refused")
    a_problem(rule(referee, case), 429, "too-many-tries")
    clock.move(-back)
    a_problem(rule(referee, case, WRONG), 403, "pin-refused")
    # It was counted: the next wait is longer, and begins by the clock as it is now.
    longer = a_problem(rule(referee, case), 429, "too-many-tries")["retry_after"]
    assert longer == pytest.approx(wait_after(FREE_TRIES + 1).total_seconds(), abs=10)
    clock.move(timedelta(seconds=longer))
    assert rule(referee, case).status_code == 201


def test_a_wait_at_joining_does_not_outlast_a_clock_that_is_set_back(
    meet: MeetAtHand, referee: Person
) -> None:
    link = meet.organiser.put(f"officials/{referee.id}/join-links/{new_id()}").json()
    sent = {"token": link["token"], "session": new_id(), "pin": WRONG}
    for _ in range(FREE_TRIES):
        a_problem(meet.service.http.post("/api/join", json=sent), 403, "pin-refused")
    right = sent | {"pin": PIN}
    a_problem(meet.service.http.post("/api/join", json=right), 429, "too-many-tries")
    meet.service.clock.move(timedelta(hours=-1))
    assert meet.service.http.post("/api/join", json=right).status_code == 200


def test_others_and_other_devices_are_not_slowed(meet: MeetAtHand, referee: Person) -> None:
    first, second = meet.report(lane=3)["case"], meet.report(lane=4)["case"]
    spare = second_device(meet, referee)
    for _ in range(FREE_TRIES + 1):
        rule(referee, first, WRONG)
    a_problem(rule(referee, first), 429, "too-many-tries")
    assert rule(meet.referee, first).status_code == 201
    assert rule(spare, second).status_code == 201


def test_a_right_pin_begins_the_count_anew(meet: MeetAtHand, referee: Person) -> None:
    cases = [meet.report(lane=lane)["case"] for lane in (3, 4)]
    for case in cases:
        for _ in range(FREE_TRIES - 1):
            a_problem(rule(referee, case, WRONG), 403, "pin-refused")
        assert rule(referee, case).status_code == 201


def test_the_desk_is_slowed_at_announcing_too(meet: MeetAtHand) -> None:
    desk = add_official(meet, "desk apart", "results")
    sent = {"heat": meet.heat(), "pin": WRONG}
    for _ in range(FREE_TRIES):
        refused = desk.put(f"announcements/{new_id()}", sent, etag='"v1"')
        a_problem(refused, 403, "pin-refused")
    blocked = desk.put(f"announcements/{new_id()}", sent | {"pin": PIN}, etag='"v1"')
    a_problem(blocked, 429, "too-many-tries")


def test_many_wrong_pins_at_once_do_not_slip_through_together(
    meet: MeetAtHand, referee: Person
) -> None:
    case = meet.report()["case"]
    with ThreadPoolExecutor(12) as crowd:
        answers = list(crowd.map(lambda _: rule(referee, case, WRONG), range(24)))
    statuses = sorted(answer.status_code for answer in answers)
    assert statuses == [403] * FREE_TRIES + [429] * (24 - FREE_TRIES)
    assert len(refused_pins(meet, referee)) == FREE_TRIES


def test_many_wrong_pins_at_all_workers_do_not_slip_through_together(
    meet: MeetAtHand, referee: Person
) -> None:
    case = meet.report()["case"]
    with workers_of(meet.service) as workers, ThreadPoolExecutor(12) as crowd:
        asked = [replace(referee, http=workers[number % len(workers)]) for number in range(24)]
        answers = list(crowd.map(lambda person: rule(person, case, WRONG), asked))
    statuses = sorted(answer.status_code for answer in answers)
    assert statuses == [403] * FREE_TRIES + [429] * (24 - FREE_TRIES)


def test_the_right_pin_is_right_however_many_requests_bring_it_at_once(
    meet: MeetAtHand, referee: Person
) -> None:
    case, ruling = meet.report()["case"], new_id()
    address, sent = f"cases/{case}/rulings/{ruling}", a_ruling()
    with ThreadPoolExecutor(12) as crowd:
        answers = list(crowd.map(lambda _: referee.put(address, sent, etag='"v1"'), range(12)))
    assert sorted(answer.status_code for answer in answers) == [200] * 11 + [201]


def test_a_desk_announces_many_heats_at_once(service: Service) -> None:
    meet = a_meet(service, heats=8)
    for heat in range(8):
        meet.load_result(heat)
    with ThreadPoolExecutor(8) as crowd:
        answers = list(
            crowd.map(lambda heat: meet.announce(heat, despite="None called."), range(8))
        )
    assert [answer.status_code for answer in answers] == [201] * 8


def test_a_right_pin_that_is_settled_while_the_wait_runs_is_told_no_more_than_a_wrong_one(
    meet: MeetAtHand, referee: Person
) -> None:
    key = f"pin:{referee.id}:{referee.get('/api/me').json()['session']}"
    act, meet_id, actor = meet.service.store.act_now, MeetId(meet.id), Actor(referee.id)
    for _ in range(FREE_TRIES):
        act(meet_id, actor, refuse_pin(key))
    for settle in (accept_pin(key), refuse_pin(key)):
        with pytest.raises(TooManyTries):
            act(meet_id, actor, settle)
    assert len(refused_pins(meet, referee)) == FREE_TRIES


def lose_the_role(meet: MeetAtHand, person: Person) -> httpx.Response:
    return change_official(meet, person, roles=["umpire"])


def leave(meet: MeetAtHand, person: Person) -> httpx.Response:
    return change_official(meet, person, active=False)


def lose_the_pin(meet: MeetAtHand, person: Person) -> httpx.Response:
    return meet.organiser.delete(f"officials/{person.id}/pin")


def change_official(meet: MeetAtHand, person: Person, **changes: Any) -> httpx.Response:
    seen = meet.organiser.get(f"officials/{person.id}")
    known = {name: seen.json()[name] for name in ("name", "affiliation", "roles", "active")}
    etag = seen.headers["ETag"]
    return meet.organiser.put(f"officials/{person.id}", known | changes, etag=etag)


def caller(meet: MeetAtHand, person: Person) -> Caller:
    """Whom the guard let in, as it stood then."""
    me = person.get("/api/me").json()
    roles = frozenset(Role(role) for role in me["roles"])
    session = SessionId(me["session"])
    return Caller(OfficialId(person.id), MeetId(meet.id), session, roles, person.name)


def a_ruling_to_sign(meet: MeetAtHand, person: Person) -> Action[Any]:
    sent = RulingIn.model_validate(a_ruling())
    return rule_on(
        CaseId(meet.report()["case"]), RulingId(new_id()), sent, Pen(caller(meet, person)), 1
    )


def an_announcement_to_sign(meet: MeetAtHand, person: Person) -> Action[Any]:
    loaded = meet.load_result()
    assert loaded.status_code == 201, loaded.text
    answer = meet.desk.get(f"heats/{meet.heat()}/result")
    assert answer.status_code == 200, answer.text
    seen = answer.json()
    told = {"heat": meet.heat(), "pin": PIN, "despite": "Nobody started it on the screen."}
    sent = AnnouncementIn.model_validate(told)
    return announce(AnnouncementId(new_id()), sent, Pen(caller(meet, person)), seen["version"])


@pytest.mark.parametrize("meanwhile", [None, lose_the_role, leave, lose_the_pin])
@pytest.mark.parametrize("to_sign", [a_ruling_to_sign, an_announcement_to_sign])
def test_nothing_is_signed_by_whom_the_organiser_changed_while_their_pin_was_looked_at(
    meet: MeetAtHand,
    to_sign: Callable[[MeetAtHand, Person], Action[Any]],
    meanwhile: Callable[[MeetAtHand, Person], httpx.Response] | None,
) -> None:
    """The guard let them in and the PIN was right; the act itself comes after the change."""
    signer = add_official(meet, f"signer {new_id()}", "referee", "results")
    act, store = to_sign(meet, signer), meet.service.store
    actor = Actor(signer.id, frozenset())
    if meanwhile is None:
        assert store.act_now(MeetId(meet.id), actor, act).created
        return
    assert meanwhile(meet, signer).status_code == 200
    before = meet.head()
    with pytest.raises(RoleMissing, match="Nothing was signed"):
        store.act_now(MeetId(meet.id), actor, act)
    assert meet.head() == before


def test_the_waits_grow_and_never_last_for_ever() -> None:
    waits = [wait_after(count) for count in range(1, 40)]
    assert waits[: FREE_TRIES - 1] == [timedelta(0)] * (FREE_TRIES - 1)
    assert waits[FREE_TRIES - 1] == FIRST_WAIT
    assert waits == sorted(waits)
    assert waits[-1] == LONGEST_WAIT


def test_no_token_and_no_pin_reaches_the_record_or_an_error(meet: MeetAtHand) -> None:
    pin, wrong = "730519284605", "918273645072"
    official = name_official(meet)
    link = meet.organiser.put(f"officials/{official}/join-links/{new_id()}").json()
    sent = {"token": link["token"], "session": new_id(), "pin": pin}
    joined = meet.service.http.post("/api/join", json=sent).json()
    person = Person(official, "Nora", joined["token"], meet.service.http, meet.id)
    case = meet.report()["case"]
    errors = [
        meet.service.http.post("/api/join", json=sent | {"session": new_id()}),
        meet.service.http.post("/api/join", json=sent | {"session": "?"}),
        meet.service.http.post("/api/join", json=sent | {"more": "?"}),
        rule(person, case, wrong),
        person.put(f"cases/{case}/rulings/{new_id()}", {"pin": pin, "verdict": "?"}, etag='"v1"'),
        person.put(f"cases/{case}/rulings/{new_id()}", {"pin": f"{pin}x"}, etag='"v1"'),
    ]
    assert all(answer.status_code >= 400 for answer in errors)
    assert rule(person, case, pin).status_code == 201
    told = [meet.referee.get("record").text, *(answer.text for answer in errors)]
    secrets = (pin, wrong, joined["token"], link["token"], link["token"].split(".")[1])
    for text in told:
        assert not [secret for secret in secrets if secret in text]


def test_nothing_is_signed_once_the_session_has_ended_on_the_way(
    meet: MeetAtHand, referee: Person
) -> None:
    """Looking at a PIN takes its time, in which a phone is left or its link is taken back."""
    store = meet.service.store
    known = store.read_now(lambda conn: session_of(conn, hash_secret(referee.token)))
    assert known is not None

    def may_sign(conn: Connection) -> None:
        unit = Unit(conn, store.clock.now(), MeetId(meet.id), Actor(referee.id))
        Pen(known.caller).insist_may_sign(unit)

    store.read_now(may_sign)
    assert referee.delete("/api/me/session").status_code == 200
    with pytest.raises(NotJoined, match="ended while this was on its way"):
        store.read_now(may_sign)
