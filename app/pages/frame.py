"""What stands around every page of a meet: its name, who is looking, and where they may go."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from app.access.guard import Admitted
from app.access.queries import Caller
from app.access.who_may import WHO_OPENS
from app.ids import MeetId
from app.meets import queries as meets
from app.meets.wire import MeetOut
from app.roles import Role

PLACES = {
    "head": "/meets/{meet}/head",
    "desk": "/meets/{meet}/desk",
    "jury": "/meets/{meet}/jury",
    "organiser": "/meets/{meet}/organiser",
    "zone": "/meets/{meet}/zone",
    "board": "/meets/{meet}",
}
"""The places of a meet, by the page that each opens with."""

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
    meet = await here.store.read(lambda conn: meets.meet(conn, meet_id))
    who = here.sender
    roles = who.roles if who is not None else frozenset[Role]()
    return Frame(meet, here.clock.now(), who, tuple(_places(meet_id, roles)))


def _places(meet_id: MeetId, roles: frozenset[Role]) -> Iterator[Place]:
    for name, template in PLACES.items():
        who = WHO_OPENS.get(("GET", template))
        if who is not None and (who.public or roles & who.roles):
            yield Place(name, template.replace("{meet}", meet_id))
