"""What stands around every page of a meet: its name, who is looking, and where they may go."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from app.access.guard import Admitted
from app.access.queries import Caller
from app.access.who_may import SECRETARY
from app.appeals.queries import is_secretary
from app.ids import MeetId
from app.meets import queries as meets
from app.meets.wire import MeetOut
from app.roles import Role


@dataclass(frozen=True, slots=True)
class _Work:
    """The page that a place opens with, and who works there; of `everybody`, also those outside."""

    page: str
    roles: frozenset[Role] = frozenset()
    everybody: bool = False


PLACES = {
    "head": _Work("/meets/{meet}/head", frozenset({Role.REFEREE, Role.CHIEF_UMPIRE})),
    "desk": _Work(
        "/meets/{meet}/desk", frozenset({Role.RESULTS, Role.REFEREE, Role.ORGANISER, Role.JURY})
    ),
    "jury": _Work("/meets/{meet}/jury", frozenset({Role.JURY, Role.REFEREE, Role.RESULTS})),
    "organiser": _Work("/meets/{meet}/organiser", frozenset({Role.ORGANISER})),
    "crew": _Work("/meets/{meet}/organiser/crew", frozenset({Role.CHIEF_UMPIRE})),
    "zone": _Work("/meets/{meet}/zone", frozenset({Role.UMPIRE, Role.CHIEF_UMPIRE, Role.REFEREE})),
    "meet report": _Work(
        "/meets/{meet}/meet-report", frozenset({Role.UMPIRE, Role.CHIEF_UMPIRE, Role.REFEREE})
    ),
    "board": _Work("/meets/{meet}", everybody=True),
}
"""The places of a meet. More may look into some of them (`WHO_OPENS`) than have work there; who has
none is not led there.
"""

WORKS_AT = {
    Role.REFEREE: "head",
    Role.CHIEF_UMPIRE: "head",
    Role.RESULTS: "desk",
    Role.JURY: "jury",
    Role.ORGANISER: "organiser",
    Role.UMPIRE: "zone",
}
"""Where somebody works first who may look into several places; of several roles the first here."""


@dataclass(frozen=True, slots=True)
class Place:
    """A place that whoever looks may open."""

    name: str
    address: str


@dataclass(frozen=True, slots=True)
class Frame:
    """The meet, the time by the server, who looks (nobody on public pages), and their places."""

    meet: MeetOut
    now: datetime
    who: Caller | None
    places: tuple[Place, ...]

    @property
    def first(self) -> Place:
        """The place where whoever looks works first."""
        roles = self.who.roles if self.who is not None else frozenset[Role]()
        by_name = {place.name: place for place in self.places}
        own = [by_name[at] for role, at in WORKS_AT.items() if role in roles and at in by_name]
        return own[0] if own else self.places[0]


async def frame_of(here: Admitted, meet_id: MeetId) -> Frame:
    """The frame of a page of this meet; NotFound where there is no such meet."""
    who = here.sender

    def look(conn: Connection) -> Frame:
        meet = meets.meet(conn, meet_id)
        return Frame(meet, here.clock.now(), who, tuple(_places(conn, meet_id, who)))

    return await here.store.read(look)


def _places(conn: Connection, meet_id: MeetId, who: Caller | None) -> Iterator[Place]:
    roles = who.roles if who is not None else frozenset[Role]()
    for name, work in PLACES.items():
        if name == "crew" and Role.ORGANISER in roles:
            continue  # the organiser's own pages lead there
        signs = name == "jury" and who is not None and _is_secretary(conn, meet_id, who)
        if work.everybody or roles & work.roles or signs:
            yield Place(name, work.page.replace("{meet}", meet_id))


def _is_secretary(conn: Connection, meet_id: MeetId, who: Caller) -> bool:
    """Whether an official whose only work with the jury can be to sign as a secretary has that."""
    if who.roles & PLACES["jury"].roles or not who.roles & SECRETARY.roles:
        return False
    return is_secretary(conn, meet_id, who.official_id)
