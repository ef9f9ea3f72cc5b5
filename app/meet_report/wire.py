"""The meet report as it goes over HTTP."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from app.meet_report.figures import Section, Step
from app.wire import Wire


class ShareOut(Wire):
    """So many of so many, with Wilson's score interval at 95 %, between 0 and 1."""

    count: int
    of: int
    low: float | None = Field(description="null of nothing")
    high: float | None


class TallyOut(Wire):
    """Calls, reports and rulings under one key."""

    section: Section
    key: str = Field(description="the zone's number, the lane, the official's id; or `not told`")
    words: str
    white: int | None = Field(
        description="white flags; null by lane and by infringement, of which they name none"
    )
    yellow: int = Field(description="yellow flags")
    reports: int
    confirmed: int
    dismissed: int
    open: int
    withdrawn: int
    rulings: int = Field(description="cases of these reports that were ruled on")
    set_aside: int = Field(
        description="of the reports that were ruled on, those whose ruling a protest or an appeal "
        "set aside later"
    )
    confirmed_share: ShareOut = Field(description="of the reports that were ruled on")


class TimesOut(Wire):
    """How long a step took, in seconds."""

    step: Step
    count: int = Field(description="how many were timed")
    median: float | None
    p90: float | None = Field(
        description="90th percentile with linear interpolation, definition 7 of Hyndman and Fan"
    )
    clock_off: int = Field(description="left out: ended before they began, by the clocks")
    unknown: int = Field(description="left out: the clock of a phone was never compared")
    without_flag: int | None = Field(
        description="left out: reports that were written with no flag shown; null where no flag "
        "begins the step"
    )


class SilentOut(Wire):
    """Posts of one official that were expected to call, and had not when the result was out."""

    official: str
    words: str
    share: ShareOut


class EndedOut(Wire):
    """How many protests or appeals stand so."""

    remedy: Literal["protest", "appeal"]
    state: str
    count: int


class MeetReportOut(Wire):
    """A meet in figures: all of them, or the caller's own."""

    whose: Literal["all", "own"]
    whole: TallyOut
    tallies: list[TallyOut]
    times: list[TimesOut]
    silent: ShareOut = Field(
        description="posts, heat by heat, of which nothing had come when the heat's result was "
        "announced"
    )
    silent_by_official: list[SilentOut]
    ended: list[EndedOut]
