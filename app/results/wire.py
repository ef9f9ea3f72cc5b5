"""Results and windows as they go over HTTP."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import Field

from app.ids import (
    AnnouncementId,
    CaseId,
    DecisionId,
    DisqualificationId,
    HeatId,
    PostId,
    ReportId,
    RulingId,
    TeamId,
    WindowId,
)
from app.results.wording import listed, number_aloud
from app.rounds.wire import OpenDrawOut
from app.rules.placing import FinishStatus
from app.rules.windows import CountsFrom, Remedy
from app.wire import Wire


class ResultLineOut(Wire):
    """One team's line of an annotated result."""

    place: int | None
    lane: int
    bib: str
    team: TeamId
    team_name: str
    affiliation: str
    status: FinishStatus
    thousandths: int | None = Field(description="the time in thousandths of a second")
    time: str = Field(description="the time as shown; empty for a disqualified team")
    annotation: str = Field(description="such as “DQ TR24.7”, “DNF”, “L”, or empty")
    reason: str = Field(
        description="what a DQ or an L is for, in words; the second lane infringement names the "
        "round and heat of the one noted before. Empty where neither stands"
    )
    is_out_by_re_run: bool = Field(
        default=False,
        description="true: it is disqualified in its re-run alone, which is of the same round",
    )
    decimals: int | None = Field(
        default=None, description="to how many decimals the time was given; the last decides ties"
    )
    qualification: str | None = Field(
        default=None,
        description="Q by place, q by time, qR by the referee, qJ by the jury, qD by draw; empty: "
        "not through; null: not known yet, or nobody goes on from this round",
    )
    points: str = Field(default="", description="such as “6.5”; empty where it scores nothing")
    is_by_lot: bool = Field(
        default=False, exclude=True, description="lots that this team was in led to its letter"
    )


class QualifiedOut(Wire):
    """A team that goes on to the next round."""

    team: TeamId
    team_name: str
    heat_number: int | None
    place: int | None
    time: str
    letter: str = Field(description="Q by place, q by time, qR, qJ by decision, qD by draw")


QUALIFIED: Any = Field(
    default_factory=list,
    description="who goes on from the whole round, once every other heat of it is announced",
)
NEXT_ROUND: Any = Field(default="", description="the round that this one leads to; empty for none")
BY_TIME: Any = Field(
    default=0, description="how many go on to it by time from all heats of this round together"
)
IS_ROUND_COMPLETE: Any = Field(
    default=False,
    description="whether every heat of the round has a result by this, so that for who goes on to "
    "the next one nothing but lots can be awaited",
)
OPEN_DRAW: Any = Field(
    default=None, description="the tie for the next round that lots decide; null where none is open"
)


@dataclass(frozen=True, slots=True)
class Counted:
    """A kind of thing that stands in the way: its names, and what it was when announced."""

    one: str
    many: str
    was: str
    were: str

    def words(self, count: int) -> str:
        return f"{count} {self.one if count == 1 else self.many}"

    def aloud(self, count: int) -> str:
        return f"{number_aloud(count)} {self.was if count == 1 else self.were}"


SILENT_POSTS = Counted(
    "silent post", "silent posts", "post had not reported", "posts had not reported"
)
OPEN_CASES = Counted("open case", "open cases", "case awaited a ruling", "cases awaited a ruling")
SHAKEN_RULINGS = Counted(
    "ruling to reconsider",
    "rulings to reconsider",
    "ruling was to be reconsidered",
    "rulings were to be reconsidered",
)
SHAKEN_DISQUALIFICATIONS = Counted(
    "disqualification by decision to look at",
    "disqualifications by decision to look at",
    "disqualification by decision was to be looked at",
    "disqualifications by decision were to be looked at",
)
AWAITED_ACCOUNTS = Counted(
    "written account to come",
    "written accounts to come",
    "written account had not come",
    "written accounts had not come",
)


class BlockersOut(Wire):
    """What stands in the way of announcing a heat without an explicit word."""

    silent_posts: list[PostId]
    open_cases: list[CaseId]
    shaken_rulings: list[RulingId] = Field(
        default_factory=list,
        description="rulings to look at again: the heat was started anew since, or lane "
        "infringements stand before them that they did not count, or no longer stand",
    )
    shaken_disqualifications: list[DisqualificationId] = Field(
        default_factory=list,
        description="disqualifications that a decision on a protest or an appeal put in force "
        "before the heat was started anew; another decision sets them aside",
    )
    awaited_accounts: list[ReportId] = Field(
        default_factory=list,
        description="flags and returned reports whose account has not come, though their case was "
        "ruled on; not where it was ruled on flags alone, knowing that nothing was written",
    )
    not_started: bool = Field(
        default=False, description="true: nobody has started this heat, or it was held back"
    )
    no_posts: bool = Field(
        default=False,
        description="true: no post was awaited, for the crew plan came after the start",
    )

    @property
    def is_clear(self) -> bool:
        return not (self.not_started or self.no_posts or self._counted())

    @property
    def words(self) -> str:
        """What stands in the way, counted: "1 silent post and 2 open cases"."""
        start = ["a heat that was not started"] if self.not_started else []
        start += ["a heat without posts"] if self.no_posts else []
        return _all_of([*start, *(kind.words(count) for kind, count in self._counted())])

    @property
    def aloud(self) -> str:
        """Despite what it was announced: "one post had not reported"."""
        start = ["the heat was not marked as started"] if self.not_started else []
        start += ["no post was set for the heat"] if self.no_posts else []
        return _all_of([*start, *(kind.aloud(count) for kind, count in self._counted())])

    def _counted(self) -> list[tuple[Counted, int]]:
        counts = (
            (SILENT_POSTS, len(self.silent_posts)),
            (OPEN_CASES, len(self.open_cases)),
            (SHAKEN_RULINGS, len(self.shaken_rulings)),
            (SHAKEN_DISQUALIFICATIONS, len(self.shaken_disqualifications)),
            (AWAITED_ACCOUNTS, len(self.awaited_accounts)),
        )
        return [(kind, count) for kind, count in counts if count]


def _all_of(parts: list[str]) -> str:
    return listed(parts) if parts else ""


HOLDS: Any = Field(
    description="whether it is the latest of its heat and still says what the result is. False: "
    "places, times or annotations have changed since, the heat was held back or started again, "
    "a ruling in it is to be reconsidered, or it is a re-run that was called off"
)


FINAL_SINCE: Any = Field(
    default=None,
    description="since when the result is final: it stands, every window that can lapse has "
    "lapsed, and nothing is pending. Null while it is not, and for an announcement that another "
    "one superseded",
)
PENDING: Any = Field(
    default=[],
    description="what the result waits for before it is final, a sentence each: such as "
    "“Protests until 15:40:00 CEST.”, “Appeal 1 awaits the jury.”",
)


DOES_NOT_COUNT: Any = Field(
    default="",
    description="why this result does not count: a decision called this re-run off. It is never "
    "final, and nothing waits for it. Empty for every other result",
)


class AnnouncedOut(Wire):
    """The announcement that stands for a heat, and whether it still says what the result is."""

    id: AnnouncementId
    number: int
    announced_at: datetime
    holds: bool = HOLDS
    final_since: datetime | None = FINAL_SINCE
    pending: list[str] = PENDING
    does_not_count: str = DOES_NOT_COUNT


class ResultOut(Wire):
    """A heat's annotated result as it would be announced now."""

    heat: HeatId
    event_name: str
    round: str
    number: int
    lines: list[ResultLineOut]
    is_list_outdated: bool = Field(
        description="true: the heat was started anew since, or teams or lanes have changed; load "
        "the finish list of this race"
    )
    blockers: BlockersOut
    in_the_way: list[str] = Field(description="the same in words, for the desk alone")
    announced: AnnouncedOut | None
    completes_round: bool = Field(
        default=False,
        description="true: it was announced last, and that another heat is not held has made known "
        "since who goes on, or what is scored: announce it again, to tell that",
    )
    qualified: list[QualifiedOut] = QUALIFIED
    next_round: str = NEXT_ROUND
    by_time: int = BY_TIME
    is_round_complete: bool = IS_ROUND_COMPLETE
    open_draw: OpenDrawOut | None = OPEN_DRAW
    version: int


class WindowOut(Wire):
    """The time in which something can be lodged."""

    id: WindowId
    heat: HeatId
    announcement: AnnouncementId
    decision: DecisionId | None = Field(
        description="the decision whose advice opened this window; null for all other windows"
    )
    team: TeamId | None = Field(description="the team that alone may use it; null: any may")
    team_name: str | None
    subject: str = Field(description="event, round and heat in words")
    event_name: str
    round: str
    heat_number: int
    kind: str
    remedy: Remedy
    opened_by: str
    opened_at: datetime
    opened_at_local: str
    closes_at: datetime | None
    closes_at_local: str | None
    minutes: int | None
    counts_from: CountsFrom | None = Field(
        description="“end of meet”: the minutes count from there, and the closing time is not "
        "known before; null: they count from what opened the window"
    )
    rule: str
    origin: Literal["edition", "meet"]
    state: Literal["open", "closed", "to come", "void"] = Field(
        description="void: nothing that was lodged since is measured by it; `does_not_count` says "
        "why, and what measures it instead"
    )
    time_corrections: int = Field(
        description="how often the time of the announcement, of the advice or of the end of the "
        "meet was corrected, and this window with it"
    )
    superseded_by: int | None = Field(
        description="the number of the announcement that stands in place of the one that opened "
        "this window; null while that one stands, and for a window that an advice opened. The "
        "window runs on all the same"
    )
    does_not_count: str = DOES_NOT_COUNT


class WindowsOut(Wire):
    """A page of a meet's windows: running ones, soonest to close first; then those that closed."""

    meet: str
    time_zone: str
    now: datetime
    windows: list[WindowOut]
    next: Annotated[str | None, Field(description="the next page's `after`")]
