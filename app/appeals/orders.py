"""What a decision can order, as it goes over HTTP: what becomes of the result and of the round."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator

from app.ids import ChosenId
from app.rules.observation import Infringement
from app.rules.placing import FinishStatus
from app.sheets.race_time import NotATime, parse_time
from app.wire import Lane, Wire

MOST_ORDERS = 12


def _race_time(text: str) -> str:
    try:
        parse_time(text)
    except NotATime as error:
        raise ValueError(str(error)) from error
    return text.strip()


RaceTime = Annotated[
    str, AfterValidator(_race_time), Field(max_length=20, examples=["42.35", "3:02.123"])
]


class SetAsideIn(Wire):
    """A disqualification no longer counts: the team has its place and time back."""

    order: Literal["set aside"]
    disqualification: ChosenId


class RestoreIn(Wire):
    """A disqualification that was set aside counts again."""

    order: Literal["restore"]
    disqualification: ChosenId


class DisqualifyIn(Wire):
    """A team of the heat is disqualified, by the meet's edition."""

    order: Literal["disqualify"]
    team: ChosenId
    infringement: Infringement
    take_over: Annotated[int, Field(ge=1, le=3)] | None = None


class CorrectIn(Wire):
    """The finish of one team was written down wrongly: its line in the finish list is replaced."""

    order: Literal["correct"]
    team: ChosenId
    status: FinishStatus = FinishStatus.FINISHED
    time: RaceTime | None = None
    place: Annotated[int, Field(ge=1, le=99)] | None = None

    @model_validator(mode="after")
    def _finish_is_whole(self) -> CorrectIn:
        known = self.time is not None or self.place is not None
        if self.status is FinishStatus.FINISHED and not known:
            raise ValueError("a team that finished needs its time, its place, or both")
        if self.status is not FinishStatus.FINISHED and known:
            raise ValueError("a team that did not finish takes neither a time nor a place")
        return self


class AdvanceIn(Wire):
    """A team goes on to the next round, beside those who qualified."""

    order: Literal["advance"]
    team: ChosenId


class RecallIn(Wire):
    """That a team goes on by an earlier decision is taken back."""

    order: Literal["recall"]
    team: ChosenId


class CallOffIn(Wire):
    """A re-run of some teams is not held, or does not count where it was run."""

    order: Literal["call off"]
    heat: ChosenId = Field(description="the heat that was made for the re-run")


class ExtraLaneIn(Wire):
    """A team has this lane of the next round, beside those who are drawn there."""

    order: Literal["extra lane"]
    team: ChosenId
    lane: Lane
    heat: ChosenId | None = Field(
        default=None, description="the heat of the next round; left out where it has only one"
    )


class RunAgainIn(Wire):
    """Some teams of the heat run again, the same runners in the same order; or the whole heat.

    With `added_places`, the best so many of them go on beside those who qualified. Otherwise the
    new time takes the place of the old one, if it beats `time_to_beat`.
    """

    order: Literal["run again"]
    teams: Annotated[list[ChosenId], Field(max_length=20)] = Field(
        default=[], description="left out: the whole heat runs again, and its result is void"
    )
    time_to_beat: RaceTime | None = Field(
        default=None, description="the time that the new one must be faster than"
    )
    added_places: Annotated[int, Field(ge=0, le=10)] = 0

    @model_validator(mode="after")
    def _whole_heat_is_simple(self) -> RunAgainIn:
        if not self.teams and (self.time_to_beat is not None or self.added_places):
            raise ValueError("where the whole heat runs again, nothing is to beat and none added")
        if len(set(self.teams)) != len(self.teams):
            raise ValueError("a team is named twice")
        return self


class UndoIn(Wire):
    """All that an earlier decision ordered is taken back."""

    order: Literal["undo"]
    decision: ChosenId


OrderIn = Annotated[
    SetAsideIn
    | RestoreIn
    | DisqualifyIn
    | CorrectIn
    | AdvanceIn
    | RecallIn
    | CallOffIn
    | ExtraLaneIn
    | RunAgainIn
    | UndoIn,
    Field(discriminator="order"),
]
Orders = Annotated[list[OrderIn], Field(max_length=MOST_ORDERS)]
