"""A meet in which everything was done that can be done, with a mark in every text."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import select

from app.access.who_may import WHO_MAY
from app.cli import main
from app.ids import MeetId, new_id
from app.schema import all_tables
from app.store.action import Actor, Deed, Done, Unit
from tests.builders import PIN, ROLES, MeetAtHand, Person, a_meet, founder
from tests.conftest import NewDatabase
from tests.erasing.marking import Marking
from tests.pictures.photographs import a_photograph
from tests.running import Service, a_service
from tests.sendings import SENDINGS, Sending, let_search_end

BECAUSE, BY = "kept long enough", "the games committee"
STAYING = ("meets: /name", "meets: /venue", "rounds: /next_round", "rounds: /round")
"""Fields that tell of no person."""
TOO_LATE = timedelta(minutes=40)
"""The protest window of the edition is 30 minutes (TR8.2)."""


def _heard_late(meet: MeetAtHand) -> Sending:
    """The decision on a protest that came too late and is heard."""
    meet.service.clock.move(TOO_LATE)
    team = meet.heats[1]["lanes"][3]["team"]
    late = SENDINGS["protest"](meet).changed(heat=meet.heat(1), team=team)
    assert late.send(meet.service.http).status_code == 201
    document = {"verdict": "upheld", "reasons": "The desk was closed.", "pin": PIN}
    words = {"heard_because": "It was closed.", "done_already": "The desk has put it right."}
    bearer = meet.referee.token
    return Sending("PUT", f"{late.path}/decision", bearer, {**document, **words}, etag='"v1"')


MORE: dict[str, Callable[[MeetAtHand], Sending]] = {
    "reason for taking back": lambda meet: SENDINGS["protest taken back"](meet).changed(
        reason="The video is clear."
    ),
    "reason for taking an appeal back": lambda meet: SENDINGS["appeal taken back"](meet).changed(
        reason="The referee hears us."
    ),
    "found done": lambda meet: SENDINGS["decision on a protest"](meet).changed(
        verdict="upheld", done_already="The desk has put it right."
    ),
    "how an announcement was known": lambda meet: SENDINGS["time correction"](meet).changed(
        remark="It was read aloud."
    ),
    "how an advice was known": lambda meet: SENDINGS["corrected advice"](meet).changed(
        remark="They signed for it."
    ),
    "how the end was known": lambda meet: SENDINGS["corrected end"](meet).changed(
        remark="It was read aloud."
    ),
    "heard late": _heard_late,
}


@dataclass
class Played:
    """The meet, its service, its marks, and what of it anybody could read before."""

    meet: MeetAtHand
    marks: dict[str, str]
    elsewhere: dict[str, str]
    before: dict[str, Any]
    answered: dict[str, int]

    @property
    def service(self) -> Service:
        return self.meet.service

    @property
    def erased_marks(self) -> dict[str, str]:
        """The marks that tell of people."""
        return {mark: name for mark, name in self.marks.items() if name not in STAYING}


def played(service: Service) -> Played:
    """Play it, all over HTTP but what officials of these tests do to join."""
    marking = Marking()
    service.http.close()
    service.http = httpx.Client(base_url=service.address, transport=marking, timeout=30)
    meet = a_meet(service)
    marking.meet = meet.id
    _rename_everybody(meet)
    _load_runners(meet, marking)
    meet.start(0)
    for name, build in {**SENDINGS, **MORE}.items():
        answer = build(meet).send(service.http)
        assert answer.is_success, (name, answer.text)
    let_search_end(meet)
    _add_photograph(meet)
    _seal_and_sign(meet, marking)
    marking.is_on = False
    answered = {
        address: answer.status_code for address, answer in answers(service, meet.id, meet.people)
    }
    return Played(meet, marking.marks, marking.elsewhere, dict(_public(meet)), answered)


def _rename_everybody(meet: MeetAtHand) -> None:
    for person in list(meet.people.values()):
        address = f"officials/{person.id}"
        seen = meet.organiser.get(address)
        roles = seen.json()["roles"]
        document = {"name": f"Person {person.name}", "affiliation": "Far Club", "roles": roles}
        changed = meet.organiser.put(address, document, etag=seen.headers["ETag"])
        assert changed.status_code == 200, changed.text


def _load_runners(meet: MeetAtHand, marking: Marking) -> None:
    legs = [marking.new_mark(f"start list: leg{leg}") for leg in range(1, 5)]
    rows = (
        "event,round,heat,lane,team,leg1,leg2,leg3,leg4",
        *(f"Men 4x100 m,heats,1,{lane},Runners {lane},{','.join(legs)}" for lane in (3, 4)),
    )
    loaded = meet.organiser.post("start-lists", content="\n".join(rows).encode())
    assert loaded.status_code == 200, loaded.text


def _add_photograph(meet: MeetAtHand) -> None:
    report = meet.report(lane=4)["id"]
    sent = meet.umpire.put(f"reports/{report}/pictures/{new_id()}", content=a_photograph())
    assert sent.status_code == 201, sent.text


def _seal_and_sign(meet: MeetAtHand, marking: Marking) -> None:
    """What devices sign with, and papers that were sealed, as rows: whatever makes them."""
    tables, now = all_tables().tables, meet.service.clock.now()
    official, seal, key = meet.referee.id, new_id(), new_id()
    mark = marking.new_mark
    same = {"meet_id": meet.id, "official_id": official}
    rows = {
        "seals": {"id": seal, "number": 0, "certificates": "PEM", "made_at": now}
        | {"fingerprint": new_id(), "verifier_key": "key"},
        "papers": {"id": new_id(), "kind": "form", "subject": new_id(), "sheet": "A4"}
        | {"edition": 1, "facts_sha256": "", "facts": {"reasons": mark("paper: facts")}}
        | {"content": mark("paper: content").encode(), "sha256": "", "seal_id": seal}
        | {"head_size": 1, "sealed_at": now},
        "device_keys": {"id": key, "kind": "passkey", "public_key": "PEM", **same}
        | {"credential": mark("key: credential"), "device": mark("key: device"), "sign_count": 0}
        | {"registered_at": now, "content": mark("key: content")}
        | {"session_id": _a_session(meet)},
        "signatures": {"id": new_id(), "act": "ruling", "subject": new_id(), "strength": "PIN"}
        | {"statement": f'{{"reasons": "{mark("signature: statement")}"}}', **same}
        | {"statement_sha256": "", "key_id": key, "signed_at": now},
    }

    def act(unit: Unit) -> Done[None]:
        for name, row in rows.items():
            unit.conn.execute(tables[name].insert().values({"meet_id": meet.id, **row}))
        told = {"key": key, "official": official, "device": mark("key registered: device")}
        return Done(None, Deed("key registered", key, told))

    meet.service.store.act_now(MeetId(meet.id), Actor(official), act)


def _a_session(meet: MeetAtHand) -> str:
    sessions = all_tables().tables["sessions"]
    mine = select(sessions.c.id).where(sessions.c.official_id == meet.referee.id)
    return str(meet.service.store.read_now(lambda conn: conn.execute(mine).scalars().first()))


def _public(meet: MeetAtHand) -> Iterator[tuple[str, Any]]:
    """What anybody reads of results."""
    for path in ("announcements", "heats", "scores", "windows.json"):
        yield path, meet.service.http.get(f"/api/meets/{meet.id}/{path}").json()


GETS = sorted(
    path
    for method, path in WHO_MAY
    if method == "GET" and "{meet}" in path and not path.endswith("/feed")
)


def answers(
    service: Service, meet: str, people: Mapping[str, Person]
) -> Iterator[tuple[str, httpx.Response]]:
    """What every page and paper of a meet answers to somebody who may read it, by its address."""
    for template in GETS:
        who = WHO_MAY["GET", template].roles or {"referee"}
        for address in addresses(service, meet, template):
            yield address, people[str(min(who))].get(address)


def addresses(service: Service, meet: str, template: str) -> Iterator[str]:
    """The addresses of a route: of each thing that the meet has, up to six of a kind."""
    parts = re.findall(r"{(\w+)}", template)
    if parts[1:] == ["report", "picture"]:
        for row in rows_of(service, meet, "pictures"):
            yield template.format(meet=meet, report=row.report_id, picture=row.id)
    elif parts[1:] == ["relay", "take_over"]:
        yield template.format(meet=meet, relay="4x100", take_over=2)
    elif parts[1:] == ["search"]:
        for row in rows_of(service, meet, "crew_searches"):
            yield template.format(meet=meet, search=row.id)
    elif len(parts) == 1:
        yield template.format(meet=meet)
    else:
        for row in rows_of(service, meet, f"{parts[1]}s")[-6:]:
            yield template.format(meet=meet, **{parts[1]: row.id})


def rows_of(service: Service, meet: str, table: str) -> list[Any]:
    """The rows of a meet in a table."""
    of = all_tables().tables[table]
    asked = select(of).where(of.c.meet_id == meet).order_by(of.c.id)
    return list(service.store.read_now(lambda conn: conn.execute(asked).all()))


def erase(service: Service, *arguments: str) -> int:
    """The command, on the service's database."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("DATABASE_URL", service.database_url)
        return main(["erase", *arguments])


@contextmanager
def afterwards(played_meet: Played) -> Iterator[Played]:
    """The service that runs after an erasure: a new one on SQLite, the same one on PostgreSQL."""
    if not played_meet.service.store.engines.is_sqlite:
        yield played_meet
        return
    with a_service(played_meet.service.database_url) as service:
        service.clock.move(TOO_LATE)
        yield replace(played_meet, meet=replace(played_meet.meet, service=service))


@contextmanager
def a_stopped_service(new_database: NewDatabase, engine: str) -> Iterator[Played]:
    """A played meet. On SQLite its service has been stopped, as the command asks for."""
    url = new_database(engine)
    with a_service(url) as service:
        story = played(service)
        if engine != "sqlite":
            yield story
            return
    yield story


def let_in(story: Played) -> dict[str, Person]:
    """Somebody of each role, let in with the setup key after the erasure."""
    return {name: _joined(story, name) for name in ROLES}


def _joined(story: Played, name: str) -> Person:
    http, person = story.service.http, story.meet[name]
    address = f"/api/meets/{story.meet.id}/officials/{person.id}/join-links/{new_id()}"
    link = http.put(address, headers=founder(story.service))
    assert link.status_code == 201, link.text
    document = {"token": link.json()["token"], "session": new_id(), "pin": PIN}
    joined = http.post("/api/join", json=document)
    assert joined.is_success, joined.text
    return Person(person.id, name, joined.json()["token"], http, story.meet.id)


def files_of(url: str) -> Iterator[Path]:
    """A SQLite database's files."""
    path = Path(url.removeprefix("sqlite:///"))
    yield from sorted(path.parent.glob(f"{path.name}*"))
