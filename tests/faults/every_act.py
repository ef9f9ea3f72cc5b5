"""One request for each route that changes something, those without a body too."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

from app.access.who_may import WHO_MAY
from app.crew_search.course import begin
from app.crew_search.task import asked_of
from app.crew_search.telling import so_far_of
from app.crew_search.wire import SearchIn
from app.ids import MeetId, new_id
from app.store.action import Actor
from tests.builders import Json, MeetAtHand, add_official
from tests.sendings import SENDINGS, Build, Sending, let_search_end

CHANGING = frozenset({"PUT", "POST", "DELETE"})


def a_start(meet: MeetAtHand) -> Sending:
    version = meet.referee.get(f"heats/{meet.heat()}").headers["ETag"]
    return _bare(meet, "referee", "POST", f"heats/{meet.heat()}/start", version)


def a_start_held_back(meet: MeetAtHand) -> Sending:
    meet.start()
    version = meet.referee.get(f"heats/{meet.heat()}").headers["ETag"]
    return _bare(meet, "referee", "POST", f"heats/{meet.heat()}/hold-back", version)


def a_rehearsal_ended(meet: MeetAtHand) -> Sending:
    begun = SENDINGS["rehearsal"](meet)
    assert begun.send(meet.service.http).is_success
    return replace(begun, method="POST", path=f"{begun.path}/end", body=None)


def a_search_stopped(meet: MeetAtHand) -> Sending:
    """Begun, and run by no process yet: what is stored meanwhile is what the test sends alone."""
    sending, meet_id = SENDINGS["search for a crew plan"](meet), MeetId(meet.id)
    store, sent = meet.service.store, SearchIn(**sending.document)
    asked = store.read_now(lambda conn: asked_of(conn, meet_id, sent))
    search = sending.path.rpartition("/")[2]
    store.act_now(meet_id, Actor(meet.organiser.id), begin(search, sent, so_far_of(asked)))
    return replace(sending, method="DELETE", body=None)


def a_plan_taken(meet: MeetAtHand) -> Sending:
    begun = SENDINGS["search for a crew plan"](meet)
    assert begun.send(meet.service.http).is_success
    let_search_end(meet)
    seen = meet.organiser.get("crew").headers["ETag"]
    return replace(begun, method="POST", path=f"{begun.path}/take", body=None, etag=seen)


def a_join_link(meet: MeetAtHand) -> Sending:
    path = f"officials/{meet.umpire.id}/join-links/{new_id()}"
    return _bare(meet, "organiser", "PUT", path)


def a_join_link_taken_back(meet: MeetAtHand) -> Sending:
    made = a_join_link(meet)
    assert made.send(meet.service.http).is_success
    return replace(made, method="DELETE")


def a_pin_cleared(meet: MeetAtHand) -> Sending:
    forgetful = add_official(meet, "forgetful umpire", "umpire")
    return _bare(meet, "organiser", "DELETE", f"officials/{forgetful.id}/pin")


def a_phone_left(meet: MeetAtHand) -> Sending:
    leaving = add_official(meet, "leaving umpire", "umpire")
    return Sending("DELETE", "/api/me/session", leaving.token, None)


def options_for_a_key(meet: MeetAtHand) -> Sending:
    return _bare(meet, "umpire", "POST", "me/keys/options")


def a_wrong_pin(meet: MeetAtHand) -> Sending:
    """No route of its own: what a wrong PIN leaves is stored by an act that is refused."""
    sent: Json = {"pin": "593047"}
    return replace(_bare(meet, "referee", "PUT", "end"), body=sent)


def _bare(meet: MeetAtHand, who: str, method: str, path: str, etag: str | None = None) -> Sending:
    return Sending(method, f"/api/meets/{meet.id}/{path}", meet[who].token, None, etag)


EVERY_ACT: dict[str, Build] = {
    **SENDINGS,
    "start": a_start,
    "start held back": a_start_held_back,
    "rehearsal ended": a_rehearsal_ended,
    "search stopped": a_search_stopped,
    "plan taken": a_plan_taken,
    "join link": a_join_link,
    "join link taken back": a_join_link_taken_back,
    "PIN cleared": a_pin_cleared,
    "phone left": a_phone_left,
    "options for a key": options_for_a_key,
}


def route_of(sending: Sending) -> tuple[str, str]:
    """The declared route that a request goes to."""
    path = sending.path.split("?")[0]
    found = [route for route in changing_routes() if _leads(sending.method, path, route)]
    # A word in the path is nearer than an id: `start-lists` is no heat.
    return min(found, key=lambda route: route[1].count("{"))


def changing_routes() -> Iterator[tuple[str, str]]:
    """All declared routes of the interface that may change something."""
    return (route for route in WHO_MAY if route[0] in CHANGING)


def _leads(method: str, path: str, route: tuple[str, str]) -> bool:
    pattern = re.sub(r"\{[^}]+\}", "[^/]+", route[1])
    return method == route[0] and re.fullmatch(pattern, path) is not None
