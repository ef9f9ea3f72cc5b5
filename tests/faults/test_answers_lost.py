"""Work is done, and the line dies before the answer is there: the same again does nothing twice.

Whoever chooses a thing's id may send it again for ever. What changes a thing names the version it
changes: sent again, it is told that this is done or that the thing was changed meanwhile.
"""

from __future__ import annotations

import json

import pytest

from app.ids import new_id
from tests.builders import Json, MeetAtHand, a_call, a_report
from tests.faults.dropping import a_dropping_line, hang_up_after, lose_answer
from tests.running import Service
from tests.sendings import SENDINGS, Sending

CHANGES = {
    *("heat not held", "return", "withdraw", "protest taken back", "admission", "panel"),
    *("appeal taken back", "member who withdraws", "reopening"),
}
"""What has no id of its own, and names a state or a version that is past once it is done."""
GOES_ON = {"search for a crew plan"}
"""What is further each time that one asks."""
NEW_EACH_TIME = {"badges", "cards with codes"}
"""Each sheet has fresh links: whoever lost one prints another and revokes those of the first."""
LOOKS_OR_ELSEWHERE = {"look", "look at orders", "look at what is sought", "meet"}
LOOKS_OR_ELSEWHERE |= {"search for a crew plan"}
"""What stores nothing in the record of the meet at hand."""
ON_POSTGRESQL_TOO = (
    *("call", "report", "withdraw", "ruling", "announcement", "protest"),
    *("decision on a protest", "vote", "picture", "joining"),
)


def size_of(meet: MeetAtHand) -> int:
    return int(meet.head()["size"])


def insist_done_once(service: Service, meet: MeetAtHand, name: str) -> None:
    sending = SENDINGS[name](meet)
    before = size_of(meet)
    with a_dropping_line(service) as line:
        lose_answer(line, sending)
    done = size_of(meet)
    assert done - before == int(name not in LOOKS_OR_ELSEWHERE)
    again = [sending.send(service.http) for _ in range(2)]
    assert size_of(meet) == done
    assert {one.status_code for one in again} <= ({409, 412} if name in CHANGES else {200})
    if name not in CHANGES | GOES_ON:
        assert again[0].content == again[1].content


@pytest.mark.parametrize("running_service", ["sqlite"], indirect=True)
@pytest.mark.parametrize("name", sorted(SENDINGS.keys() - NEW_EACH_TIME))
def test_whatever_was_done_and_never_answered_is_not_done_again(
    service: Service, meet: MeetAtHand, name: str
) -> None:
    insist_done_once(service, meet, name)


@pytest.mark.parametrize("running_service", ["postgresql"], indirect=True)
@pytest.mark.parametrize("name", ON_POSTGRESQL_TOO)
def test_what_many_send_and_was_never_answered_is_not_done_again_on_postgresql(
    service: Service, meet: MeetAtHand, name: str
) -> None:
    insist_done_once(service, meet, name)


@pytest.mark.parametrize("running_service", ["sqlite"], indirect=True)
def test_the_answer_that_was_lost_is_given_to_the_one_who_sends_again(
    service: Service, meet: MeetAtHand
) -> None:
    sending = SENDINGS["report"](meet)
    with a_dropping_line(service) as line:
        lose_answer(line, sending)
    told = sending.send(service.http)
    read = meet.umpire.get(sending.path)
    assert told.status_code == 200
    assert told.json() == read.json()
    assert told.headers["ETag"] == read.headers["ETag"]
    assert read.json()["words"] == sending.document["words"]


def test_a_phone_that_hangs_up_with_its_last_byte_loses_nothing_and_doubles_nothing(
    service: Service, meet: MeetAtHand
) -> None:
    """Whether the server took it before it saw that the phone was gone is open; half is not."""
    sendings = [sending for lane in range(1, 9) for sending in a_flag_and_its_account(meet, lane)]
    for sending in sendings:
        hang_up_after(service, sending)
    for sending in sendings:
        again = [sending.send(service.http) for _ in range(2)]
        assert [one.status_code for one in again] in ([200, 200], [201, 200])
        assert again[0].json() == again[1].json()
    told = entries(meet)
    for sending in sendings:
        ident = sending.path.rpartition("/")[2]
        assert told.count(ident) == 1, sending
    lines = meet.umpire.get("reports").json()
    assert sorted(one["lane"] for one in lines) == list(range(1, 9))


def a_flag_and_its_account(meet: MeetAtHand, lane: int) -> tuple[Sending, Sending]:
    report, post = new_id(), meet.posts["umpire"]
    flag = a_call(meet.heat(), post, "yellow", lane=lane, report=report)
    account = a_report(meet.heat(), post, lane=lane)
    return by_umpire(meet, f"calls/{new_id()}", flag), by_umpire(meet, f"reports/{report}", account)


def by_umpire(meet: MeetAtHand, path: str, document: Json) -> Sending:
    return Sending("PUT", f"/api/meets/{meet.id}/{path}", meet.umpire.token, document)


def entries(meet: MeetAtHand) -> list[str]:
    """What the entries of the record are about, one after another."""
    lines = [json.loads(line) for line in meet.referee.get("record").text.splitlines()]
    return [json.loads(line["entry"])["subject"] for line in lines if "entry" in line]
