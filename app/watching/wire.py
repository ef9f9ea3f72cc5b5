"""What an umpire's phone shows, as it goes over HTTP."""

from __future__ import annotations

from datetime import date, datetime

from pydantic import Field

from app.ids import CallId, HeatId, MeetId, OfficialId, PostId, ReportId, TeamId
from app.meets.states import HeatState
from app.reports.states import ReportState
from app.reports.wire import Flag
from app.roles import Role
from app.rules.observation import Infringement
from app.rules.relay import Edge, Relay, Side
from app.rules.seen_from import Asked
from app.wire import Wire


class WatcherOut(Wire):
    """Whose phone it is."""

    id: OfficialId
    name: str
    roles: list[Role]


class WatchedMeetOut(Wire):
    """The meet, as far as a phone shows it."""

    id: MeetId
    name: str
    time_zone: str
    edition: str
    first_day: date
    last_day: date


class WatchedPostOut(Wire):
    """A post of the caller's own, by the crew plan in force."""

    id: PostId
    take_over: int
    edge: Edge
    lanes: list[int]
    side: Side
    relays: list[Relay] = Field(description="empty means every relay of the meet")
    heats: list[HeatId] = Field(description="empty means every heat of its relays")
    words: str = Field(description="as people name it: take-over 2, end, lanes 3–4, outside")


class ZoneOut(Wire):
    """The measures of a zone by the meet's rule book, in metres along the direction of running."""

    relay: Relay
    take_over: int
    length_m: float
    leg_line_m: float = Field(description="from the start of the zone to the line that ends a leg")
    acceleration_m: float = Field(
        description="the acceleration zone, which ends where the zone starts; 0 where there is none"
    )
    rule: str


class QuestionOut(Wire):
    """A fact of a report that is answered `yes`, `no` or `unsure`, and how to ask for it."""

    fact: str
    words: str


class SightOut(Wire):
    """What can be reported, and what is asked about it first."""

    seen: Infringement
    title: str
    rule: str = Field(description="by which the meet's rule book forbids it")
    edges: list[Edge] = Field(description="from which it can be seen")
    position: Asked = Field(description="the position that tells most: `baton` or `foot`")
    questions: list[QuestionOut] = Field(
        description="where no position is asked for; one that decides alone is the only one"
    )


class WatchedLaneOut(Wire):
    """Who runs in a lane."""

    lane: int
    team: TeamId
    name: str
    affiliation: str
    bib: str


class WatchedHeatOut(Wire):
    """A heat as a phone shows it."""

    id: HeatId
    event_name: str
    relay: Relay
    round: str
    number: int
    scheduled: str | None
    state: HeatState = Field(
        description="as far as anybody has brought it: that a result is final is not told apart "
        "here from that it is announced"
    )
    run: int
    rehearsal: bool
    lanes: list[WatchedLaneOut]


class OwnCallOut(Wire):
    """A flag that the caller has shown."""

    id: CallId
    heat: HeatId
    post: PostId
    flag: Flag
    lane: int | None
    report: ReportId | None
    received_at: datetime


class OwnReportOut(Wire):
    """A report of the caller's own, in short."""

    id: ReportId
    heat: HeatId
    post: PostId | None
    lane: int | None
    state: ReportState
    raised_at: datetime
    received_at: datetime | None = Field(description="null while only its flag has come")
    remark: str | None = Field(description="what the head official asks, of one that was returned")
    version: int


class WatchOut(Wire):
    """Everything that an umpire's phone shows."""

    official: WatcherOut
    meet: WatchedMeetOut
    posts: list[WatchedPostOut]
    zones: list[ZoneOut] = Field(description="of every relay on the programme, by take-over")
    sights: list[SightOut]
    now: HeatId | None = Field(description="as GET …/heat-now has it")
    next: HeatId | None
    heats: list[WatchedHeatOut] = Field(
        description="those that count, in the order of the programme: all, where they are 60 or "
        "fewer, else from ten before the one that is now to fifty after it; and the rehearsals "
        "that go on"
    )
    calls: list[OwnCallOut] = Field(description="in these heats, oldest first, 500 at most")
    reports: list[OwnReportOut] = Field(description="about these heats, oldest first, 500 at most")
    server_time: datetime
