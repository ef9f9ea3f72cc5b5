"""One good request for each route that changes something, to be spoilt by the tests of bad input.

A sending is built anew for each test from the meet at hand, with ids nobody has used; sent as it
is, it succeeds.
"""

from __future__ import annotations

import itertools
import json
import time
from base64 import urlsafe_b64encode
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import httpx
from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, generate_private_key
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from app.access.key_kinds import MOST_LIVE_KEYS
from app.ids import new_id
from app.pictures.redrawing import LARGEST_PICTURE
from tests.builders import (
    PIN,
    Json,
    MeetAtHand,
    a_call,
    a_meet_document,
    a_post,
    a_problem,
    a_report,
    a_ruling,
    add_official,
    all_heats,
    founder,
)
from tests.pictures.photographs import drawn, saved

JSON = "application/json"
SMALL, MIDDLE, LARGE = 64 * 1024, 256 * 1024, 8 * 1024 * 1024
CREW = 2 * 1024 * 1024
# No umpire writes without end about one team in one heat: the service would refuse it.
_lanes = itertools.cycle((4, 5, 6, 7, 8))
_take_overs = itertools.cycle((1, 2, 3))
_minutes = itertools.cycle(range(60))
_searches: dict[str, str] = {}
_millimetres = itertools.cycle(range(1, 400))
REFUSED = {400, 401, 403, 404, 405, 409, 412, 413, 415, 422, 428, 429}


def told(answer: httpx.Response) -> Json:
    """The problem document of a refusal, whatever its kind, after a look at its form."""
    assert answer.status_code in REFUSED, (answer.status_code, answer.text)
    slug = str(answer.json()["type"]).rsplit("/", 1)[1]
    return a_problem(answer, answer.status_code, slug)


@dataclass(frozen=True, slots=True)
class Sending:
    """A request: where to, by whom, and with what body; `largest` is what its route takes."""

    method: str
    path: str
    token: str
    body: Json | bytes | None
    etag: str | None = None
    largest: int = SMALL

    @property
    def content(self) -> bytes:
        if isinstance(self.body, bytes):
            return self.body
        return b"" if self.body is None else json.dumps(self.body).encode()

    @property
    def document(self) -> Json:
        assert isinstance(self.body, dict)
        return self.body

    def changed(self, **changes: object) -> Sending:
        """The same with some fields of its document changed."""
        return replace(self, body=self.document | changes)

    def send(
        self, http: httpx.Client, content: bytes | None = None, kind: str | None = None
    ) -> httpx.Response:
        """Send it, or other content in its place, under its own or another content type."""
        headers = self.headers
        if kind is not None or isinstance(self.body, dict):
            headers["Content-Type"] = kind if kind is not None else JSON
        body = self.content if content is None else content
        return http.request(self.method, self.path, content=body, headers=headers)

    @property
    def headers(self) -> dict[str, str]:
        """The caller's session, where there is one, and the version that is meant."""
        session = {"Authorization": f"Bearer {self.token}"} if self.token else {}
        return session | ({"If-Match": self.etag} if self.etag else {})


Build = Callable[[MeetAtHand], Sending]


def _done(meet: MeetAtHand, sending: Sending) -> httpx.Response:
    """What another sending needs done before it."""
    answer = sending.send(meet.service.http)
    assert answer.is_success, f"{sending.method} {sending.path}: {answer.text}"
    return answer


def a_setup(meet: MeetAtHand) -> Sending:
    token = founder(meet.service)["Authorization"].removeprefix("Bearer ")
    return Sending("PUT", f"/api/meets/{new_id()}", token, a_meet_document())


def an_official(meet: MeetAtHand) -> Sending:
    document = {"name": "Nora Newcomer", "affiliation": "Harbour Club", "roles": ["umpire"]}
    return _of(meet, "organiser", f"officials/{new_id()}", document)


def badges(meet: MeetAtHand) -> Sending:
    sent = _of(meet, "organiser", "badges.pdf", {"officials": [meet.umpire.id]})
    return replace(sent, method="POST")


def cards_with_codes(meet: MeetAtHand) -> Sending:
    sent = _of(meet, "organiser", "crew/briefing-cards.pdf", {"officials": [meet.umpire.id]})
    return replace(sent, method="POST")


def a_look(meet: MeetAtHand) -> Sending:
    return Sending("POST", "/api/join/look", "", {"token": _fresh_link(meet)})


def a_joining(meet: MeetAtHand) -> Sending:
    document = {"token": _fresh_link(meet), "session": new_id(), "pin": PIN, "device": "Phone"}
    return Sending("POST", "/api/join", "", document)


def _fresh_link(meet: MeetAtHand) -> str:
    official = an_official(meet)
    _done(meet, official)
    address = f"{official.path}/join-links/{new_id()}"
    return str(meet.organiser.put(address).json()["token"])


def a_crew(meet: MeetAtHand) -> Sending:
    posts = [a_post(new_id(), meet.umpire.id, relays=["4x100"], side="outside")]
    version = meet.organiser.get("crew").headers["ETag"]
    return replace(_of(meet, "organiser", "crew", {"posts": posts}), etag=version, largest=CREW)


def crew_wishes(meet: MeetAtHand) -> Sending:
    seen = meet.organiser.get("crew/wishes").headers.get("ETag")
    hours = [{"begins": f"09:{next(_minutes):02}", "ends": "17:00"}]
    person = {"official": meet.umpire.id, "experience": 2, "hours": hours}
    person |= {"may_not": [{"take_over": 2, "edge": "end"}]}
    document = {"people": [person], "template": [], "pins": [], "dropped": []}
    return replace(_of(meet, "organiser", "crew/wishes", document), etag=seen, largest=CREW // 4)


def a_search(meet: MeetAtHand) -> Sending:
    """For the crew of one heat with a start; a meet has one search at a time."""
    let_search_end(meet)
    when = f"{10 + next(_minutes) % 10}:{next(_minutes):02}"
    rows = f"event,round,heat,lane,team,scheduled\nMen 4x100 m {new_id()},final,1,4,Tern,{when}\n"
    assert meet.organiser.post("start-lists", content=rows).status_code == 200
    search = _searches[meet.id] = new_id()
    return _of(meet, "organiser", f"crew/searches/{search}", {"seconds": 0.5, "keep": False})


def searches_of(meet: str) -> list[str]:
    """The id of the meet's last search, if it had any."""
    return [_searches[meet]] if meet in _searches else []


def let_search_end(meet: MeetAtHand) -> None:
    """Wait for the meet's last search, where it has begun."""
    while search := _searches.get(meet.id):
        seen = meet.organiser.get(f"crew/searches/{search}")
        if seen.status_code == 404 or seen.json()["phase"] in {"ended", "failed"}:
            return
        time.sleep(0.05)


def a_people_list_file(meet: MeetAtHand) -> Sending:
    seen = meet.organiser.get("crew/wishes").headers.get("ETag")
    officials = meet.organiser.get("officials").json()
    name = next(one["name"] for one in officials if one["id"] == meet.umpire.id)
    rows = f"name,experience,from\n{name},2,09:{next(_minutes):02}\n"
    sent = _of(meet, "organiser", "people-list", rows.encode())
    return replace(sent, method="POST", etag=seen, largest=LARGE)


def a_template_file(meet: MeetAtHand) -> Sending:
    seen = meet.organiser.get("crew/wishes").headers.get("ETag")
    lanes = 1 + next(_minutes) % 10
    rows = f"people,edge,side,lanes\n2,start,inside,8\n2,end,outside,{lanes}\n"
    sent = _of(meet, "organiser", "crew-template", rows.encode())
    return replace(sent, method="POST", etag=seen, largest=LARGE)


def a_measured_zone(meet: MeetAtHand) -> Sending:
    seen = meet.organiser.get("survey/zones/4x100/2")
    taped = {"mark": "start of the second bend", "metres": 3.5 + next(_millimetres) / 1000}
    lines = [{"lane": 2, "line": "leg line", **taped}]
    sent = _of(meet, "organiser", "survey/zones/4x100/2", {"lines": lines})
    return replace(sent, etag=seen.headers.get("ETag"))


def a_flag(meet: MeetAtHand) -> Sending:
    lane = next(_lanes)
    document = a_call(meet.heat(), meet.posts["umpire"], "yellow", lane=lane, report=new_id())
    return _of(meet, "umpire", f"calls/{new_id()}", document)


def an_account(meet: MeetAtHand) -> Sending:
    document = a_report(meet.heat(), meet.posts["umpire"], lane=next(_lanes))
    return _of(meet, "umpire", f"reports/{new_id()}", document)


def a_question(meet: MeetAtHand) -> Sending:
    report = meet.report(lane=next(_lanes))
    asked = _of(meet, "referee", f"reports/{report['id']}/return", {"reason": "How far?"})
    return replace(asked, method="POST", etag='"v1"')


def a_withdrawal(meet: MeetAtHand) -> Sending:
    report = meet.report(lane=next(_lanes))
    sent = _of(meet, "umpire", f"reports/{report['id']}/withdraw", {"reason": "Lane 5 it was."})
    return replace(sent, method="POST", etag='"v1"')


def a_decision(meet: MeetAtHand) -> Sending:
    case = meet.report(lane=3)["case"]
    document = a_ruling(infringement="help_given")
    version = meet.referee.get(f"cases/{case}").headers["ETag"]
    return replace(_of(meet, "referee", f"cases/{case}/rulings/{new_id()}", document), etag=version)


def an_announcement(meet: MeetAtHand) -> Sending:
    if meet.desk.get(f"heats/{meet.heat(1)}/result").status_code == 404:
        assert meet.load_result(1).status_code == 201
    seen = meet.desk.get(f"heats/{meet.heat(1)}/result")
    # A crew list changed at random may have left nobody to wait for.
    despite = "No telephone." if seen.json()["in_the_way"] else None
    document = {"heat": meet.heat(1), "despite": despite, "remark": "As seen.", "pin": PIN}
    sent = _of(meet, "results", f"announcements/{new_id()}", document)
    return replace(sent, etag=seen.headers["ETag"])


def a_lodged_protest(meet: MeetAtHand) -> Sending:
    document = {
        "heat": meet.heat(),
        "team": meet.heats[0]["lanes"][3]["team"],
        "about": "placing",
        "lodged_by": "Mira Anchor",
        "words": "The baton was inside the zone.",
    }
    return _of(meet, "results", f"protests/{new_id()}", document)


def _a_protest(meet: MeetAtHand) -> str:
    """The path of a protest that awaits the referee."""
    sent = a_lodged_protest(meet)
    _done(meet, sent)
    return sent.path.split(f"{meet.id}/", 1)[1]


def a_protest_decided(meet: MeetAtHand) -> Sending:
    document = {"verdict": "rejected", "reasons": "Seen by two umpires.", "pin": PIN}
    sent = _of(meet, "referee", f"{_a_protest(meet)}/decision", document)
    return replace(sent, etag='"v1"')


def _a_rejected_protest(meet: MeetAtHand) -> str:
    sent = a_protest_decided(meet)
    _done(meet, sent)
    return sent.path.split(f"{meet.id}/", 1)[1].removesuffix("/decision")


def an_advice(meet: MeetAtHand) -> Sending:
    at = meet.service.clock.now().isoformat()
    return _of(meet, "results", f"{_a_rejected_protest(meet)}/advice", {"advised_at": at})


def a_protest_taken_back(meet: MeetAtHand) -> Sending:
    document = {"by": "Mira Anchor"}
    sent = _of(meet, "results", f"{_a_protest(meet)}/withdraw", document)
    return replace(sent, method="POST", etag='"v1"')


def a_look_at_orders(meet: MeetAtHand) -> Sending:
    sent = _of(meet, "referee", f"{_a_protest(meet)}/consequences", {"orders": []})
    return replace(sent, method="POST")


def a_lodged_appeal(meet: MeetAtHand) -> Sending:
    document = {
        "protest": _a_rejected_protest(meet).removeprefix("protests/"),
        "team": meet.heats[0]["lanes"][3]["team"],
        "lodged_by": "Mira Anchor",
        "words": "The video was not looked at.",
    }
    return _of(meet, "results", f"appeals/{new_id()}", document)


def _an_appeal(meet: MeetAtHand, *, paid: bool = True) -> str:
    """The path of an appeal, with its deposit or without."""
    sent = a_lodged_appeal(meet)
    sent = sent.changed(deposit=_deposit()) if paid else sent
    _done(meet, sent)
    return sent.path.split(f"{meet.id}/", 1)[1]


def _deposit() -> Json:
    """A deposit with a receipt of its own."""
    return {"amount": 100, "currency": "USD", "receipt": f"R-{new_id()}"}


def a_deposit(meet: MeetAtHand) -> Sending:
    return _of(meet, "results", f"{_an_appeal(meet, paid=False)}/deposit", _deposit())


def an_admission(meet: MeetAtHand) -> Sending:
    path = _a_seated_appeal(meet, paid=False)
    document = {"admit": True, "reasons": "The bank was closed.", "pin": PIN}
    return replace(_of(meet, "jury", f"{path}/admission", document), etag='"v2"')


def an_appeal_taken_back(meet: MeetAtHand) -> Sending:
    document = {"by": "Mira Anchor"}
    sent = _of(meet, "results", f"{_an_appeal(meet)}/withdraw", document)
    return replace(sent, method="POST", etag='"v1"')


def _members(meet: MeetAtHand) -> list[str]:
    names = ["jury", "second juror", "third juror", "substitute"]
    for name in names[1:]:
        if name not in meet.people:
            add_official(meet, name, "jury")
    return [meet[name].id for name in names]


def a_named_panel(meet: MeetAtHand, *, paid: bool = True) -> Sending:
    chair, second, third, substitute = _members(meet)
    document = {
        "chair": chair,
        "members": [second, third],
        "secretary": "Noor Quill",
        "substitutes": [substitute],
    }
    return replace(_of(meet, "jury", f"{_an_appeal(meet, paid=paid)}/panel", document), etag='"v1"')


def _a_seated_appeal(meet: MeetAtHand, *, paid: bool = True) -> str:
    """The path of an appeal whose panel is named."""
    sent = a_named_panel(meet, paid=paid)
    _done(meet, sent)
    return sent.path.split(f"{meet.id}/", 1)[1].removesuffix("/panel")


def a_member_who_withdraws(meet: MeetAtHand) -> Sending:
    path = f"{_a_seated_appeal(meet)}/panel/{meet['second juror'].id}/withdraw"
    document = {"reasons": "My club would gain.", "replaced_by": meet["substitute"].id}
    return replace(_of(meet, "second juror", path, document), method="POST", etag='"v2"')


def a_vote(meet: MeetAtHand) -> Sending:
    path = f"{_a_seated_appeal(meet)}/votes/{new_id()}"
    return _of(meet, "jury", path, {"vote": "rejected", "pin": PIN})


def a_jury_decision(meet: MeetAtHand) -> Sending:
    path = _a_seated_appeal(meet)
    for name in ("jury", "second juror", "third juror"):
        voted = {"vote": "rejected", "pin": PIN}
        assert meet[name].put(f"{path}/votes/{new_id()}", voted).status_code == 201
    document = {"verdict": "rejected", "reasons": "Nothing new.", "pin": PIN}
    return replace(_of(meet, "jury", f"{path}/decision", document), etag='"v5"')


def a_signed_decision(meet: MeetAtHand) -> Sending:
    path = _an_appeal(meet)
    chair, second, third, _ = _members(meet)
    if "secretary" not in meet.people:
        add_official(meet, "secretary", "organiser")
    panel = {"chair": chair, "members": [second, third]}
    panel |= {"secretary_official": meet["secretary"].id}
    assert meet["jury"].put(f"{path}/panel", panel, etag='"v1"').status_code == 200
    for name in ("jury", "second juror", "third juror"):
        voted = {"vote": "rejected", "pin": PIN}
        assert meet[name].put(f"{path}/votes/{new_id()}", voted).status_code == 201
    document = {"verdict": "rejected", "reasons": "Nothing new.", "pin": PIN}
    decided = meet["jury"].put(f"{path}/decision", document, etag='"v5"')
    address = f"decisions/{decided.json()['decision']['id']}/signatures/{new_id()}"
    return _of(meet, "secretary", address, {"pin": PIN})


def a_phone_key(meet: MeetAtHand) -> Sending:
    held = [key for key in meet.umpire.get("me/keys").json() if key["revoked_at"] is None]
    if len(held) == MOST_LIVE_KEYS:
        lost = {"reason": "The phone was lost."}
        assert meet.umpire.post(f"me/keys/{held[0]['id']}/revoke", lost).status_code == 200
    made = generate_private_key(SECP256R1()).public_key()
    spki = made.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    encoded = urlsafe_b64encode(spki).rstrip(b"=").decode()
    document = {"kind": "phone key", "public_key": encoded, "device": "Bo's phone", "pin": PIN}
    return _of(meet, "umpire", f"me/keys/{new_id()}", document)


def a_key_revoked(meet: MeetAtHand) -> Sending:
    made = a_phone_key(meet)
    _done(meet, made)
    path = made.path.split(f"{meet.id}/", 1)[1]
    sent = _of(meet, "umpire", f"{path}/revoke", {"reason": "The phone was lost."})
    return replace(sent, method="POST")


def a_key_of_somebody_revoked(meet: MeetAtHand) -> Sending:
    sent = a_key_revoked(meet)
    path = sent.path.replace("/me/", f"/officials/{meet.umpire.id}/")
    return replace(sent, path=path, token=meet.organiser.token)


def a_reopening(meet: MeetAtHand) -> Sending:
    sent = a_jury_decision(meet)
    _done(meet, sent)
    path = sent.path.split(f"{meet.id}/", 1)[1].removesuffix("/decision")
    document = {
        "evidence": "A second camera.",
        "allowed_by": "Ines Compass",
        "reasons": "The final has not been run.",
        "pin": PIN,
    }
    return replace(_of(meet, "jury", f"{path}/reopen", document), method="POST", etag='"v6"')


def a_round(meet: MeetAtHand) -> Sending:
    event = _an_event_with_a_tie(meet)
    document = {"event": event, "round": "heats", "points": ["5", "3.5"]}
    return _of(meet, "organiser", f"rounds/{new_id()}", document)


def lots(meet: MeetAtHand) -> Sending:
    event, address = _an_event_with_a_tie(meet), f"rounds/{new_id()}"
    leads_on = {"next_round": "final", "by_place": 0, "by_time": 1, "lanes": 1}
    put = meet.organiser.put(address, {"event": event, "round": "heats", **leads_on})
    assert put.status_code == 201, put.text
    heat = next(heat for heat in all_heats(meet) if heat["event"] == event)
    finish = b"lane,time\n3,42.100\n4,42.100\n"
    assert meet.desk.put(f"heats/{heat['id']}/result", content=finish).status_code == 201
    document = {
        "drawn": [lane["team"] for lane in heat["lanes"]],
        "drawn_by": "Finn Compass",
        "drawn_at": "2026-06-13T15:02:00Z",
        "pin": PIN,
    }
    return _of(meet, "results", f"{address}/lots/{new_id()}", document)


def _an_event_with_a_tie(meet: MeetAtHand) -> str:
    name = f"Women 4x100 m {new_id()}"
    rows = f"event,round,heat,lane,team\n{name},heats,1,3,Tern\n{name},heats,1,4,Gull\n"
    assert meet.organiser.post("start-lists", content=rows).status_code == 200
    return next(str(heat["event"]) for heat in all_heats(meet) if heat["event_name"] == name)


def a_time_correction(meet: MeetAtHand) -> Sending:
    announced = an_announcement(meet)
    told = _done(meet, announced).json()
    at = datetime.fromisoformat(told["announced_at"]) + timedelta(microseconds=1)
    document = {"announced_at": at.isoformat(), "reasons": "Typed wrongly.", "pin": PIN}
    path = f"announcements/{told['id']}/time-corrections/{new_id()}"
    return _of(meet, "results", path, document)


def a_corrected_protest(meet: MeetAtHand) -> Sending:
    return _lodged_earlier(meet, _a_protest(meet))


def a_corrected_appeal(meet: MeetAtHand) -> Sending:
    return _lodged_earlier(meet, _an_appeal(meet))


def _lodged_earlier(meet: MeetAtHand, path: str) -> Sending:
    document = _earlier(meet.desk.get(path).json(), "lodged_at")
    return _of(meet, "results", f"{path}/time-corrections/{new_id()}", document)


def _earlier(told: Json, field: str) -> Json:
    """A little before it was taken in, and after what it is about."""
    at = datetime.fromisoformat(told[field]) - timedelta(microseconds=1)
    return {field: at.isoformat(), "reasons": "Typed wrongly.", "pin": PIN}


def a_corrected_advice(meet: MeetAtHand) -> Sending:
    advice = an_advice(meet)
    _done(meet, advice)
    path = f"{advice.path.split(f'{meet.id}/', 1)[1]}/time-corrections/{new_id()}"
    later = meet.service.clock.now().isoformat()
    document = {"advised_at": later, "reasons": "Typed wrongly.", "pin": PIN}
    return _of(meet, "results", path, document)


def a_corrected_deposit(meet: MeetAtHand) -> Sending:
    lodged = _an_appeal(meet)
    document = _earlier(meet.desk.get(lodged).json()["deposit"], "received_at")
    return _of(meet, "results", f"{lodged}/deposit/time-corrections/{new_id()}", document)


def a_corrected_receipt(meet: MeetAtHand) -> Sending:
    path = f"{_an_appeal(meet)}/deposit/receipt-corrections/{new_id()}"
    document = {"receipt": f"R-{new_id()}", "reasons": "Typed wrongly.", "pin": PIN}
    return _of(meet, "results", path, document)


def a_corrected_end(meet: MeetAtHand) -> Sending:
    _done(meet, an_end(meet))
    document = _earlier(meet.referee.get("end").json(), "ended_at")
    return _of(meet, "referee", f"end/time-corrections/{new_id()}", document)


def an_end(meet: MeetAtHand) -> Sending:
    return _of(meet, "referee", "end", {"pin": PIN})


def a_look_at_what_is_sought(meet: MeetAtHand) -> Sending:
    sent = _of(meet, "jury", f"{_an_appeal(meet)}/consequences", {"orders": []})
    return replace(sent, method="POST")


def a_heat_not_held(meet: MeetAtHand) -> Sending:
    event = _an_event_with_a_tie(meet)
    heat = next(heat for heat in all_heats(meet) if heat["event"] == event)
    document = {"reasons": "Scratched.", "despite": None}
    sent = _of(meet, "organiser", f"heats/{heat['id']}/not-held", document)
    return replace(sent, method="POST", etag='"v1"')


def a_heat_pointed_at(meet: MeetAtHand) -> Sending:
    event = _an_event_with_a_tie(meet)
    heat = next(heat for heat in all_heats(meet) if heat["event"] == event)
    return _of(meet, "referee", "heat-now", {"heat": heat["id"]})


def a_rehearsal(meet: MeetAtHand) -> Sending:
    for one in meet.organiser.get("rehearsals").json()["rehearsals"]:
        meet.organiser.post(f"rehearsals/{one['id']}/end")
    document = {"relay": "4x100"}
    return _of(meet, "organiser", f"rehearsals/{new_id()}", document)


def a_start_list_file(meet: MeetAtHand) -> Sending:
    rows = f"event,round,heat,lane,team\nMen 4x100 m {new_id()},final,1,4,Tern\n"
    sent = _of(meet, "organiser", "start-lists", rows.encode())
    return replace(sent, method="POST", largest=LARGE)


def an_officials_list_file(meet: MeetAtHand) -> Sending:
    rows = f"name,roles\nOfficial {new_id()},umpire\n"
    sent = _of(meet, "organiser", "officials-list", rows.encode())
    return replace(sent, method="POST", largest=LARGE)


def a_crew_list_file(meet: MeetAtHand) -> Sending:
    seen = meet.organiser.get("crew")
    posts = seen.json()["posts"]  # none, once another list has taken them away
    name = posts[0]["official_name"] if posts else meet.umpire.name
    rows = f"official,take_over,edge,lanes\n{name},{next(_take_overs)},end,1-4\n"
    sent = _of(meet, "organiser", "crew-list", rows.encode())
    return replace(sent, method="POST", etag=seen.headers["ETag"], largest=LARGE)


def a_survey_list_file(meet: MeetAtHand) -> Sending:
    rows = "relay,take_over,lane,line,measured_from,measured_m\n"
    rows += f"4x100,3,1,end,end of the second bend,{5.6 + next(_millimetres) / 1000:.3f}\n"
    sent = _of(meet, "organiser", "survey-list", rows.encode())
    return replace(sent, method="POST", largest=LARGE)


def a_finish_list_file(meet: MeetAtHand) -> Sending:
    rows = [f"{lane['lane']},42.{lane['lane']}1" for lane in meet.heats[0]["lanes"]]
    content = "\n".join(["lane,time", *rows]).encode()
    seen = meet.desk.get(f"heats/{meet.heat()}/result").headers.get("ETag")
    sent = _of(meet, "results", f"heats/{meet.heat()}/result", content)
    return replace(sent, etag=seen, largest=MIDDLE)


def a_picture_file(meet: MeetAtHand) -> Sending:
    address = f"reports/{meet.report(lane=next(_lanes))['id']}/pictures/{new_id()}"
    sent = _of(meet, "umpire", address, saved(drawn(), "JPEG"))
    return replace(sent, largest=LARGEST_PICTURE)


def _of(meet: MeetAtHand, who: str, path: str, body: Json | bytes) -> Sending:
    return Sending("PUT", f"/api/meets/{meet.id}/{path}", meet[who].token, body)


DOCUMENTS: dict[str, Build] = {
    "meet": a_setup,
    "official": an_official,
    "badges": badges,
    "cards with codes": cards_with_codes,
    "look": a_look,
    "joining": a_joining,
    "crew": a_crew,
    "crew wishes": crew_wishes,
    "search for a crew plan": a_search,
    "measured zone": a_measured_zone,
    "heat not held": a_heat_not_held,
    "heat now": a_heat_pointed_at,
    "rehearsal": a_rehearsal,
    "call": a_flag,
    "report": an_account,
    "return": a_question,
    "withdraw": a_withdrawal,
    "ruling": a_decision,
    "announcement": an_announcement,
    "protest": a_lodged_protest,
    "decision on a protest": a_protest_decided,
    "advice": an_advice,
    "protest taken back": a_protest_taken_back,
    "look at orders": a_look_at_orders,
    "appeal": a_lodged_appeal,
    "look at what is sought": a_look_at_what_is_sought,
    "deposit": a_deposit,
    "admission": an_admission,
    "appeal taken back": an_appeal_taken_back,
    "panel": a_named_panel,
    "member who withdraws": a_member_who_withdraws,
    "vote": a_vote,
    "decision of the jury": a_jury_decision,
    "decision signed": a_signed_decision,
    "key": a_phone_key,
    "key revoked": a_key_revoked,
    "key of somebody revoked": a_key_of_somebody_revoked,
    "reopening": a_reopening,
    "round": a_round,
    "lots": lots,
    "time correction": a_time_correction,
    "corrected protest": a_corrected_protest,
    "corrected appeal": a_corrected_appeal,
    "corrected advice": a_corrected_advice,
    "corrected deposit": a_corrected_deposit,
    "corrected receipt": a_corrected_receipt,
    "end": an_end,
    "corrected end": a_corrected_end,
}
FILES: dict[str, Build] = {
    "start list": a_start_list_file,
    "list of officials": an_officials_list_file,
    "crew list": a_crew_list_file,
    "list of people": a_people_list_file,
    "crew template": a_template_file,
    "measured lines": a_survey_list_file,
    "finish list": a_finish_list_file,
}
SENDINGS: dict[str, Build] = {**DOCUMENTS, **FILES, "picture": a_picture_file}
