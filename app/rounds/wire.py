"""Rounds, who goes on from them, lots and scores as they go over HTTP."""

from __future__ import annotations

import re
from datetime import datetime
from fractions import Fraction
from typing import Annotated, Any

from pydantic import AfterValidator, Field, model_validator

from app.access.sign_wire import Signable
from app.ids import ChosenId, EventId, HeatId, LotsId, OfficialId, RoundId, TeamId
from app.wire import Name, PhoneTime, Wire, shown

MOST_PLACES_WITH_POINTS = 100
_POINTS = re.compile(r"[0-9]{1,4}(\.[0-9]{1,3})?")


def _points_text(text: str) -> str:
    if _POINTS.fullmatch(text) is None:
        raise ValueError("write points as a text such as “8” or “6.5”, three decimals at most")
    return text


def show_points(points: Fraction) -> str:
    """Points as results show them: "6", "6.5", thirds to three decimals; nothing for none."""
    if not points:
        return ""
    text = f"{float(points):.3f}".rstrip("0").rstrip(".")
    return "" if text == "0" else text


Points = Annotated[str, AfterValidator(_points_text)]


class RoundIn(Wire):
    """How a round leads to the next one, and what its places score.

    Without a next round the final is meant, or a round by which nobody goes on: then neither
    `by_place`, `by_time` nor `lanes` is given.
    """

    model_config = shown(
        {
            "event": "01890a5d-ac96-774b-bcce-b302099a8057",
            "round": "heats",
            "next_round": "final",
            "by_place": 2,
            "by_time": 2,
            "lanes": 8,
        },
        {
            "event": "01890a5d-ac96-774b-bcce-b302099a8057",
            "round": "final",
            "points": ["9", "7", "6", "5", "4", "3", "2", "1"],
        },
    )

    event: ChosenId
    round: Name = Field(
        description="the round's name as in the start lists; of one that is still to be drawn, as "
        "the “next_round” of the one that leads to it"
    )
    next_round: Name | None = Field(
        default=None, description="what its start lists will call it; null where nobody goes on"
    )
    by_place: Annotated[int, Field(ge=0, le=10)] | None = Field(
        default=None, description="how many go on by place from each heat"
    )
    by_time: Annotated[int, Field(ge=0, le=100)] | None = Field(
        default=None, description="how many go on by time from all heats together"
    )
    lanes: Annotated[int, Field(ge=1, le=1000)] | None = Field(
        default=None, description="lanes of the next round, in all its heats together"
    )
    points: Annotated[list[Points], Field(max_length=MOST_PLACES_WITH_POINTS)] = Field(
        default_factory=list, description="what place 1, 2 and so on score, as decimal texts"
    )

    @model_validator(mode="after")
    def _leads_on_or_not(self) -> RoundIn:
        given = [number is not None for number in (self.by_place, self.by_time, self.lanes)]
        if self.next_round is None and any(given):
            raise ValueError(
                "without “next_round” nobody goes on: leave “by_place”, “by_time” and “lanes” out"
            )
        if self.next_round is not None and not all(given):
            raise ValueError("“next_round” needs “by_place”, “by_time” and “lanes” with it")
        if self.next_round is not None and not (self.by_place or self.by_time):
            raise ValueError("nobody goes on by 0 by place and 0 by time: give one of them")
        return self


class RoundOut(Wire):
    """A round as it is set."""

    id: RoundId
    event: EventId
    event_name: str
    round: str
    next_round: str | None
    by_place: int | None
    by_time: int | None
    lanes: int | None
    points: list[str]
    heats: int = Field(
        description="how many heats of this round the start lists have now, without those that are "
        "not held; 0 until it is drawn"
    )
    next_heats: int = Field(description="the same of the next round; 0 until it is drawn")
    version: int


class RoundsOut(Wire):
    """The rounds of a meet that are set, in the order of events and of the programme."""

    rounds: list[RoundOut]


class LotsIn(Signable):
    """Lots drawn for the last places in the next round, signed with the PIN."""

    model_config = shown(
        {
            "drawn": [
                "01890a5d-ac96-774b-bcce-b302099a8057",
                "01890a5d-ac97-7dd1-8a4b-6ad9d34dbb51",
            ],
            "drawn_by": "Finn Compass",
            "drawn_at": "2026-06-13T15:02:00+02:00",
            "pin": "480213",
        }
    )

    drawn: Annotated[list[ChosenId], Field(min_length=2, max_length=200)] = Field(
        description="the teams that tie, in the order in which they were drawn"
    )
    drawn_by: Name = Field(description="who drew the lots")
    drawn_at: PhoneTime | None = Field(default=None, description="left out, it is now")


class TeamLine(Wire):
    """A team by id and name."""

    team: TeamId
    name: str


class LotsOut(Wire):
    """Lots as they were drawn."""

    id: LotsId
    round: RoundId
    drawn: list[TeamLine]
    places: int = Field(description="how many of them go on, the first so many")
    drawn_by: str
    drawn_at: datetime
    drawn_at_local: str
    entered_at: datetime
    entered_by: OfficialId


class SeatOut(Wire):
    """A lane of the next round."""

    heat: HeatId
    heat_number: int
    lane: int
    is_drawn: bool = Field(
        default=True, description="false: the lane is free for this team, which is not drawn there"
    )


LETTER = Field(
    description="Q by place, q by time, qR by the referee, qJ by the jury, qD by draw; empty: not "
    "through; null: not known yet, or nobody goes on from this round"
)
LetterText = Annotated[str | None, LETTER]


OVERALL: Any = Field(
    default=None,
    description="its place by time over all heats of the round, where nobody goes on or points go "
    "by it (timed finals); null in a round of one heat",
)


class StandingOut(Wire):
    """Where a team of a round stands."""

    team: TeamId
    name: str
    affiliation: str
    heat: HeatId | None
    heat_number: int | None
    place: int | None = Field(description="in its heat")
    overall: int | None = OVERALL
    time: str = Field(description="its better time, where it ran again; empty where it has none")
    is_disqualified: bool
    letter: LetterText
    points: str
    seat: SeatOut | None


class OpenDrawOut(Wire):
    """Teams that tie to 0.001 s, more than fit: lots decide."""

    teams: list[TeamLine]
    places: int


class RoundStandingOut(Wire):
    """Where all teams of a round stand; those who go on first, in their order."""

    event: EventId
    event_name: str
    round: str
    next_round: str = Field(description="empty where nobody goes on")
    is_complete: bool
    teams: list[StandingOut]
    open_draw: OpenDrawOut | None
    unseated: list[TeamLine] = Field(
        description="teams that go on, for whom the next round as drawn has no lane left"
    )
    sentences: list[str] = Field(
        description="in words: what is still open, what did not come out as it was set, and, where "
        "it is not for everybody, how the draw of the next round differs"
    )


class MoveSide(Wire):
    """Where a team stands before a change, or after it."""

    place: int | None
    is_disqualified: bool
    letter: LetterText
    points: str
    seat: SeatOut | None
    overall: int | None = OVERALL


class MoveOut(Wire):
    """A team that a change moves."""

    team: TeamId
    name: str
    affiliation: str
    sentence: str
    before: MoveSide
    after: MoveSide


class NamedTeam(Wire):
    """A team that is named in what is ordered."""

    team: TeamId
    name: str


class ConsequencesOut(Wire):
    """What a ruling or a decision would move, before it is signed."""

    moves: list[MoveOut]
    named: list[NamedTeam] = Field(
        default=[],
        description="whom it is about, moved or not; of a whole heat, all who ran in it",
    )
    summary: str = Field(description="the same in one line")
    affiliations: list[str] = Field(description="whose teams it moves")
    too_late: list[str] = Field(
        description="what it can no longer change: the next round has begun, another decision of "
        "the jury rests on it, or a later one about the same stands"
    )

    @property
    def concerned(self) -> list[MoveOut | NamedTeam]:
        """All teams that it touches, each once: who is moved, then who is named beside them."""
        moved = {move.team for move in self.moves}
        return [*self.moves, *(one for one in self.named if one.team not in moved)]


class ScorePart(Wire):
    """What one team brought in."""

    event_name: str
    round: str
    heat_number: int
    team: TeamId
    name: str
    place: int | None = Field(description="in its heat")
    overall: int | None = OVERALL
    points: str


class ScoreOut(Wire):
    """An affiliation's score."""

    place: int = Field(description="equal totals share one")
    affiliation: str
    points: str
    made_of: list[ScorePart]


class ScoresOut(Wire):
    """Team scores by affiliation, best first, from what has been announced."""

    scores: list[ScoreOut]
    awaited: list[str] = Field(
        description="rounds that score and are not announced in full yet, or not even drawn"
    )
