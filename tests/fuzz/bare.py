"""One good request for each route that changes something without a document, and for each that must
be asked in its query: `tests/sendings.py` has those that carry something.
"""

from __future__ import annotations

from dataclasses import replace

from app.ids import MeetId, new_id
from app.store.action import Actor
from tests.builders import MeetAtHand
from tests.faults.every_act import a_plan_taken, a_search_stopped
from tests.people import join
from tests.sendings import SENDINGS, Build, Sending

SPARE = ("spare umpire", "spare clerk")
"""Whom made-up requests rename, take roles from and shut out; those who ask them stay."""


def a_start(meet: MeetAtHand) -> Sending:
    not_held = SENDINGS["heat not held"](meet)
    path = not_held.path.replace("/not-held", "/start")
    return replace(not_held, path=path, token=meet.referee.token, body=None)


def a_holding_back(meet: MeetAtHand) -> Sending:
    start = a_start(meet)
    version = start.send(meet.service.http).headers["ETag"]
    return replace(start, path=start.path.replace("/start", "/hold-back"), etag=version)


def a_link(meet: MeetAtHand) -> Sending:
    return _of_somebody(meet, "PUT", f"join-links/{new_id()}")


def a_link_revoked(meet: MeetAtHand) -> Sending:
    issued = a_link(meet)
    assert issued.send(meet.service.http).status_code == 201
    return replace(issued, method="DELETE")


def a_pin_forgotten(meet: MeetAtHand) -> Sending:
    return _of_somebody(meet, "DELETE", "pin")


def a_session_ended(meet: MeetAtHand) -> Sending:
    spare = meet[SPARE[1]]
    issuer = Actor(meet.organiser.id, frozenset({"organiser"}))
    spare.token = meet.service.do(join(meet.service.store, MeetId(meet.id), issuer, spare.id))
    return Sending("DELETE", "/api/me/session", spare.token, None)


def options_of_a_key(meet: MeetAtHand) -> Sending:
    return _bare(meet, "umpire", "POST", "me/keys/options")


def a_rehearsal_ended(meet: MeetAtHand) -> Sending:
    begun = SENDINGS["rehearsal"](meet)
    assert begun.send(meet.service.http).status_code == 201
    return replace(begun, method="POST", path=f"{begun.path}/end", body=None)


def an_entry_proved(meet: MeetAtHand) -> Sending:
    return _bare(meet, "referee", "GET", "record/proofs/inclusion?entry=1")


def a_head_that_was_extended(meet: MeetAtHand) -> Sending:
    return _bare(meet, "referee", "GET", "record/proofs/consistency?from=1")


def _of_somebody(meet: MeetAtHand, method: str, what: str) -> Sending:
    return _bare(meet, "organiser", method, f"officials/{meet[SPARE[0]].id}/{what}")


def _bare(meet: MeetAtHand, who: str, method: str, path: str) -> Sending:
    return Sending(method, f"/api/meets/{meet.id}/{path}", meet[who].token, None)


BARE: dict[str, Build] = {
    "search stopped": a_search_stopped,
    "plan taken": a_plan_taken,
    "start": a_start,
    "holding back": a_holding_back,
    "link": a_link,
    "link revoked": a_link_revoked,
    "PIN forgotten": a_pin_forgotten,
    "session ended": a_session_ended,
    "options of a key": options_of_a_key,
    "rehearsal ended": a_rehearsal_ended,
    "entry proved": an_entry_proved,
    "head that was extended": a_head_that_was_extended,
}
