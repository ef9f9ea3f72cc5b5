"""What a role may do to a particular thing: only one's own, only of one's own meet, only as long
as the role is held. (OWASP API Security Top 10, 2023: API1, API3 and API5.)
"""

from __future__ import annotations

import pytest

from app.ids import new_id
from tests.builders import (
    PIN,
    Json,
    MeetAtHand,
    a_call,
    a_meet,
    a_post,
    a_problem,
    a_report,
    a_ruling,
    add_official,
)
from tests.running import Service


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    return a_meet(running_service)


@pytest.fixture(scope="module")
def elsewhere(running_service: Service) -> MeetAtHand:
    """Another meet with one of everything."""
    hand = a_meet(running_service)
    hand.start()
    call, report = hand.call("yellow", lane=4), hand.report(lane=4)
    ruling = hand.rule(report["case"]).json()
    assert hand.load_result().status_code == 201
    announced = hand.announce(despite="One post was never manned.").json()
    link = new_id()
    assert hand.organiser.put(f"officials/{hand.umpire.id}/join-links/{link}").status_code == 201
    hand.heats[0] |= {
        "call": call.json()["id"],
        "report": report["id"],
        "case": report["case"],
        "ruling": ruling["id"],
        "announcement": announced["id"],
        "link": link,
    }
    return hand


def official_document(**changes: object) -> Json:
    return {"name": "Somebody", "roles": ["umpire"], **changes}


def test_ones_own_meet_is_known_however_its_id_is_written(
    stadium: MeetAtHand, service: Service
) -> None:
    # RFC 9562, section 4: hexadecimal digits are read in either case.
    shouted = f"/api/meets/{stadium.id.upper()}"
    assert stadium.referee.get(f"{shouted}/docket").status_code == 200
    sent = a_report(stadium.heat(), stadium.posts["umpire"])
    assert stadium.umpire.put(f"{shouted}/reports/{new_id()}", sent).status_code == 201


def test_an_umpire_reads_only_own_calls_and_reports(stadium: MeetAtHand, service: Service) -> None:
    call, report = stadium.call("yellow", lane=3).json(), stadium.report(lane=3)
    for path in (f"calls/{call['id']}", f"reports/{report['id']}"):
        assert stadium.umpire.get(path).status_code == 200
        a_problem(stadium["second"].get(path), 403, "not-yours")
        for reader in ("referee", "chief_umpire", "jury"):
            assert stadium[reader].get(path).status_code == 200, (reader, path)
    assert report["id"] not in stadium["second"].get("reports").text
    assert report["id"] in stadium.umpire.get("reports").text


def test_an_umpire_withdraws_or_rewrites_only_own_reports(
    stadium: MeetAtHand, service: Service
) -> None:
    report = stadium.report(lane=4)
    before = stadium.head()
    reason = {"reason": "Not my report."}
    refused = stadium["second"].post(f"reports/{report['id']}/withdraw", reason, etag='"v1"')
    a_problem(refused, 403, "not-yours")
    mine = a_report(stadium.heat(), stadium.posts["second"], lane=5)
    refused = stadium["second"].put(f"reports/{report['id']}", mine, etag='"v1"')
    a_problem(refused, 409, "id-taken")
    assert stadium.head() == before


@pytest.mark.parametrize(
    ("reader", "path"),
    [
        ("referee", "heats/{heat}"),
        ("referee", "heats/{heat}/posts"),
        ("referee", "heats/{heat}/result"),
        ("referee", "calls/{call}"),
        ("referee", "reports/{report}"),
        ("referee", "cases/{case}"),
        ("referee", "rulings/{ruling}"),
        ("referee", "rulings/{ruling}/form.pdf"),
        ("organiser", "officials/{official}"),
        ("referee", "announcements/{announcement}.json"),
        ("referee", "announcements/{announcement}.csv"),
        ("referee", "announcements/{announcement}.txt"),
        ("referee", "announcements/{announcement}.pdf"),
    ],
)
def test_a_thing_of_another_meet_is_not_found_under_this_one(
    stadium: MeetAtHand, elsewhere: MeetAtHand, service: Service, reader: str, path: str
) -> None:
    ids = elsewhere.heats[0] | {"heat": elsewhere.heat(), "official": elsewhere.umpire.id}
    assert elsewhere[reader].get(path.format(**ids)).status_code == 200
    a_problem(stadium[reader].get(path.format(**ids)), 404, "not-found")


def test_nothing_of_another_meet_can_be_changed_from_here(
    stadium: MeetAtHand, elsewhere: MeetAtHand, service: Service
) -> None:
    ids = elsewhere.heats[0]
    here, there = stadium.head(), elsewhere.head()
    heat, post = elsewhere.heat(), elsewhere.posts["umpire"]
    reason = {"reason": "Please look at it again."}
    referee, organiser, umpire = stadium.referee, stadium.organiser, stadium.umpire
    etag = '"v1"'
    not_found = [
        referee.post(f"heats/{heat}/start", etag=etag),
        referee.post(f"heats/{heat}/hold-back", etag=etag),
        organiser.post(f"heats/{heat}/not-held", {"reasons": "Scratched."}, etag=etag),
        referee.post(f"reports/{ids['report']}/return", reason, etag=etag),
        umpire.post(f"reports/{ids['report']}/withdraw", reason, etag=etag),
        referee.put(f"cases/{ids['case']}/rulings/{new_id()}", a_ruling(), etag=etag),
        organiser.put(f"officials/{elsewhere.umpire.id}", official_document(), etag=etag),
        organiser.delete(f"officials/{elsewhere.umpire.id}/pin"),
        organiser.put(f"officials/{elsewhere.umpire.id}/join-links/{new_id()}"),
        organiser.delete(f"officials/{elsewhere.umpire.id}/join-links/{ids['link']}"),
        organiser.delete(f"officials/{stadium.umpire.id}/join-links/{ids['link']}"),
        umpire.put(f"calls/{new_id()}", a_call(heat, stadium.posts["umpire"])),
        umpire.put(f"calls/{new_id()}", a_call(stadium.heat(), post)),
        umpire.put(f"reports/{new_id()}", a_report(heat, stadium.posts["umpire"])),
        umpire.put(f"reports/{new_id()}", a_report(stadium.heat(), post)),
        stadium.desk.put(f"heats/{heat}/result", content="lane,time\n1,42.00"),
    ]
    for number, answer in enumerate(not_found):
        assert answer.status_code == 404, (number, answer.text)
        a_problem(answer, 404, "not-found")
    announcing = stadium.desk.put(
        f"announcements/{new_id()}", {"heat": heat, "pin": PIN}, etag=etag
    )
    a_problem(announcing, 409, "conflict")
    assert (stadium.head(), elsewhere.head()) == (here, there)


def test_an_id_of_another_meet_is_taken(
    stadium: MeetAtHand, elsewhere: MeetAtHand, service: Service
) -> None:
    ids = elsewhere.heats[0]
    here, there = stadium.head(), elsewhere.head()
    heat, post = stadium.heat(), stadium.posts["umpire"]
    seen = stadium.organiser.get("crew")
    stolen_post = {"posts": [a_post(elsewhere.posts["umpire"], stadium.umpire.id)]}
    flag = a_call(heat, post, "yellow", lane=4, report=ids["report"])
    taken = [
        stadium.organiser.put(f"officials/{elsewhere.umpire.id}", official_document()),
        stadium.umpire.put(f"calls/{ids['call']}", a_call(heat, post)),
        stadium.umpire.put(f"calls/{new_id()}", flag),
        stadium.umpire.put(f"reports/{ids['report']}", a_report(heat, post)),
        stadium.organiser.put("crew", stolen_post, etag=seen.headers["ETag"]),
        stadium.organiser.put(f"officials/{stadium.umpire.id}/join-links/{ids['link']}"),
    ]
    for answer in taken:
        a_problem(answer, 409, "id-taken")
    assert (stadium.head(), elsewhere.head()) == (here, there)


def test_a_role_that_is_taken_away_is_gone_with_the_next_request(
    stadium: MeetAtHand, service: Service
) -> None:
    person = add_official(stadium, "deputy", "referee", "umpire")
    assert person.get("docket").status_code == 200
    changed = stadium.organiser.put(
        f"officials/{person.id}", official_document(name="deputy"), etag='"v1"'
    )
    assert changed.status_code == 200
    told = a_problem(person.get("docket"), 403, "role-missing")
    assert told["needed"] == ["chief_umpire", "referee"]
    assert person.get("reports").status_code == 200


def test_an_official_made_inactive_loses_the_session_at_once(
    stadium: MeetAtHand, service: Service
) -> None:
    person = add_official(stadium, "sent home", "umpire")
    assert person.get("/api/me").status_code == 200
    document = official_document(name="sent home", active=False)
    assert stadium.organiser.put(f"officials/{person.id}", document, etag='"v1"').is_success
    a_problem(person.get("/api/me"), 401, "not-joined")
    refused = person.put(f"reports/{new_id()}", a_report(stadium.heat(), None, take_over=1))
    a_problem(refused, 401, "not-joined")


def test_the_organiser_cannot_lock_themselves_out(stadium: MeetAtHand, service: Service) -> None:
    before = stadium.head()
    for changes in ({"roles": ["umpire"]}, {"roles": ["organiser"], "active": False}):
        document = official_document(**changes)
        seen = stadium.organiser.get(f"officials/{stadium.organiser.id}")
        refused = stadium.organiser.put(
            f"officials/{stadium.organiser.id}", document, etag=seen.headers["ETag"]
        )
        a_problem(refused, 409, "conflict")
    assert stadium.head() == before


def test_officials_are_changed_only_as_they_were_seen(
    stadium: MeetAtHand, service: Service
) -> None:
    person = add_official(stadium, "seen twice", "umpire")
    document = official_document(name="seen once more")
    a_problem(stadium.organiser.put(f"officials/{person.id}", document), 409, "id-taken")
    first = stadium.organiser.put(f"officials/{person.id}", document, etag='"v1"')
    assert first.json()["version"] == 2
    late = stadium.organiser.put(f"officials/{person.id}", document, etag='"v1"')
    a_problem(late, 412, "stale")


def test_naming_the_same_official_again_changes_nothing(
    stadium: MeetAtHand, service: Service
) -> None:
    official, document = new_id(), official_document(roles=["umpire", "referee"])
    assert stadium.organiser.put(f"officials/{official}", document).status_code == 201
    before = stadium.head()
    again = stadium.organiser.put(
        f"officials/{official}", document | {"roles": ["referee", "umpire"]}
    )
    assert again.status_code == 200
    assert stadium.head() == before
