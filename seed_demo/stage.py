"""The invented meet in a store, and which ids its people, posts, heats and reports have there.

The story names all of them by short keys; the stage remembers, and acts and reads on behalf of
those people. How the meet comes about is left to `setting_up.py`, what they do to `deeds.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import TypeVar
from zoneinfo import ZoneInfo

from app.access.pen import Pen
from app.access.queries import Caller
from app.crew_search.task import Asked
from app.ids import (
    AnnouncementId,
    AppealId,
    DecisionId,
    HeatId,
    MeetId,
    OfficialId,
    PostId,
    ProtestId,
    ReportId,
    RulingId,
    SessionId,
    new_id,
)
from app.meets.queries import heats_page
from app.meets.start_lists import load
from app.meets.wire import HeatOut, StartListsOut
from app.refusals import FileRefused
from app.roles import Role
from app.sealing.seals import Seals
from app.sheets.start_list import read_start_list
from app.store.action import Action, Actor
from app.store.store import Query, Store
from app.wire import PhoneClock
from seed_demo.files import MeetFiles, read_bytes
from seed_demo.story import HeatName, Story
from seed_demo.story_clock import StoryClock, Timetable

Result = TypeVar("Result")

PHONE_ERROR_MS = 45
ON_THE_WAY = timedelta(milliseconds=400)
"""From a tap on the phone to the server, on a good line."""


@dataclass(frozen=True, slots=True)
class Person:
    """An official of the meet who acts in the story."""

    id: OfficialId
    name: str
    roles: frozenset[Role]
    phone_ms: int
    session_id: SessionId


@dataclass(frozen=True, slots=True)
class Ruled:
    """A ruling whose form is wanted."""

    id: RulingId
    heat: str
    lane: int | None


@dataclass(frozen=True, slots=True)
class Announced:
    """An announcement whose papers are wanted."""

    id: AnnouncementId
    heat: str
    number: int


@dataclass(frozen=True, slots=True)
class Decided:
    """A decision of the referee or of the jury whose paper is wanted."""

    id: DecisionId
    instance: str
    heat: str
    lane: int | None


@dataclass(slots=True)
class Stage:
    """A meet in a store, and what the story's keys mean there."""

    store: Store
    seals: Seals
    clock: StoryClock
    timetable: Timetable
    files: MeetFiles
    story: Story
    meet_id: MeetId = field(default_factory=lambda: MeetId(new_id()))
    people: dict[str, Person] = field(default_factory=dict)
    posts: dict[str, PostId] = field(default_factory=dict)
    heats: dict[str, HeatId] = field(default_factory=dict)
    reports: dict[str, ReportId] = field(default_factory=dict)
    rulings: list[Ruled] = field(default_factory=list)
    announcements: list[Announced] = field(default_factory=list)
    rounds: dict[str, HeatId] = field(default_factory=dict)
    protests: dict[str, ProtestId] = field(default_factory=dict)
    appeals: dict[str, AppealId] = field(default_factory=dict)
    decisions: list[Decided] = field(default_factory=list)
    asked: Asked | None = None

    def act(self, by: str, action: Action[Result]) -> Result:
        """An official does something."""
        person = self.people[by]
        return self.store.act_now(self.meet_id, Actor(person.id, person.roles), action)

    def read(self, query: Query[Result]) -> Result:
        """Look something up."""
        return self.store.read_now(query)

    def pen(self, by: str) -> Pen:
        """What somebody signs with, once their PIN was confirmed."""
        return Pen(self.caller(by))

    def caller(self, by: str) -> Caller:
        """An official as the actions know whoever sent a request."""
        person = self.people[by]
        return Caller(person.id, self.meet_id, person.session_id, person.roles)

    def phone_clock(self, by: str) -> PhoneClock:
        """What an official's phone says of the time: its own clock, and its measured offset."""
        offset = self.people[by].phone_ms
        at = self.clock.now() - ON_THE_WAY - timedelta(milliseconds=offset)
        return PhoneClock(at=at, offset_ms=offset, error_ms=PHONE_ERROR_MS)

    def heat_key(self, heat_id: HeatId) -> str:
        """What the story calls a heat."""
        return next(key for key, known in self.heats.items() if known == heat_id)

    def local_day(self, instant: datetime) -> date:
        """The day of an instant in the meet's own zone."""
        return instant.astimezone(ZoneInfo(self.files.time_zone)).date()

    def load_start_list(self, by: str, file: str) -> StartListsOut:
        """Load a start list, its times moved to the story's; remember the ids of its heats."""
        text = read_bytes(file).decode("utf-8")
        content = self.timetable.move_programme(text, self.files.time_zone).encode()
        start_list, problems = read_start_list(content)
        if problems:
            raise FileRefused("start list", problems)
        loaded = self.act(by, load(start_list, content))
        names = {heat_name: key for key, heat_name in self.story.heats.items()}
        for heat in self._heats():
            named = HeatName(event=heat.event_name, round=heat.round, number=heat.number)
            self.heats[names[named]] = heat.id
        return loaded

    def _heats(self) -> Iterator[HeatOut]:
        yield from self.read(lambda conn: heats_page(conn, self.meet_id, 0)).heats
