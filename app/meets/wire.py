"""Meets, heats and start lists as they go over HTTP."""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, Field, model_validator

from app.ids import ChosenId, EventId, HeatId, MeetId, TeamId
from app.meets.states import HeatState, present_run
from app.rules.relay import Relay
from app.rules.track import FOUR_BY_200_BENDS, NARROWEST_LANE_M, WIDEST_LANE_M
from app.sheets.problems import Problem
from app.wire import Day, Name, OptionalName, Reasons, Wire, shown

Metres = Annotated[float, Field(gt=0, le=200)]


_NO_ZONE = "this is no time zone name such as Europe/Paris"
_NOT_A_PLACE = frozenset({"right", "posix", "posixrules", "localtime", "Factory"})
"""What a machine's zone folder holds besides the zones: `right/…` counts leap seconds, so its hours
are 27 s off; the others repeat the zones, or mean the machine itself (tz database, Makefile)."""


def _known_zone(name: str) -> str:
    if name.partition("/")[0] in _NOT_A_PLACE:
        raise ValueError(_NO_ZONE)
    try:
        ZoneInfo(name)
    except (ValueError, OSError, KeyError) as error:
        raise ValueError(_NO_ZONE) from error
    return name


TimeZone = Annotated[str, AfterValidator(_known_zone), Field(max_length=60)]


def _bends_of_4x200(bends: int) -> int:
    if bends not in FOUR_BY_200_BENDS:
        raise ValueError("a 4x200 is run with 4, 3 or 1 bends in lanes")
    return bends


class TrackIn(Wire):
    """The meet's track of 400 m, or oval of 200 m. The default is the 400 m standard track."""

    radius_m: Metres = 36.50
    straight_m: Metres = 84.39
    lane_width_m: Annotated[float, Field(ge=NARROWEST_LANE_M, le=WIDEST_LANE_M)] = 1.22
    lanes: Annotated[int, Field(ge=1, le=10)] = 8
    kerb: bool = True
    four_by_200_bends: Annotated[
        int,
        AfterValidator(_bends_of_4x200),
        Field(strict=True, json_schema_extra={"enum": list(FOUR_BY_200_BENDS)}),
    ] = Field(
        default=4,
        description="how many bends of a 4x200 are run in lanes: all four, or three or one and "
        "then to the break line; it says where its zones lie",
    )


_CURRENCY = "^[A-Z]{3}$"


def _of_three_letters(currency: str) -> str:
    if not re.fullmatch(_CURRENCY, currency):
        raise ValueError("write the three letters of the currency, such as USD")
    return currency


class DepositIn(Wire):
    """What the meet asks an appellant to lay down."""

    amount: Annotated[int, Field(ge=1, le=999_999)]
    currency: Annotated[
        str,
        AfterValidator(_of_three_letters),
        Field(
            description="the three letters of ISO 4217, such as USD",
            json_schema_extra={"pattern": _CURRENCY},
        ),
    ]


class JuryTermsIn(Wire):
    """How the meet's jury of appeal decides.

    World Athletics CR12 (from memory) has 3, 5 or 7 members; how many must be there, and who
    decides a tie, no source that was found says: the meet sets both.
    """

    size: Literal[3, 5, 7] = 3
    quorum: Annotated[int, Field(ge=1, le=7)] | None = Field(
        default=None, description="how many must vote for a decision; left out, the whole panel"
    )
    chair_casts: bool = Field(
        default=False, description="whether the chair's vote decides where votes are equal"
    )

    @model_validator(mode="after")
    def _quorum_fits(self) -> JuryTermsIn:
        if self.quorum is not None and self.quorum > self.size:
            raise ValueError("the quorum is larger than the panel")
        return self


class TermsIn(Wire):
    """The meet's own settings where they depart from the edition.

    Minutes count where the edition's book lets a meet set them, and the window says so.
    """

    protest_minutes: Annotated[int, Field(ge=1, le=10_080)] | None = None
    protest_minutes_before_next_round: Annotated[int, Field(ge=1, le=10_080)] | None = Field(
        default=None,
        description="for results of a round from which teams go on to a next one; left out, the "
        "same as for all others",
    )
    appeal_minutes: Annotated[int, Field(ge=1, le=10_080)] | None = None
    appeal_deposit: DepositIn | None = Field(
        default=None, description="left out, the edition's own deposit, where it asks for one"
    )
    jury: JuryTermsIn = JuryTermsIn()
    chief_umpire_rules: bool = Field(
        default=False, description="whether the chief umpire may rule, as the referee may"
    )
    zone_tolerance_m: Annotated[float, Field(ge=0.005, le=0.5)] | None = Field(
        default=None,
        description="how far a line of a take-over zone may lie off along its lane, in metres; "
        "left out, as the edition sets it, where it does",
    )
    keep_days: Annotated[int, Field(ge=1, le=36_500)] | None = Field(
        default=None,
        description="after how many days from its end `erase --due` erases what the meet holds of "
        "people; left out, it is kept until somebody asks",
    )


class OrganiserIn(Wire):
    """The meet's first official, who names all others."""

    id: ChosenId
    name: Name


class MeetIn(Wire):
    """A meet as the organiser sets it up."""

    model_config = shown(
        {
            "name": "Harbour Relays",
            "venue": "Tidewater Stadium",
            "first_day": "2026-06-13",
            "last_day": "2026-06-14",
            "time_zone": "Europe/Paris",
            "edition": "world-athletics-2025",
            "track": {"radius_m": 36.5, "straight_m": 84.39, "lane_width_m": 1.22, "lanes": 8},
            "terms": {"protest_minutes": 15, "chief_umpire_rules": True},
            "organiser": {"id": "01890a5d-ac96-774b-bcce-b302099a8057", "name": "Ada Pilot"},
        }
    )

    name: Name
    venue: OptionalName = ""
    first_day: Day
    last_day: Day
    time_zone: TimeZone
    edition: Annotated[str, Field(max_length=60, examples=["world-athletics-2025"])]
    track: TrackIn = TrackIn()
    terms: TermsIn = TermsIn()
    organiser: OrganiserIn | None = Field(
        default=None,
        description="needed for a new meet; stays as it is, and may be left out, in a change",
    )

    @model_validator(mode="after")
    def _days_in_order(self) -> MeetIn:
        if not 2000 <= self.first_day.year <= self.last_day.year < 2100:
            raise ValueError("the meet's days lie outside the years 2000 to 2099")
        if self.last_day < self.first_day:
            raise ValueError("the last day lies before the first")
        if (self.last_day - self.first_day).days > 60:
            raise ValueError("a meet lasts at most 60 days")
        return self


class MeetOut(Wire):
    """A meet as anybody may see it."""

    id: MeetId
    name: str
    venue: str
    first_day: date
    last_day: date
    time_zone: str
    edition: str
    edition_title: str
    edition_note: str = Field(
        description="empty, or that the edition was not in force that day, or has no zones for the "
        "meet's track"
    )
    track: TrackIn
    track_note: str = Field(
        description="empty, or that the measures, stored all the same, make no lap of 400 or 200 m"
    )
    terms: TermsIn
    ended_at: datetime | None = Field(description="when the meet ended; null while it goes on")
    version: int


class MeetLine(Wire):
    """A meet as the list shows it."""

    id: MeetId
    name: str
    first_day: date
    last_day: date


class MeetsOut(Wire):
    """The server's meets, the one that was set up last first."""

    meets: list[MeetLine]
    next: str | None = Field(description="the next page's `before`")


class LaneOut(Wire):
    """One lane of a heat."""

    lane: int
    team: TeamId
    name: str
    affiliation: str
    bib: str
    legs: list[str]


class HeatOut(Wire):
    """A heat with its lanes."""

    id: HeatId
    event: EventId
    event_name: str
    relay: Relay
    round: str
    number: int
    scheduled: str | None
    state: HeatState
    started_at: datetime | None
    run: int = Field(description="how often the heat was started, recalled starts included")
    rehearsal: bool = Field(
        default=False, description="whether nothing that is done about it counts: it is a rehearsal"
    )
    lanes: list[LaneOut]
    does_not_count: str = Field(
        default="",
        description="why this heat is not started, or its result does not count: it is not held, "
        "or a decision called this re-run off. Empty for every other heat",
    )
    mind: list[str] = Field(
        default=[],
        description="what whoever starts this heat should know of its draw, a sentence each: teams "
        "that are drawn and not through, teams that are through and not drawn, or that it is not "
        "settled who goes on. While the heat is to come by what has been announced; in the answer "
        "to its start, which is never refused for it, by all that is known. Empty for other heats",
    )
    version: int

    @property
    def present_run(self) -> int:
        """The run that counts now."""
        return present_run(self.state, self.run)


class HeatsOut(Wire):
    """A page of heats, in the order of the programme; `next` is the next page's `after`."""

    heats: list[HeatOut]
    running: HeatId | None = Field(description="the heat that was started last and is not judged")
    next: int | None


class HeatNowIn(Wire):
    """Which heat the head official points at."""

    model_config = shown({"heat": "01890a5d-ac96-7e4e-9b0d-3c8f5a1d2b6f"})

    heat: ChosenId = Field(description="one that is to come, or running")


class HeatNowOut(Wire):
    """Which heat is now, and which is next; null where there is none."""

    now: HeatOut | None = Field(
        description="the heat that runs; else the one that the head official points at while it is "
        "to come; else the first to come after the one started last; else the first to come; and "
        "where none is to come, the one started last while its result is not announced"
    )
    next: HeatOut | None = Field(
        description="the heat pointed at where another is now; else the first to come after that "
        "in the programme; else the first to come"
    )


class NotHeldIn(Wire):
    """That a heat is not held, since its round has been drawn into fewer."""

    model_config = shown({"reasons": "Three teams were scratched; the round has two heats now."})

    reasons: Reasons = Field(description="why it is not held; they stand in the record")
    despite: Reasons | None = Field(
        default=None,
        description="the explicit word where somebody started the heat, showed a flag or loaded a "
        "finish list by mistake: why that was none of its own",
    )


class HoldBackIn(Wire):
    """That a heat is held back; most often there is nothing to say, and it is left out."""

    model_config = shown({}, {"despite": "The referee orders the race anew: the track was unsafe."})

    despite: Reasons | None = Field(
        default=None,
        description="the explicit word where the result of this run was announced, a protest or an "
        "appeal about it is open, or the jury has decided about it: why it is run again; it stands "
        "in the record",
    )


class StartListsOut(Wire):
    """What a start list holds, and what loading it does (or would do)."""

    stored: bool
    events: int
    heats: int
    teams: int
    lanes: int
    new_to_event: list[str] = Field(
        description="teams that no earlier list of their event names: look whether they are "
        "written otherwise than before, since a team counts under its name"
    )
    renamed: list[str] = Field(
        description="teams that are written otherwise than before: “TERN → Tern”. The first way in "
        "the file counts, for all heats of their event"
    )
    lanes_moved: list[str] = Field(
        description="teams that have a lane by a decision and stand in another one in this list, a "
        "sentence each"
    )
    in_two_heats: list[str] = Field(
        description="teams that then stand in two heats of one round, a sentence each, fifty at "
        "most"
    )
    left_out: list[str] = Field(
        description="teams that lose their lane and are listed nowhere else in that round, a "
        "sentence each, fifty at most: a list replaces all lanes of each heat that it names"
    )
    drawn_again: list[str] = Field(
        description="heats that were declared not held and are drawn in this list, a sentence "
        "each, fifty at most: they are to be run after all"
    )
    heats_added: int
    heats_changed: int
    heats_unchanged: int
    ignored_columns: list[str]
    problems: list[Problem]
