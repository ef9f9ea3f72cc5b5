"""The zone survey as it goes over HTTP."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field

from app.rules.relay import Relay
from app.rules.survey import Lines, Mark, Measured, Verdict, ZoneLine
from app.rules.track import Section
from app.sheets.problems import Problem
from app.wire import Wire, shown

LaneNumber = Annotated[int, Field(ge=1, le=10)]


class TapedIn(Wire):
    """What a tape showed. Without metres the line was not measured."""

    mark: Mark
    metres: Annotated[float, Field(ge=-5, le=150)] | None = Field(
        default=None, description="less than 0 where the line lies on the mark's other side"
    )


class ZoneSurveyIn(Wire):
    """What was measured in a zone; it replaces what was known of that zone before."""

    model_config = shown(
        {
            "lanes": {
                "4": {
                    "start": {"mark": "end of the second bend", "metres": 34.91},
                    "end": {"mark": "end of the second bend", "metres": 5.61},
                }
            }
        }
    )

    lanes: Annotated[dict[LaneNumber, dict[ZoneLine, TapedIn]], Field(max_length=10)] = Field(
        description="by lane and line"
    )

    @property
    def lines(self) -> Lines:
        """What was measured, by lane and line."""
        return {
            (lane, line): Measured(taped.mark, taped.metres)
            for lane, its in sorted(self.lanes.items())
            for line, taped in its.items()
            if taped.metres is not None
        }


class TapeOut(Wire):
    """What a tape must show from a mark, straight along the ground, in metres."""

    mark: Mark
    metres: float


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
    measured: TapeOut | None
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
    wrong_lanes: list[int] = Field(description="lanes with a line in the wrong place")
    words: str = Field(description="empty, or in a sentence which lines lie in the wrong place")
    problem: str = Field(
        description="empty, or why what was measured says nothing any more: the track's measures "
        "were changed since"
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
