"""One official reads and changes nothing that only another may, and in another meet nothing at all:
every route with the ids of another meet, and of another umpire.

(OWASP API Security Top 10, 2023: API1; OWASP ASVS 5.0.0: 8.2.2, 8.4.1.) What each role may call is
walked in `test_matrix.py`, single refusals stand in `test_objects.py`.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import replace

import pytest

from app.access.who_may import WHO_MAY
from app.ids import new_id
from tests.browser.everything import WholeMeet, a_whole_meet
from tests.builders import Json, MeetAtHand, Person, a_meet, a_problem, add_official
from tests.conftest import NewDatabase
from tests.pictures.photographs import a_photograph
from tests.running import Service, a_service
from tests.sendings import SENDINGS, Sending

MEET = "/api/meets/{meet}"
PARAMETER = re.compile(r"{(\w+)}")
OF_THINGS = sorted(
    path
    for method, path in WHO_MAY
    if method == "GET"
    and path.startswith(MEET)
    and PARAMETER.search(path.removeprefix(MEET))
    and "{relay}" not in path  # a zone has no id: in another meet it is that meet's own
)
NOTHING_OF_THE_OTHER_MEET = {
    *("official", "list of officials", "meet", "rehearsal", "key", "end", "start list"),
    *("measured zone", "measured lines", "list of people", "crew template"),
}
"""What names nothing that is there already: it is about the sender's own meet wherever it is sent.
"""
NO_MEETS_ADDRESS = {"look", "joining"}


@pytest.fixture(scope="module")
def running_service(new_database: NewDatabase) -> Iterator[Service]:
    """On one engine: whose a thing is is asked by the same statements on both."""
    with a_service(new_database("sqlite")) as service:
        yield service


@pytest.fixture(scope="module")
def whole(running_service: Service) -> WholeMeet:
    """A meet in which everything has happened, its ids by the names of the paths' parameters."""
    whole = a_whole_meet(running_service)
    return replace(whole, things={**whole.things, **_further(whole)})


def _further(whole: WholeMeet) -> Mapping[str, list[str]]:
    meet, case = whole.meet, whole.meet.case(whole.things["case"][0])
    report = case["reports"][0]
    appeal = meet["jury"].get(f"appeals/{whole.things['appeal'][0]}").json()
    assert meet["jury"].get(f"rulings/{case['rulings'][0]}/form.pdf").status_code == 200
    papers = meet["jury"].get("papers").json()["papers"]
    entries = [json.loads(line) for line in meet.referee.get("record").text.splitlines()[:-1]]
    calls = [one["subject"] for one in map(_entry, entries) if one["kind"] == "call"]
    return {
        "official": [meet.umpire.id],
        "report": [report["id"]],
        "picture": [report["pictures"][0]["id"]],
        "ruling": [case["rulings"][0]],
        "round": [meet.desk.get("rounds").json()["rounds"][0]["id"]],
        "decision": [appeal["decision"]["id"]],
        "paper": [papers[0]["id"]],
        "call": calls[:1],
        "search": [_a_search(meet)],
    }


def _a_search(meet: MeetAtHand) -> str:
    begun = SENDINGS["search for a crew plan"](meet)
    assert begun.send(meet.service.http).is_success
    return begun.path.rsplit("/", 1)[1]


def _entry(line: Json) -> Json:
    told = line["entry"]
    return dict(json.loads(told) if isinstance(told, str) else told)


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    """Another meet, which has as much of its own."""
    return a_meet(running_service)


def readers(meet: MeetAtHand, path: str) -> list[Person]:
    who = WHO_MAY["GET", path]
    return [meet[role] for role in sorted(who.roles) or ["umpire"]]


@pytest.mark.parametrize("path", OF_THINGS)
def test_nothing_of_another_meet_is_read_in_ones_own_nor_there(
    whole: WholeMeet, stadium: MeetAtHand, service: Service, path: str
) -> None:
    there = PARAMETER.sub(
        lambda name: whole.meet.id if name[1] == "meet" else whole.things[name[1]][0], path
    )
    own = [one.get(there).status_code for one in readers(whole.meet, path)]
    assert 200 in own, (there, own)
    here = there.replace(whole.meet.id, stadium.id)
    for stranger in readers(stadium, path):
        a_problem(stranger.get(here), 404, "not-found")
        if not WHO_MAY["GET", path].public:
            a_problem(stranger.get(there), 403, "role-missing")


def test_nothing_of_another_meet_is_changed_from_ones_own_nor_there(service: Service) -> None:
    """Each is good where it belongs; sent to another meet, or by somebody of another, it is not."""
    there, stadium = a_meet(service), a_meet(service)
    for name, build in SENDINGS.items():
        if name in NO_MEETS_ADDRESS:
            continue
        sending = build(there)
        sender = next((one for one in there.people if there[one].token == sending.token), "")
        stranger = stadium.people.get(sender) or stadium.organiser
        before, at_home = there.head(), stadium.head()
        if name != "meet":
            as_a_stranger = replace(sending, token=stranger.token).send(service.http)
            a_problem(as_a_stranger, 403, "role-missing")
        moved = _moved(sending, there, stadium, stranger)
        answer = moved.send(service.http)
        assert there.head() == before, name
        if name not in NOTHING_OF_THE_OTHER_MEET:
            assert answer.status_code in {403, 404, 409, 412, 422}, (name, answer.text)
            assert stadium.head() == at_home, name
            assert sending.send(service.http).status_code in {200, 201}, name


def _moved(sending: Sending, there: MeetAtHand, here: MeetAtHand, stranger: Person) -> Sending:
    path = sending.path.replace(there.id, here.id)
    return replace(sending, path=path, token=stranger.token)


def test_one_umpire_reads_and_adds_nothing_of_anothers(
    stadium: MeetAtHand, service: Service
) -> None:
    author, other = stadium.umpire, stadium["second"]
    report = stadium.report(lane=3)["id"]
    picture, jpeg = new_id(), {"Content-Type": "image/jpeg"}
    address = f"reports/{report}/pictures/{picture}"
    content = a_photograph()
    assert author.put(address, content=content, headers=jpeg).status_code == 201
    call = stadium.call("yellow", lane=3).json()["id"]
    pictures = (address, f"{address}/copy.jpg", f"{address}/original")
    theirs = (f"reports/{report}", f"reports/{report}/form.pdf", *pictures, f"calls/{call}")
    for path in theirs:
        assert author.get(path).status_code == 200, path
    before = stadium.head()
    for path in theirs:
        a_problem(other.get(path), 403, "not-yours")
    added = other.put(f"reports/{report}/pictures/{new_id()}", content=content, headers=jpeg)
    a_problem(added, 403, "not-yours")
    for path in ("reports", "watch"):
        assert report in author.get(path).text
        assert not [one for one in (report, call) if one in other.get(path).text], path
    assert stadium.head() == before


def test_nobody_revokes_anothers_key_as_their_own_and_the_organiser_by_its_owner_alone(
    stadium: MeetAtHand, service: Service
) -> None:
    made = SENDINGS["key"](stadium)
    assert made.send(service.http).is_success
    key, lost = made.path.rpartition("/")[2], {"reason": "It was lost."}
    before = stadium.head()
    refused = [
        stadium["second"].post(f"me/keys/{key}/revoke", lost),
        stadium.referee.post(f"me/keys/{key}/revoke", lost),
        stadium.organiser.post(f"officials/{stadium['second'].id}/keys/{key}/revoke", lost),
    ]
    for answer in refused:
        a_problem(answer, 404, "not-found")
    assert key not in stadium["second"].get("me/keys").text
    assert stadium.head() == before


def test_a_secretary_of_one_panel_signs_no_decision_of_another(service: Service) -> None:
    meet = a_meet(service)
    sending = SENDINGS["decision signed"](meet)
    stranger = add_official(meet, "another secretary", "organiser")
    before = meet.head()
    answer = replace(sending, token=stranger.token).send(service.http)
    a_problem(answer, 403, "not-yours")
    assert meet.head() == before
    assert sending.send(service.http).status_code == 201
