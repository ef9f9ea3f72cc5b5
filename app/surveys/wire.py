"""The zone survey as it goes over HTTP."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field, model_validator

from app.rules.relay import Relay
from app.rules.survey import (
    LEAST_TAPE_M,
    MOST_TAPE_M,
    Lines,
    Mark,
    Measured,
    Verdict,
    ZoneLine,
)
from app.rules.track import Section
from app.sheets.problems import Problem
from app.wire import Lane, Wire, shown

MOST_LINES = 40  # four in each of ten lanes


class MeasuredLineIn(Wire):
    """What a tape showed of a line in a lane."""

    lane: Lane
    line: ZoneLine
    mark: Mark
    metres: float = Field(
        description="less than 0 where the line lies on the mark's other side",
        json_schema_extra={"minimum": LEAST_TAPE_M, "maximum": MOST_TAPE_M},
    )

    @model_validator(mode="after")
    def _is_a_tape(self) -> MeasuredLineIn:
        """Told with lane and line: a form has a field for each."""
        if not LEAST_TAPE_M <= self.metres <= MOST_TAPE_M:
            raise ValueError(
                f"lane {self.lane}, {self.line}: a tape shows {LEAST_TAPE_M:g} to {MOST_TAPE_M:g} m"
            )
        return self


class ZoneSurveyIn(Wire):
    """What was measured in a zone; it replaces what was known of that zone before."""

    model_config = shown(
        {
            "lines": [
                {"lane": 4, "line": "end", "mark": "end of the second bend", "metres": 5.61},
                {"lane": 5, "line": "end", "mark": "same line one lane inside", "metres": 3.41},
            ]
        }
    )

    lines: Annotated[list[MeasuredLineIn], Field(max_length=MOST_LINES)]

    @model_validator(mode="after")
    def _each_line_once(self) -> ZoneSurveyIn:
        if len(self.by_line) < len(self.lines):
            raise ValueError("a line of a lane stands here twice; keep one of both")
        return self

    @property
    def by_line(self) -> Lines:
        """What was measured, by lane and line."""
        return {(one.lane, one.line): Measured(one.mark, one.metres) for one in self.lines}


class TapeOut(Wire):
    """What a tape must show from a mark, straight along the ground, in metres."""

    mark: Mark
    metres: float


class ZoneNameOut(Wire):
    """A zone by its relay and take-over."""

    relay: Relay
    take_over: int


class LineOut(Wire):
    """A line of a zone in a lane: where it must lie, and what was measured."""

    lane: int
    line: ZoneLine
    section: Section
    metres: float = Field(description="along the lane's measuring line, from where the part begins")
    to_end_m: float = Field(description="along the lane's measuring line, to where the part ends")
    past_finish_m: float = Field(
        description="along the lane's measuring line; less than 0 just before the finish line"
    )
    tapes: list[TapeOut] = Field(description="the one that shows it best comes first")
    measured: TapeOut | None = Field(description="null where what counts was measured elsewhere")
    measured_as: ZoneNameOut | None = Field(
        description="the zone whose line is the same paint and was measured last, where that is "
        "another: what was measured there counts here"
    )
    off_m: float | None = Field(
        description="along the lane, in the direction of running; null where it was not measured"
    )
    verdict: Verdict | None


class ZoneSurveyOut(Wire):
    """A zone, where its lines must lie, and what was measured there."""

    relay: Relay
    take_over: int
    length_m: float
    leg_line_m: float
    acceleration_m: float
    rule: str
    lines: list[LineOut]
    measured: int = Field(description="how many lines were measured, here or as another zone's")
    wrong_lanes: list[int] = Field(description="lanes with a line in the wrong place")
    words: str = Field(description="empty, or in a sentence which lines lie in the wrong place")
    problem: str = Field(
        description="empty, or why some of what was measured says nothing any more: the track's "
        "measures were changed since"
    )
    measured_at: datetime | None
    version: int = Field(description="0 while nothing was measured there")


class SurveyOut(Wire):
    """All zones of the relays on the programme."""

    tolerance_m: float | None = Field(
        description="how far a line may lie off, along its lane; null where nobody has set it: "
        "then nothing is judged"
    )
    tolerance_by: Literal["meet", "edition"] | None
    lap_m: float = Field(description="a lap in lane 1 by the track's measures")
    lap_note: str = Field(
        description="empty, or that the measures make a lap that is longer or shorter than 400 or "
        "200 m, so that no line is to be judged by them"
    )
    zones: list[ZoneSurveyOut]
    left_out: list[str] = Field(
        description="relays whose zones on this track the edition, or the program, does not know"
    )


class SurveyListOut(Wire):
    """What a list of measured lines holds, and which lines lie in the wrong place by it."""

    stored: bool
    zones: int
    lines: int
    wrong: list[str] = Field(description="a sentence for each zone with a line in the wrong place")
    ignored_columns: list[str]
    problems: list[Problem]
