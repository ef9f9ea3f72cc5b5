"""A meet in which everything was done, those who ask it something, and the ids of all in it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Table, select

from app.access.who_may import WHO_MAY
from app.ids import MeetId
from app.problems import PROBLEMS
from app.rules.relay import TAKE_OVERS, Relay
from app.schema import all_tables
from app.store.action import Actor
from tests.builders import ROLES, MeetAtHand, a_meet, add_official
from tests.fuzz.bare import BARE, SPARE
from tests.people import join
from tests.running import SETUP_KEY, Service
from tests.sendings import DOCUMENTS, SENDINGS, Sending, searches_of

CALLERS = (*ROLES, "setup key", "nobody")
IN_DOCUMENTS = {"event", "team", "post"}
TABLES = {
    "correction": ("time_corrections", "corrections"),
    "link": ("join_links",),
    "key": ("device_keys",),
    "lots": ("lots",),
}
"""Where the things of a path are kept, where not in a table of their own name."""
BUILDS = {**SENDINGS, **BARE}
PARAMETER = re.compile(r"{(\w+)}")


@dataclass
class Played:
    """The meet, the good requests that wait for it, and what is in it."""

    meet: MeetAtHand
    ready: list[tuple[str, Sending]]
    ids: dict[str, Sequence[str]]
    pictures: dict[str, str]

    @property
    def service(self) -> Service:
        return self.meet.service

    def token(self, caller: str) -> str | None:
        """What a caller shows."""
        if caller in {"nobody", "setup key"}:
            return SETUP_KEY if caller == "setup key" else None
        return self.meet[caller].token

    def let_in_again(self) -> None:
        """Whoever has left joins once more."""
        issuer = Actor(self.meet.organiser.id, frozenset({"organiser"}))
        for person in (self.meet[role] for role in ROLES):
            if person.get("/api/me").status_code == 401:
                joining = join(self.service.store, MeetId(self.meet.id), issuer, person.id)
                person.token = self.service.do(joining)


def played(service: Service) -> Played:
    """Play it: whatever can be sent has been, and is ready to be sent once more."""
    meet = a_meet(service)
    for name in SPARE:
        add_official(meet, name, "umpire")
    meet.start()
    for name, build in BUILDS.items():
        answer = build(meet).send(service.http)
        assert answer.is_success, (name, answer.text)
    (ruling, *_) = _rows(meet, all_tables().tables["rulings"])
    assert meet.referee.get(f"rulings/{ruling.id}/form.pdf").status_code == 200, "it is sealed"
    searched = searches_of(meet.id)
    ready = [(whose(meet, sending), sending) for sending in _prepared(meet)]
    ids = {**dict(_ids(meet)), "official": [meet[name].id for name in SPARE]}
    ids["rehearsal"] = [one["id"] for one in meet.organiser.get("rehearsals").json()["rehearsals"]]
    ids |= {"search": searched}
    ids |= {"relay": list(Relay), "take_over": [str(number) for number in TAKE_OVERS]}
    ids["slug"] = sorted({kind.slug for kind in PROBLEMS.values()})
    return Played(meet, ready, ids, dict(_reports_of_pictures(meet)))


def _prepared(meet: MeetAtHand) -> Iterator[Sending]:
    for build in DOCUMENTS.values():
        yield build(meet)


def whose(meet: MeetAtHand, sending: Sending) -> str:
    """The caller who sends this."""
    if sending.token in {"", SETUP_KEY}:
        return "setup key" if sending.token else "nobody"
    return next(name for name, one in meet.people.items() if one.token == sending.token)


def _ids(meet: MeetAtHand) -> Iterator[tuple[str, Sequence[str]]]:
    """The ids of all things that a path or a document names, by the name that they have there."""
    named = {name for _, path in WHO_MAY for name in PARAMETER.findall(path)}
    tables = all_tables().tables
    for name in named | IN_DOCUMENTS:
        kept = [tables[one] for one in TABLES.get(name, (f"{name}s",)) if one in tables]
        yield name, [row.id for table in kept for row in _rows(meet, table)]
    yield "meet", [meet.id]


def _reports_of_pictures(meet: MeetAtHand) -> Iterator[tuple[str, str]]:
    for row in _rows(meet, all_tables().tables["pictures"]):
        yield row.id, row.report_id


def _rows(meet: MeetAtHand, table: Table) -> Sequence[Any]:
    if "meet_id" not in table.c:
        return []
    asked = select(table).where(table.c.meet_id == meet.id).order_by(table.c.id)
    return meet.service.store.read_now(lambda conn: conn.execute(asked).all())
