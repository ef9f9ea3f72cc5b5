"""What a crew is planned from, and the search for a plan, as they go over HTTP."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from typing import Annotated, Final, Self

from pydantic import AfterValidator, Field, model_validator

from app.crew.wire import PostIn
from app.ids import ChosenId, HeatId, OfficialId
from app.planning.limits import (
    BREAKS_MIN,
    LONGEST_AT_MEET_S,
    STINTS_MIN,
    USUAL_BREAK_MIN,
    USUAL_S,
    USUAL_STINT_MIN,
)
from app.planning.wishes import Wish
from app.rules.relay import Edge, Relay, Side
from app.sheets.crew_template import MOST_POSTS
from app.sheets.fields import parse_scheduled
from app.sheets.people_list import MOST_PEOPLE, OFFSET, OPEN_ENDS, parse_end
from app.sheets.problems import Problem
from app.wire import Wire, shown

MOST_POSITIONS: Final = 20
MOST_PINS: Final = 500


def _a_time(text: str, parse: Callable[[str], str] = parse_scheduled) -> str:
    if OFFSET.search(text):
        raise ValueError("hours are those of the meet's own clock: write them without an offset")
    try:
        if len(text) <= len("2026-06-13T09:30:00"):
            return parse(text)
    except ValueError:
        pass
    raise ValueError("write it as 09:30 or 2026-06-13T09:30, by the meet's own clock")


def _an_end(text: str) -> str:
    return _a_time(text, parse_end)


_WRITTEN = Field(
    json_schema_extra={
        "pattern": r"^([0-9]{4}-[0-9]{2}-[0-9]{2}[T ])?[0-9]{1,2}:[0-9]{2}(:[0-9]{2})?$"
    }
)
MeetTime = Annotated[str, AfterValidator(_a_time), _WRITTEN]
"""By the meet's own clock: 09:30 on each day, or 2026-06-13T09:30."""
EndTime = Annotated[str, AfterValidator(_an_end), _WRITTEN]
"""The same, and 24:00."""


class HoursIn(Wire):
    """When somebody can be asked. An end that is left out is open."""

    begins: MeetTime | None = None
    ends: EndTime | None = None

    @model_validator(mode="after")
    def _ends_after_it_begins(self) -> Self:
        if self.begins and self.ends:
            if ("T" in self.begins) != ("T" in self.ends):
                raise ValueError("name the day with both ends of the hours, or with neither")
            if self.ends <= self.begins and self.ends not in OPEN_ENDS:
                raise ValueError(f"these hours end at {self.ends}, before they begin")
        return self


class PositionIn(Wire):
    """Positions that agree with all that is said here."""

    take_over: Annotated[int, Field(ge=1, le=3)] | None = None
    edge: Edge | None = None
    side: Side | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.take_over is None and self.edge is None and self.side is None:
            raise ValueError("say which take-over, edge or side")
        return self


class PersonIn(Wire):
    """An official who is to be planned. Without hours: all of the programme."""

    official: ChosenId
    experience: Annotated[int, Field(ge=0, le=3, description="0 is none yet, 3 a great deal")] = 1
    hours: Annotated[list[HoursIn], Field(max_length=20)] = Field(default_factory=list)
    may_not: Annotated[list[PositionIn], Field(max_length=MOST_POSITIONS)] = Field(
        default_factory=list
    )


class TemplatePostIn(Wire):
    """A post of a zone with so many people: its edge, its side, and the most lanes it watches."""

    people: Annotated[int, Field(ge=2, le=20)]
    edge: Edge
    side: Side
    lanes: Annotated[int, Field(ge=1, le=10)]


class PinIn(Wire):
    """A choice to keep: an official at a take-over for a heat, or, without one, off."""

    official: ChosenId
    heat: ChosenId
    take_over: Annotated[int, Field(ge=1, le=3)] | None = None
    edge: Edge | None = None

    @model_validator(mode="after")
    def _has_an_edge_at_a_take_over(self) -> Self:
        if self.edge and self.take_over is None:
            raise ValueError("name the take-over with the edge")
        return self


class WishesIn(Wire):
    """All that a crew is planned from, besides the programme; it replaces what was there before.

    Without people: every active umpire, all day. Without a template: the usual one.
    """

    model_config = shown(
        {
            "people": [
                {
                    "official": "01890a5d-ac96-774b-bcce-b302099a8057",
                    "experience": 2,
                    "hours": [{"begins": "09:30", "ends": "14:00"}],
                    "may_not": [{"take_over": 2, "edge": "end"}],
                }
            ],
            "pins": [],
            "dropped": [],
            "longest_stint_minutes": 90,
            "shortest_break_minutes": 15,
        }
    )

    people: Annotated[list[PersonIn], Field(max_length=MOST_PEOPLE)] = Field(default_factory=list)
    template: Annotated[list[TemplatePostIn], Field(max_length=MOST_POSTS)] = Field(
        default_factory=list
    )
    pins: Annotated[list[PinIn], Field(max_length=MOST_PINS)] = Field(default_factory=list)
    dropped: Annotated[
        list[ChosenId], Field(max_length=MOST_PEOPLE, description="who has dropped out")
    ] = Field(default_factory=list)
    longest_stint_minutes: Annotated[
        int,
        Field(
            ge=STINTS_MIN[0], le=STINTS_MIN[-1], description="so long on post, and a break is due"
        ),
    ] = USUAL_STINT_MIN
    shortest_break_minutes: Annotated[int, Field(ge=BREAKS_MIN[0], le=BREAKS_MIN[-1])] = (
        USUAL_BREAK_MIN
    )


class WishesOut(WishesIn):
    """What a crew is planned from, as stored."""

    version: int


class WishListOut(Wire):
    """What a list of people, or a template, holds."""

    stored: bool
    people: int
    posts: int
    left_out: list[str] = Field(description="active umpires whom the list does not name")
    pinned_left_out: list[str] = Field(
        description="whom the list leaves out though choices are kept for them: those bind nobody"
    )
    dropped_left_out: list[str] = Field(
        description="whom the list leaves out, and who dropped out before"
    )
    ignored_columns: list[str]
    problems: list[Problem]


class SearchIn(Wire):
    """A search to begin. `keep`: the plan in force is to be changed as little as can be, from a
    heat on, the first to come if none is named.
    """

    model_config = shown({"seconds": 10})

    seconds: Annotated[float, Field(gt=0, le=LONGEST_AT_MEET_S)] = USUAL_S
    keep: bool = False
    from_heat: ChosenId | None = None


class Phase(StrEnum):
    """How far a search is."""

    WAITING = "waiting"
    SEARCHING = "searching"
    MENDING = "mending"
    EXPLAINING = "explaining"
    ENDED = "ended"
    FAILED = "failed"


class CountOut(Wire):
    """What a plan comes to in a wish, and what no plan can go below, as far as that is known."""

    wish: Wish
    count: int
    at_least: int | None


class StandsOut(Wire):
    """A place at a zone, through some heats, in the order of the programme."""

    relay: Relay
    take_overs: list[int]
    edge: Edge
    lanes: list[int]
    heats: list[HeatId]
    words: str


class ConcernOut(Wire):
    """Whom a wish that was given up concerns, in which heats; none named where nobody alone is."""

    official: OfficialId | None
    official_name: str
    heats: list[HeatId]
    times: int
    relay: Relay | None
    take_overs: list[int] = Field(description="the zone that it is about; none where it is none's")


class GivenUpOut(Wire):
    """A wish that the plan falls short of, and what keeping it wholly would have cost.

    The best plan found for the wish comes to `kept_to` of it, and there the more important `costs`
    comes to `instead`; `is_proven` where no plan keeps the one wholly without harm to the other.
    Without `costs`: no plan keeps the wish wholly (`is_impossible`), or none that keeps more of it
    was found.
    """

    wish: Wish
    times: int
    concerns: list[ConcernOut]
    idle: int = Field(
        0,
        description="so much of it no number of people would mend: in a heat with fewer lanes than "
        "its row, a post of the row has none in use",
    )
    kept_to: int
    costs: Wish | None
    instead: int
    is_proven: bool
    is_impossible: bool


class PersonMissingOut(Wire):
    """Somebody more, or whoever would move for them, and where they would stand."""

    official: OfficialId | None
    official_name: str = Field(description="empty for somebody more")
    stands: list[StandsOut]


class MissingOut(Wire):
    """How few people more would mend it; None where people alone do not, or it is not known.

    `is_proven` where fewer do not suffice, also with others moved but for those in `fewer`, or
    where no number of them mends it. Whoever stands keeps standing but those in `moved`; `fewer`
    would do if others moved.
    """

    people: int | None
    is_proven: bool
    who: list[PersonMissingOut]
    moved: list[PersonMissingOut]
    fewer: MissingOut | None


class PlaceOut(Wire):
    """A place at a zone."""

    take_overs: list[int]
    edge: Edge
    lanes: list[int]
    side: Side


class ChangeOut(Wire):
    """What changes for somebody in some heats; None where there was, or is, no post."""

    official: OfficialId
    official_name: str
    heats: list[HeatId]
    was: PlaceOut | None
    becomes: PlaceOut | None


class PlanFoundOut(Wire):
    """A plan that was found: how good it is, and what it leaves open."""

    posts: list[PostIn]
    people: int
    is_proven: bool = Field(description="whether it is proven that none is better")
    unwatched: list[StandsOut]
    given_up: list[GivenUpOut]
    missing: MissingOut | None
    changes: list[ChangeOut] = Field(description="against the plan in force, for heats to come")


class SearchOut(Wire):
    """A search: how far it is, and the plan once it has ended."""

    id: str
    phase: Phase
    stopped: bool = Field(description="whether somebody stopped it: with the best plan so far")
    keep: bool
    seconds: float
    limit: float
    counts: list[CountOut]
    working_on: Wish | None
    untimed: list[HeatId] = Field(description="left out: heats with a draw and without a time")
    undrawn: list[HeatId] = Field(description="left out: heats without a draw")
    problem: str = Field(description="why there is no plan; empty otherwise")
    plan: PlanFoundOut | None
