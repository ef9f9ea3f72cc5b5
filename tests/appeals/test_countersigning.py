"""The secretary of the jury signs its decision beside the chair: no vote, one signature.

That a jury has a secretary without a vote: World Athletics CR12 in secondary texts; that the
minutes are signed by chair and secretary is common practice.
"""

from __future__ import annotations

import json

import httpx
import pytest

from app.forms.signature_section import group_digest
from app.ids import new_id
from tests.access.authenticator import Authenticator
from tests.access.test_signing import entry, register
from tests.builders import PIN, Json, MeetAtHand, Person, a_meet, a_problem, add_official
from tests.forms.pdf_reading import read_text
from tests.running import Service
from tests.sendings import _an_appeal, a_protest_decided, told

VOTERS = ("jury", "second juror", "third juror")


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    hand = a_meet(running_service)
    for name in VOTERS[1:]:
        add_official(hand, name, "jury")
    add_official(hand, "secretary", "organiser")
    return hand


@pytest.fixture
def meet(stadium: MeetAtHand, service: Service) -> MeetAtHand:
    return stadium


def name(meet: MeetAtHand, appeal: str, writes: str, **more: object) -> httpx.Response:
    panel = {"chair": meet["jury"].id, "members": [meet[one].id for one in VOTERS[1:]], **more}
    panel |= {"secretary_official": writes}
    return meet["jury"].put(f"{appeal}/panel", panel, etag='"v1"')


def a_decision(meet: MeetAtHand) -> Json:
    """The jury's decision on an appeal whose panel has a secretary of the meet."""
    appeal = _an_appeal(meet)
    named = name(meet, appeal, meet["secretary"].id)
    assert named.status_code == 200, named.text
    assert named.json()["panel"]["secretary"] == "secretary"
    for voter in VOTERS:
        ballot = {"vote": "rejected", "pin": PIN}
        assert meet[voter].put(f"{appeal}/votes/{new_id()}", ballot).status_code == 201
    sent = {"verdict": "rejected", "reasons": "Nothing new.", "pin": PIN}
    decided = meet["jury"].put(f"{appeal}/decision", sent, etag='"v5"')
    assert decided.status_code == 201, decided.text
    return dict(decided.json()["decision"])


def sign(
    who: Person, decision: str, signature: str | None = None, **more: object
) -> httpx.Response:
    return who.put(f"decisions/{decision}/signatures/{signature or new_id()}", {"pin": PIN, **more})


def test_the_secretarys_signature_stands_on_the_paper_and_in_the_record(meet: MeetAtHand) -> None:
    decided, signature = a_decision(meet), new_id()
    signed = sign(meet["secretary"], decided["id"], signature)
    assert signed.status_code == 201, signed.text
    body = entry(meet, "decision signed", decided["id"])
    assert body["statement"]["decision_sha256"] == decided["statement_digest"]
    assert body["statement"]["as"] == "secretary"
    assert body["signature"]["official"] == meet["secretary"].id
    paper = meet.referee.get(f"decisions/{decided['id']}/form.pdf").content
    words = " ".join(read_text(paper).split())
    assert "Chair of the jury" in words
    assert "Secretary of the jury, no vote" in words
    assert group_digest(body["statement_sha256"]) in words
    head = meet.head()
    again = sign(meet["secretary"], decided["id"], signature)
    assert (again.status_code, again.json()) == (200, signed.json())
    assert meet.head() == head
    told_twice = a_problem(sign(meet["secretary"], decided["id"]), 409, "conflict")
    assert "already" in told_twice["detail"]


def test_a_decision_lists_who_has_signed_it_and_with_what(meet: MeetAtHand) -> None:
    decided, device = a_decision(meet), Authenticator()
    (chairs,) = decided["signatures"]
    assert (chairs["role"], chairs["official"]) == ("chair", meet["jury"].id)
    assert (chairs["strength"], chairs["statement_sha256"]) == ("PIN", decided["statement_digest"])
    key, path = register(meet["secretary"], device), f"decisions/{decided['id']}/signatures/"
    path += new_id()
    shown = meet["secretary"].put(path, {}, params={"check": "true"}).json()
    sent = {"device_signature": device.sign(key, shown["sha256"]), "shown_at": shown["shown_at"]}
    signed = meet["secretary"].put(path, sent).json()
    listed = next(
        one["decision"]["signatures"]
        for one in meet.referee.get("appeals").json()["appeals"]
        if one["id"] == decided["appeal"]
    )
    assert (
        listed == meet["jury"].get(f"appeals/{decided['appeal']}").json()["decision"]["signatures"]
    )
    first, second = listed
    assert first == chairs
    assert (second["role"], second["official_name"]) == ("secretary", "secretary")
    assert (second["strength"], second["how"]) == ("device key", signed["how"])
    same = ("statement_sha256", "signed_at", "official")
    assert [second[name] for name in same] == [signed[name] for name in same]


def test_the_referees_decision_lists_the_referees_signature(meet: MeetAtHand) -> None:
    decided = a_protest_decided(meet).send(meet.service.http).json()["decision"]
    (one,) = decided["signatures"]
    assert (one["role"], one["official_name"]) == ("referee", decided["official_name"])
    assert (one["how"], one["signed_at"]) == (
        "PIN on a joined device, attested by the server",
        decided["decided_at"],
    )


def test_the_secretary_signs_with_a_passkey_too(meet: MeetAtHand) -> None:
    decided, device = a_decision(meet), Authenticator()
    key, path = register(meet["secretary"], device), f"decisions/{decided['id']}/signatures/"
    path += new_id()
    shown = meet["secretary"].put(path, {}, params={"check": "true"}).json()
    signature = device.sign(key, shown["sha256"])
    sent = {"device_signature": signature, "shown_at": shown["shown_at"]}
    signed = meet["secretary"].put(path, sent)
    assert signed.status_code == 201, signed.text
    assert "passkey of Cleo's tablet" in signed.json()["how"]


def test_nobody_else_signs_as_the_secretary(meet: MeetAtHand) -> None:
    decided = a_decision(meet)
    for who in ("jury", "results", "organiser", "referee"):
        a_problem(sign(meet[who], decided["id"]), 403, "not-yours")
    a_problem(sign(meet["secretary"], new_id()), 404, "not-found")


def test_the_referees_decision_has_no_secretary(meet: MeetAtHand) -> None:
    decided = a_protest_decided(meet).send(meet.service.http).json()["decision"]
    a_problem(sign(meet["secretary"], decided["id"]), 409, "conflict")


def test_a_secretary_has_no_vote_and_has_not_judged_in_the_matter(meet: MeetAtHand) -> None:
    appeal = _an_appeal(meet)
    member = name(meet, appeal, meet["second juror"].id)
    assert "no vote" in told(member)["errors"][0]["detail"]
    # The referee has decided the protest.
    judged = a_problem(name(meet, appeal, meet.referee.id), 422, "malformed")
    assert "decided the protest" in judged["detail"]
    umpire = a_problem(name(meet, appeal, meet["second"].id), 422, "malformed")
    assert umpire["errors"][0]["pointer"] == "/secretary_official"
    twice = name(meet, appeal, meet["secretary"].id, secretary="Noor Quill")
    assert "once" in told(twice)["errors"][0]["detail"]


def test_the_votes_signatures_come_into_the_record_with_the_decision(meet: MeetAtHand) -> None:
    decided = a_decision(meet)
    body = entry(meet, "appeal decided", decided["appeal"])
    cast = {one["statement"]["official"]: one["statement"]["vote"] for one in body["ballots"]}
    assert cast == {meet[voter].id: "rejected" for voter in VOTERS}
    lines = map(json.loads, meet.referee.get("record").text.splitlines()[:-1])
    votes = [line["body"] for line in lines if json.loads(line["entry"])["kind"] == "vote cast"]
    assert votes
    assert not any("rejected" in body or "sha256" in body for body in votes)
